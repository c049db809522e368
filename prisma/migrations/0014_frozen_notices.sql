-- Up Migration

-- A letter at its end is history: nobody changes or deletes it or its items any more, and the chain holds them. What may still be learned
-- afterwards (that it arrived, that it came back) is told once; what staff or a relay said of it in words can be emptied when the person is erased.

-- Whoever calls this as a trigger says: the column and values at which a row is closed (empty: at once), the columns that may still be set
-- once, from null or from true, and the columns that an erasure empties.
create function refuse_rewriting_of_closed() returns trigger language plpgsql as $$
declare
  later text[] := string_to_array(tg_argv[1], ',');
  personal text[] := string_to_array(tg_argv[2], ',');
  was jsonb;
  becomes jsonb;
  c text;
begin
  if tg_op = 'UPDATE' then
    was := to_jsonb(old);
    becomes := to_jsonb(new);
    if was - later = becomes - later then
      foreach c in array later loop
        if was -> c is distinct from becomes -> c and was ->> c is not null and not (was ->> c = 'true' and becomes ->> c = 'false') then
          raise exception '% of % is told once', c, tg_table_name using errcode = 'MP001';
        end if;
      end loop;
      return new;
    end if;
    if was ->> 'personal_salt' is not null and becomes ->> 'personal_salt' is null
       and current_setting('mainplate.erasing', true) = 'yes'
       and was - personal - 'personal_salt' = becomes - personal - 'personal_salt'
    then
      return new;
    end if;
  end if;
  raise exception 'rows of % are never changed or deleted once they are closed', tg_table_name using errcode = 'MP001';
end $$;

alter table notice add column ended_at timestamptz, add column personal_salt uuid, add column personal_digest bytea;

create function close_notice() returns trigger language plpgsql as $$
begin
  new.ended_at := now();
  new.personal_salt := gen_random_uuid();
  new.personal_digest := personal_digest_of(to_jsonb(new), array['held_why', 'withdrawn_why', 'response', 'last_error'], new.personal_salt);
  return new;
end $$;

-- those that ended before there was a chain over them
with closed as (select id, gen_random_uuid() as salt from notice where state in ('sent', 'failed', 'withdrawn'))
update notice n set ended_at = now(), personal_salt = closed.salt,
  personal_digest = personal_digest_of(to_jsonb(n), array['held_why', 'withdrawn_why', 'response', 'last_error'], closed.salt)
from closed where n.id = closed.id;

-- the conditions stand at the triggers, so that a letter on its way to the relay pays for none of this
create trigger notice_made_at_its_end before insert on notice for each row
  when (new.state in ('sent', 'failed', 'withdrawn')) execute function close_notice();
create trigger notice_comes_to_its_end before update on notice for each row
  when (old.state not in ('sent', 'failed', 'withdrawn') and new.state in ('sent', 'failed', 'withdrawn')) execute function close_notice();
create trigger notice_append_only before update or delete on notice for each row
  when (old.state in ('sent', 'failed', 'withdrawn'))
  execute function refuse_rewriting_of_closed('state=sent,failed,withdrawn', 'delivered_at,returned_at', 'held_why,withdrawn_why,response,last_error');
-- not lost before its end either
create trigger notice_no_delete before delete on notice for each row
  when (old.state not in ('sent', 'failed', 'withdrawn')) execute function refuse_rewriting();
create trigger notice_no_truncate before truncate on notice for each statement execute function refuse_rewriting();

-- The key of an item comes free when its letter does not go; of one that went it never does.
create function refuse_freeing_of_sent() returns trigger language plpgsql as $$
begin
  if exists (select from notice where id = old.notice_id and state = 'sent') then
    raise exception 'the stages of a letter that was sent stay taken' using errcode = 'MP001';
  end if;
  return new;
end $$;
create trigger notice_item_append_only before update or delete on notice_item for each row
  execute function refuse_rewriting_of_closed('', 'key_taken', '');
create trigger notice_item_of_sent before update on notice_item for each row
  when (old.key_taken and not new.key_taken) execute function refuse_freeing_of_sent();
create trigger notice_item_no_truncate before truncate on notice_item for each statement execute function refuse_rewriting();
