-- Up Migration

-- The words beside the facts of a watch may name a person, and are emptied of the names when that person is erased. Of these tables
-- only rows with words carry salt and digest, and only those written from here on: what was sealed before with its words stays so.
create function let_erase_words(t text, words text) returns void language plpgsql as $$
begin
  execute format('drop trigger %I on %I', t || '_append_only', t);
  execute format('alter table %I add column personal_salt uuid, add column personal_digest bytea', t);
  execute format('create trigger %I before update or delete on %I for each row execute function refuse_rewriting_but_erasing(%L)', t || '_append_only', t, words);
  execute format('create trigger %I before insert on %I for each row when (new.%I is not null) execute function keep_personal_digest(%L)', t || '_personal', t, words, words);
end $$;

select let_erase_words('ownership', 'how');
select let_erase_words('hazard', 'note');
select let_erase_words('watch_event', 'note');
select let_erase_words('watchmaker_note', 'reason');
select let_erase_words('strike', 'reason');
