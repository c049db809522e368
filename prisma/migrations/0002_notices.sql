-- Up Migration

-- The nightly run and the letters. The notice row is the queue; its items carry the key that keeps a stage from going out twice.

create table nightly_run (
  job         text not null,
  local_date  date not null,
  state       text not null default 'running' constraint nightly_run_state check (state in ('running', 'finished', 'missed')),
  owner       uuid,
  lease_until timestamptz,
  attempt     int not null default 1,
  started_at  timestamptz not null default now(),
  finished_at timestamptz,
  counts      jsonb not null default '{}',
  constraint nightly_run_pkey primary key (job, local_date)
);

create table notice (
  id           uuid primary key default uuid_v7(),
  owner_id     uuid not null constraint notice_owner_id_fkey references owner (id),
  run_on       date not null,
  state        text not null default 'queued' constraint notice_state check
               (state in ('queued', 'held', 'claimed', 'handing-over', 'sent', 'failed', 'in-doubt', 'withdrawn')),
  means        text not null default 'e-mail',
  language     text not null,
  text_version text not null,
  come_by      date,
  extras       jsonb not null default '{}',
  trace        jsonb not null,
  held_by      text,
  held_why     text,
  withdrawn_by text,
  withdrawn_why text,
  released_on  date,
  attempt      int not null default 0,
  next_at      timestamptz not null default now(),
  lease_owner  uuid,
  lease_until  timestamptz,
  message_id   text,
  response     text,
  last_error   text,
  made_at      timestamptz not null default now(),
  handed_at    timestamptz,
  sent_at      timestamptz,
  delivered_at timestamptz,
  returned_at  timestamptz
);
-- both columns: all notices of a night share next_at, and without the id the claim scans them all
create index notice_queue on notice (next_at, id) where state = 'queued';
create index notice_lease on notice (lease_until) where state in ('claimed', 'handing-over');
create index notice_owner_id on notice (owner_id, run_on desc);
create index notice_run_on on notice (run_on, id);

create table notice_item (
  id         uuid primary key default uuid_v7(),
  notice_id  uuid constraint notice_item_notice_id_fkey references notice (id),
  owner_id   uuid not null,
  watch_id   uuid not null constraint notice_item_watch_id_fkey references watch (id),
  kind       text not null,
  cycle      text not null,
  round      date not null,
  stage      text not null,
  booked     text not null constraint notice_item_booked check (booked in ('letter', 'skipped')),
  key_taken  boolean not null default true,
  run_on     date not null,
  due_on     date not null,
  standing   text not null,
  made_at    timestamptz not null default now()
);
create unique index notice_item_key on notice_item (owner_id, watch_id, kind, cycle, round, stage) where key_taken;
create index notice_item_notice_id on notice_item (notice_id);
create index notice_item_watch_id on notice_item (watch_id, kind, cycle);
create index notice_item_owner_id on notice_item (owner_id, run_on desc);

-- What did not go, and every reason why not. No key: the stage may still go when the reason ends.
create table withheld_item (
  id       uuid primary key default uuid_v7(),
  run_on   date not null,
  owner_id uuid,
  watch_id uuid not null constraint withheld_item_watch_id_fkey references watch (id),
  kind     text not null,
  cycle    text not null,
  stage    text not null,
  reasons  text[] not null,
  made_at  timestamptz not null default now(),
  constraint withheld_item_once unique (run_on, watch_id, kind, stage)
);

create trigger withheld_item_append_only before update or delete on withheld_item for each row execute function refuse_rewriting();
