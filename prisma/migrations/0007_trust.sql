-- Up Migration

-- History that shows when somebody rewrote it, and persons who are taken out of it without breaking that.

-- ---------------------------------------------------------------- what a person may be taken out of

-- Tables that are never rewritten but hold what is known of a person carry, of those columns, a digest with a salt. Erasing
-- empties the columns and throws the salt away: the digest then tells nothing, and the chain below, which holds the digest
-- in the place of the columns, still proves everything else.
create function personal_digest_of(content jsonb, columns text[], salt uuid) returns bytea language sql stable as $$
  select sha256(convert_to(salt::text || coalesce((select jsonb_object_agg(key, value) from jsonb_each(content) where key = any (columns)), '{}')::text, 'UTF8'))
$$;

create function keep_personal_digest() returns trigger language plpgsql as $$
begin
  new.personal_salt := gen_random_uuid();
  new.personal_digest := personal_digest_of(to_jsonb(new), tg_argv, new.personal_salt);
  return new;
end $$;

create function refuse_rewriting_but_erasing() returns trigger language plpgsql as $$
declare
  mutable text[] := tg_argv || array['personal_salt'];
begin
  if tg_op = 'UPDATE' and old.personal_salt is not null and new.personal_salt is null
     and current_setting('mainplate.erasing', true) = 'yes'
     and to_jsonb(new) - mutable = to_jsonb(old) - mutable
  then
    return new;
  end if;
  raise exception 'rows of % are never changed or deleted: record a later row that strikes or replaces this one', tg_table_name
    using errcode = 'MP001';
end $$;

create function let_erase(t text, variadic columns text[]) returns void language plpgsql as $$
declare
  arguments text := (select string_agg(quote_literal(c), ', ') from unnest(columns) as c);
begin
  execute format('drop trigger %I on %I', t || '_append_only', t);
  execute format('alter table %I add column personal_salt uuid default gen_random_uuid(), add column personal_digest bytea', t);
  execute format('update %I set personal_digest = personal_digest_of(to_jsonb(%I), array[%s], personal_salt)', t, t, arguments);
  execute format('create trigger %I before update or delete on %I for each row execute function refuse_rewriting_but_erasing(%s)', t || '_append_only', t, arguments);
  execute format('create trigger %I before insert on %I for each row execute function keep_personal_digest(%s)', t || '_personal', t, arguments);
end $$;

select let_erase('edit', 'before', 'reason');
select let_erase('notice_choice', 'means');
select let_erase('ticket_record', 'data');
select let_erase('estimate_answer', 'person', 'text_shown');

-- ---------------------------------------------------------------- the chain

-- One batch: rows of one table, by key, with the digest of each, chained to the batch before. Sealed by a job after commit,
-- so that no writer waits for another; which rows are sealed is told by the keys, not by an order that a late commit could break.
create table history_batch (
  number      int constraint history_batch_pkey primary key constraint history_batch_number check (number >= 1),
  table_name  text not null,
  keys        text[] not null,
  digests     bytea not null,
  -- rows of this table recorded before this were all committed when the batch was sealed
  complete_to timestamptz not null,
  sealed_at   timestamptz not null,
  previous    bytea not null,
  hash        bytea not null,
  constraint history_batch_a_digest_each check (octet_length(digests) = 32 * cardinality(keys))
);
create trigger history_batch_append_only before update or delete on history_batch for each row execute function refuse_rewriting();
create trigger history_batch_no_truncate before truncate on history_batch for each statement execute function refuse_rewriting();

-- ---------------------------------------------------------------- persons

-- A person who asked to be forgotten. It stands while something of theirs is still open, and is carried out after that.
create table erasure (
  id          uuid primary key default uuid_v7(),
  owner_id    uuid not null constraint erasure_owner_id_fkey references owner (id),
  asked_on    date not null,
  -- GDPR Article 12(3): an answer within one month
  answer_by   date not null,
  how         text not null,
  state       text not null constraint erasure_state check (state in ('postponed', 'done')),
  because     text[] not null default '{}',
  done_on     date,
  -- how many rows of each table that is never rewritten were emptied
  emptied     jsonb not null default '{}',
  recorded_at timestamptz not null default now(),
  recorded_by text not null,
  constraint erasure_done_on check ((state = 'done') = (done_on is not null))
);
create unique index erasure_owner_once on erasure (owner_id);
create index erasure_postponed on erasure (asked_on, id) where state = 'postponed';

-- An address that is not written to though nothing else of the person is left: its HMAC, from which it cannot be read.
create table suppressed_address (
  mark         bytea constraint suppressed_address_pkey primary key,
  means        text not null,
  suppressed_on date not null
);
