-- Up Migration

-- The book: people, watches, what is inside them, what happened to them, and what the reckoning makes of it.
-- Facts are append-only in the database itself; a mistake is struck by a later row that points to it.

create extension if not exists pg_trgm;

-- UUIDv7 (RFC 9562) for rows that SQL makes by itself; PostgreSQL has its own only from 18 on.
create function uuid_v7() returns uuid language sql volatile parallel safe as $$
  select encode(
    set_bit(set_bit(
      overlay(uuid_send(gen_random_uuid()) placing substring(int8send((extract(epoch from clock_timestamp()) * 1000)::bigint) from 3) from 1 for 6),
      52, 1), 53, 1), 'hex')::uuid
$$;

create function refuse_rewriting() returns trigger language plpgsql as $$
begin
  raise exception 'rows of % are never changed or deleted: record a later row that strikes or replaces this one', tg_table_name
    using errcode = 'MP001';
end $$;

create table staff_key (
  id          uuid primary key default uuid_v7(),
  name        text not null,
  role        text not null constraint staff_key_role check (role in ('counter', 'bench', 'stock', 'manager')),
  secret_hash bytea not null,
  created_at  timestamptz not null default now(),
  created_by  text not null,
  expires_at  timestamptz,
  revoked_at  timestamptz,
  revoked_by  text
);

create table idempotency_key (
  staff_key_id uuid not null,
  route        text not null,
  key          text not null,
  fingerprint  bytea not null,
  status       int,
  headers      jsonb,
  body         jsonb,
  created_at   timestamptz not null default now(),
  constraint idempotency_key_pkey primary key (staff_key_id, route, key)
);
create index idempotency_key_created_at on idempotency_key (created_at);

-- ---------------------------------------------------------------- owners

create table owner (
  id               uuid primary key default uuid_v7(),
  version          int not null default 1,
  name             text not null,
  form_of_address  text,
  language         text not null default 'en',
  is_firm          boolean not null default false,
  standing         text not null default 'normal'
                   constraint owner_standing check (standing in ('normal', 'business-account', 'do-not-serve', 'in-dispute')),
  deceased_on      date,
  deceased_told_by text,
  erased_on        date,
  merged_into      uuid constraint owner_merged_into_fkey references owner (id),
  search_name      text not null,
  created_at       timestamptz not null default now(),
  created_by       text not null,
  constraint owner_not_merged_into_itself check (merged_into is null or merged_into <> id)
);
create index owner_search_name on owner using gin (search_name gin_trgm_ops);
create index owner_merged_into on owner (merged_into) where merged_into is not null;

create table contact (
  id            uuid primary key default uuid_v7(),
  owner_id      uuid not null constraint contact_owner_id_fkey references owner (id),
  means         text not null constraint contact_means check (means in ('e-mail', 'phone', 'post')),
  value         text not null,
  search_value  text not null,
  preferred_for text[] not null default '{}',
  tested_on     date,
  failed_on     date,
  failed_why    text,
  ended_on      date,
  created_at    timestamptz not null default now(),
  created_by    text not null
);
create index contact_owner_id on contact (owner_id);
create index contact_search_value on contact (means, search_value text_pattern_ops);
create index contact_search_tail on contact (means, reverse(search_value) text_pattern_ops) where means = 'phone';

