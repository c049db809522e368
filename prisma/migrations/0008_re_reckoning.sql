-- Up Migration

-- A house rule, a maker's word or the beat of a calibre has changed: the watches it touches are reckoned anew, batch by batch, in the order of
-- their ids. Each batch carries cursor, counts and lease on in its own transaction, so that killed anywhere the next one
-- goes on where it stopped.
create table re_reckoning (
  id            uuid primary key default uuid_v7(),
  house_rule_id uuid constraint re_reckoning_house_rule_id_fkey references house_rule (id),
  guidance_id   uuid constraint re_reckoning_guidance_id_fkey references guidance (id),
  calibre_id    uuid constraint re_reckoning_calibre_id_fkey references calibre (id),
  from_day      date not null,
  state         text not null default 'waiting' constraint re_reckoning_state check (state in ('waiting', 'running', 'finished')),
  -- the transactions that may not have seen the change have all ended once the oldest running one is this or later
  settles_at    bigint,
  cursor        uuid not null default '00000000-0000-0000-0000-000000000000',
  done          int not null default 0,
  moved         int not null default 0,
  total         int,
  owner         uuid,
  lease_until   timestamptz,
  attempt       int not null default 0,
  made_at       timestamptz not null default now(),
  made_by       text not null,
  started_at    timestamptz,
  finished_at   timestamptz,
  constraint re_reckoning_for_one check (num_nonnulls(house_rule_id, guidance_id, calibre_id) = 1)
);
create index re_reckoning_open on re_reckoning (from_day, id) where state <> 'finished';
