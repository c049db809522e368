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
  by_whom     text not null default 'clock',
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
  come_by      date not null,
  -- the whole letter as decided (domain/notices: LetterPlan); the texts are rendered from it
  plan         jsonb not null,
  trace        jsonb not null,
  -- false: nothing in it but what stands outside the thirty days, which it then does not start
  reminder     boolean not null default true,
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
  rule       text not null,
  booked     text not null constraint notice_item_booked check (booked in ('letter', 'skipped', 'rider')),
  bundled    boolean not null default false,
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

create index withheld_item_watch_id on withheld_item (watch_id, kind, cycle);

create trigger withheld_item_append_only before update or delete on withheld_item for each row execute function refuse_rewriting();

-- An offer the owner said no to. The item is quiet for a while, then one letter goes.
create table refused_offer (
  id          uuid primary key default uuid_v7(),
  watch_id    uuid not null constraint refused_offer_watch_id_fkey references watch (id),
  owner_id    uuid constraint refused_offer_owner_id_fkey references owner (id),
  kind        text not null constraint refused_offer_kind check (kind in ('complete-service', 'water-check', 'cell-change', 'seals')),
  refused_on  date not null,
  ticket_id   uuid,
  source      text not null constraint refused_offer_source check (source in ('own-record', 'paper', 'owner-word')),
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index refused_offer_watch_id on refused_offer (watch_id, kind, refused_on);

-- The owner comes in on a day: no letters about this watch until a week after it. A later row of the watch replaces it.
create table appointment (
  id          uuid primary key default uuid_v7(),
  watch_id    uuid not null constraint appointment_watch_id_fkey references watch (id),
  on_day      date,
  source      text not null constraint appointment_source check (source in ('own-record', 'paper', 'owner-word')),
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index appointment_watch_id on appointment (watch_id, id);

-- "Keep it dry" was said and taken in; the line then leaves the letters.
create table keep_dry_acknowledged (
  id              uuid primary key default uuid_v7(),
  watch_id        uuid not null constraint keep_dry_acknowledged_watch_id_fkey references watch (id),
  owner_id        uuid constraint keep_dry_acknowledged_owner_id_fkey references owner (id),
  acknowledged_on date not null,
  recorded_at     timestamptz not null default now(),
  recorded_by     text not null
);
create index keep_dry_acknowledged_watch_id on keep_dry_acknowledged (watch_id);

-- By what right an owner's data is used for letters; the latest row counts. basis null, or kept until a day now past: none.
create table lawful_basis (
  id          uuid primary key default uuid_v7(),
  owner_id    uuid not null constraint lawful_basis_owner_id_fkey references owner (id),
  basis       text,
  keep_until  date,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index lawful_basis_owner_id on lawful_basis (owner_id, id);

-- Two owner records that look like one person and are not, as the counter found.
create table owners_differ (
  owner_a     uuid not null constraint owners_differ_owner_a_fkey references owner (id),
  owner_b     uuid not null constraint owners_differ_owner_b_fkey references owner (id),
  recorded_at timestamptz not null default now(),
  recorded_by text not null,
  constraint owners_differ_pkey primary key (owner_a, owner_b),
  constraint owners_differ_in_order check (owner_a < owner_b)
);

-- Something a person has to do. One open task for one thing: dedupe names it.
create table task (
  id         uuid primary key default uuid_v7(),
  kind       text not null,
  role       text not null constraint task_role check (role in ('counter', 'bench', 'stock', 'manager')),
  dedupe     text not null,
  owner_id   uuid constraint task_owner_id_fkey references owner (id),
  watch_id   uuid constraint task_watch_id_fkey references watch (id),
  notice_id  uuid constraint task_notice_id_fkey references notice (id),
  words      text not null,
  due_on     date not null,
  made_at    timestamptz not null default now(),
  done_at    timestamptz,
  done_by    text,
  done_how   text,
  constraint task_done_by_somebody check ((done_at is null) = (done_by is null))
);
create unique index task_open_once on task (dedupe) where done_at is null;
create index task_open on task (role, due_on, id) where done_at is null;
create index task_watch_id on task (watch_id, kind) where watch_id is not null;

do $$
declare t text;
begin
  foreach t in array array['refused_offer', 'appointment', 'keep_dry_acknowledged', 'lawful_basis', 'owners_differ'] loop
    execute format('create trigger %I before update or delete on %I for each row execute function refuse_rewriting()', t || '_append_only', t);
  end loop;
end $$;