-- What an owner said about being written to, per kind of letter; the latest row of a kind counts.
create table notice_choice (
  id          uuid primary key default uuid_v7(),
  owner_id    uuid not null constraint notice_choice_owner_id_fkey references owner (id),
  kind        text not null constraint notice_choice_kind check (kind in ('complete-service', 'water-check', 'cell-change')),
  choice      text not null constraint notice_choice_choice check (choice in ('yes', 'no', 'not-asked')),
  chosen_on   date not null,
  means       text not null,
  wording     text not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index notice_choice_owner_id on notice_choice (owner_id, kind, id desc);

-- ---------------------------------------------------------------- calibres, guidance

create table calibre (
  id                         uuid primary key default uuid_v7(),
  version                    int not null default 1,
  name                       text not null,
  energy                     text not null constraint calibre_energy check (energy in ('primary-cell', 'rechargeable', 'none', 'unknown')),
  beats_per_hour             int constraint calibre_beats_per_hour check (beats_per_hour between 1 and 1000000),
  jewels                     int constraint calibre_jewels check (jewels between 0 and 200),
  diameter_mm                numeric(5, 2),
  lift_angle_degrees         numeric(4, 1) constraint calibre_lift_angle check (lift_angle_degrees between 30 and 70),
  power_reserve_hours        int constraint calibre_power_reserve check (power_reserve_hours between 24 and 240),
  frequency_hertz            int,
  inhibition_period_seconds  int,
  motor_pulse_seconds        int,
  consumption_max_microamps  numeric(6, 3) constraint calibre_consumption check (consumption_max_microamps between 0.2 and 20),
  working_voltage_max        numeric(4, 2),
  cell_designation           text,
  cell_count                 int not null default 0 constraint calibre_cell_count check (cell_count between 0 and 4),
  thermocompensated          boolean not null default false,
  end_of_life_sign           text,
  created_at                 timestamptz not null default now(),
  created_by                 text not null,
  constraint calibre_name_key unique (name)
);

-- What the maker says, for a calibre or for a model (maker and model together); versioned by in_force_from, never changed.
create table guidance (
  id            uuid primary key default uuid_v7(),
  calibre_id    uuid constraint guidance_calibre_id_fkey references calibre (id),
  maker         text,
  model         text,
  obligation    text not null constraint guidance_obligation check (obligation in ('complete-service', 'water-check', 'cell-change', 'seals')),
  months        int not null constraint guidance_months check (months between 1 and 240),
  up_to_months  int constraint guidance_up_to_months check (up_to_months between months and 240),
  conditions    text,
  in_force_from date not null,
  learned       date not null,
  source_paper  text not null,
  recorded_at   timestamptz not null default now(),
  recorded_by   text not null,
  constraint guidance_for_one check ((calibre_id is not null) <> (maker is not null and model is not null))
);
create index guidance_calibre_id on guidance (calibre_id) where calibre_id is not null;
create index guidance_model on guidance (maker, model) where maker is not null;

-- ---------------------------------------------------------------- watches

create table watch (
  id                uuid primary key default uuid_v7(),
  version           int not null default 1,
  maker             text not null,
  model             text,
  reference         text,
  serial            text,
  search_serial     text,
  known_duplicate   boolean not null default false,
  own_mark          text,
  description       text,
  kind              text not null
                    constraint watch_kind check (kind in ('hand-wound', 'self-winding', 'quartz', 'rechargeable-quartz', 'electric', 'spring-quartz')),
  display           text,
  claim_marked      text not null default 'unknown' constraint watch_claim_marked check (claim_marked in ('none', 'plain', 'rated', 'unknown')),
  claim_bar         numeric(7, 2) constraint watch_claim_bar check (claim_bar is null or (claim_marked = 'rated' and claim_bar > 0)),
  case_material     text,
  diameter_mm       numeric(4, 1),
  crystal           text not null default 'unknown'
                    constraint watch_crystal check (crystal in ('acrylic', 'mineral', 'sapphire', 'unknown')),
  luminous          text not null default 'unknown'
                    constraint watch_luminous check (luminous in ('none', 'photoluminescent', 'tritium-paint', 'tritium-tube', 'promethium', 'radium', 'unknown-old', 'unknown')),
  made              text,
  sold              text,
  first_seen        date not null,
  state             text not null default 'in-use'
                    constraint watch_state check (state in ('in-use', 'stored-running', 'stored-cell-removed', 'displayed', 'lost', 'stolen', 'disposed', 'beyond-repair')),
  state_since       date,
  do_not            text[] not null default '{}',
  declared_value    bigint,
  declared_currency text,
  declared_on       date,
  -- the present owner, kept beside the ownership rows so that the nightly run reads one row
  owner_id          uuid constraint watch_owner_id_fkey references owner (id),
  owner_known_on    date not null,
  in_house          boolean not null default false,
  created_at        timestamptz not null default now(),
  created_by        text not null
);
create index watch_owner_id on watch (owner_id);
create index watch_search_serial on watch (search_serial text_pattern_ops) where search_serial is not null;
create unique index watch_maker_serial_key on watch (lower(maker), search_serial) where search_serial is not null and not known_duplicate;
create index watch_model on watch (maker, model);

create table ownership (
  id          uuid primary key default uuid_v7(),
  watch_id    uuid not null constraint ownership_watch_id_fkey references watch (id),
  owner_id    uuid constraint ownership_owner_id_fkey references owner (id),
  from_day    date not null,
  learned     date not null,
  how         text not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index ownership_watch_id on ownership (watch_id, from_day, id);
create index ownership_owner_id on ownership (owner_id);

create table movement (
  id          uuid primary key default uuid_v7(),
  watch_id    uuid not null constraint movement_watch_id_fkey references watch (id),
  calibre_id  uuid not null constraint movement_calibre_id_fkey references calibre (id),
  -- what the watch is with this movement inside; null where that is the watch's own kind
  kind        text constraint movement_kind check (kind in ('hand-wound', 'self-winding', 'quartz', 'rechargeable-quartz', 'electric', 'spring-quartz')),
  serial      text,
  from_day    date not null,
  learned     date not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index movement_watch_id on movement (watch_id, from_day, id);
create index movement_calibre_id on movement (calibre_id);

create table hazard (
  id           uuid primary key default uuid_v7(),
  watch_id     uuid not null constraint hazard_watch_id_fkey references watch (id),
  kind         text not null constraint hazard_kind check (kind in ('radium', 'maybe-radium', 'tritium', 'promethium', 'leaking-cell', 'water-inside', 'acrylic-crystal', 'brittle-seals', 'mercury-cell', 'lithium-cell', 'other')),
  note         text,
  confirmed_by text,
  seen_on      date not null,
  recorded_at  timestamptz not null default now(),
  recorded_by  text not null
);
create index hazard_watch_id on hazard (watch_id);

-- ---------------------------------------------------------------- facts of the reckoning

create table watch_event (
  id                    uuid primary key default uuid_v7(),
  watch_id              uuid not null constraint watch_event_watch_id_fkey references watch (id),
  event                 text not null constraint watch_event_event check (event in
                        ('complete-service', 'movement-fitted', 'water-test', 'water-claim-withdrawn', 'case-opened', 'seals-replaced', 'cell-fitted', 'cell-removed', 'sign')),
  happened              text not null,
  source                text not null constraint watch_event_source check (source in ('own-record', 'paper', 'owner-word')),
  learned               date not null,
  condition             text constraint watch_event_condition check (condition in ('new', 'freshly-serviced', 'unknown')),
  passed                boolean,
  bar                   numeric,
  sign                  text constraint watch_event_sign check (sign in
                        ('stopped', 'runs-down-early', 'low-amplitude', 'loses-time', 'high-consumption', 'high-working-voltage', 'water-inside', 'heavy-blow',
                         'crown-knock', 'hot-bath', 'solvent', 'cell-dead', 'cell-leaking', 'cell-end-of-life')),
  best_before           text,
  capacity_mah          numeric,
  consumption_microamps numeric,
  note                  text,
  ticket_id             uuid,
  recorded_at           timestamptz not null default now(),
  recorded_by           text not null,
  constraint watch_event_parts check (
    (event = 'water-test') = (passed is not null)
    and (event = 'sign') = (sign is not null)
    and (event = 'movement-fitted' or condition is null)
    and (event = 'water-test' or bar is null)
    and (event = 'cell-fitted' or (best_before is null and capacity_mah is null and consumption_microamps is null)))
);
create index watch_event_watch_id on watch_event (watch_id, id);

-- How the present owner wears it; the latest row learned counts, and only while that owner has it.
create table wear_statement (
  id          uuid primary key default uuid_v7(),
  watch_id    uuid not null constraint wear_statement_watch_id_fkey references watch (id),
  owner_id    uuid constraint wear_statement_owner_id_fkey references owner (id),
  daily       text not null default 'unknown' constraint wear_statement_daily check (daily in ('yes', 'no', 'unknown')),
  vibration   text not null default 'unknown' constraint wear_statement_vibration check (vibration in ('yes', 'no', 'unknown')),
  heat        text not null default 'unknown' constraint wear_statement_heat check (heat in ('yes', 'no', 'unknown')),
  cold        text not null default 'unknown' constraint wear_statement_cold check (cold in ('yes', 'no', 'unknown')),
  water       text not null default 'unknown' constraint wear_statement_water check (water in ('never', 'now-and-then', 'often', 'diving', 'in-water', 'unknown')),
  salt        text not null default 'unknown' constraint wear_statement_salt check (salt in ('yes', 'no', 'unknown')),
  chlorine    text not null default 'unknown' constraint wear_statement_chlorine check (chlorine in ('yes', 'no', 'unknown')),
  hot_water   text not null default 'unknown' constraint wear_statement_hot_water check (hot_water in ('yes', 'no', 'unknown')),
  magnets     text not null default 'unknown' constraint wear_statement_magnets check (magnets in ('yes', 'no', 'unknown')),
  learned     date not null,
  source      text not null constraint wear_statement_source check (source in ('own-record', 'paper', 'owner-word')),
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index wear_statement_watch_id on wear_statement (watch_id, learned, id);

create table watchmaker_note (
  id          uuid primary key default uuid_v7(),
  watch_id    uuid not null constraint watchmaker_note_watch_id_fkey references watch (id),
  obligation  text not null constraint watchmaker_note_obligation check (obligation in ('complete-service', 'water-check', 'cell-change', 'seals')),
  months      int not null constraint watchmaker_note_months check (months between 1 and 240),
  noted_on    date not null,
  reason      text not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index watchmaker_note_watch_id on watchmaker_note (watch_id, id);

-- One row strikes one fact of any of the tables above, once; replaced_by names the fact that stands in its place.
create table strike (
  fact_id     uuid constraint strike_pkey primary key,
  fact_table  text not null constraint strike_fact_table check (fact_table in ('watch_event', 'wear_statement', 'watchmaker_note', 'ownership', 'movement', 'guidance', 'hazard')),
  watch_id    uuid constraint strike_watch_id_fkey references watch (id),
  reason      text not null,
  replaced_by uuid,
  learned     date not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index strike_watch_id on strike (watch_id) where watch_id is not null;

-- What an edited record said before: every change keeps the old values, signer, time and reason.
create table edit (
  id          uuid primary key default uuid_v7(),
  record      text not null,
  record_id   uuid not null,
  version     int not null,
  before      jsonb not null,
  reason      text,
  edited_on   date not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index edit_record_id on edit (record_id, version);

-- ---------------------------------------------------------------- house rules

create table house_rule (
  id          uuid primary key default uuid_v7(),
  key         text not null,
  value       jsonb not null,
  from_day    date not null,
  reason      text not null,
  recorded_on date not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index house_rule_key on house_rule (key, from_day, id);

-- ---------------------------------------------------------------- obligations: what the reckoning makes of the facts

-- One row a watch and kind, rewritten in the transaction that records a fact. rule null: nothing is due, for the reason in because.
create table obligation (
  watch_id       uuid not null constraint obligation_watch_id_fkey references watch (id),
  kind           text not null constraint obligation_kind check (kind in ('complete-service', 'water-check', 'cell-change', 'seals')),
  because        text,
  rule           text,
  base_on        date,
  base_from      text,
  base_until     date,
  event_on       date,
  last_word_on   date,
  notices_by     text,
  months         int,
  due_on         date,
  notices_due_on date,
  coming_up_from date,
  overdue_from   date,
  stop_on        date,
  cycle          text,
  warnings       text[] not null default '{}',
  next_notice_on date,
  reconsider_on  date,
  reckoned_on    date not null,
  reckoned_at    timestamptz not null default now(),
  constraint obligation_pkey primary key (watch_id, kind),
  constraint obligation_due_or_because check ((rule is null) = (because is not null) and (rule is null) = (due_on is null))
) with (fillfactor = 85);
create index obligation_next_notice_on on obligation (next_notice_on, watch_id) where next_notice_on is not null;
create index obligation_reconsider_on on obligation (reconsider_on, watch_id) where reconsider_on is not null;
create index obligation_due_on on obligation (due_on, watch_id) where due_on is not null;

-- ---------------------------------------------------------------- append-only

do $$
declare t text;
begin
  foreach t in array array['notice_choice', 'guidance', 'ownership', 'movement', 'hazard', 'watch_event', 'wear_statement', 'watchmaker_note', 'strike', 'house_rule', 'edit'] loop
    execute format('create trigger %I before update or delete on %I for each row execute function refuse_rewriting()', t || '_append_only', t);
    execute format('create trigger %I before truncate on %I for each statement execute function refuse_rewriting()', t || '_no_truncate', t);
  end loop;
end $$;
