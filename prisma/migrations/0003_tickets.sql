-- Up Migration

-- The life of a ticket: one watch, one visit. Where it stands is in ticket; all that was said and done is in ticket_record,
-- append-only and in one order (seq), from which the gates are worked out anew at every call.

create sequence ticket_serial as int maxvalue 999999999;
create sequence record_seq;

create table ticket (
  id            uuid primary key default uuid_v7(),
  version       int not null default 1,
  number        text not null constraint ticket_number_key unique,
  watch_id      uuid not null constraint ticket_watch_id_fkey references watch (id),
  owner_id      uuid not null constraint ticket_owner_id_fkey references owner (id),
  handing_in    uuid,
  brought_by    text not null,
  complaint     text not null,
  return_wish   text,
  work_class    text,
  step          text not null default 'booked-in' constraint ticket_step check (step in
                ('booked-in', 'awaiting-look', 'looked-over', 'priced', 'awaiting-yes', 'return-undone', 'awaiting-parts', 'ready-for-bench',
                 'on-the-bench', 'closed', 'under-observation', 'final-check', 'ready', 'handed-over')),
  side          text constraint ticket_side check (side in ('on-hold', 'sent-out', 'unclaimed', 'dispute', 'missing', 'evidence')),
  ended         text constraint ticket_ended check (ended in ('handed-over', 'lost-and-settled', 'disposed-of')),
  undone        boolean not null default false,
  comeback_of   uuid constraint ticket_comeback_of_fkey references ticket (id),
  stepped_seq   bigint not null default 0,
  booked_on     date not null,
  ended_on      date,
  promised_on   date,
  next_actor    text constraint ticket_next_actor check (next_actor in ('counter', 'bench', 'stock', 'manager', 'final-checker')),
  next_by       date,
  place         text,
  holder        text,
  declared_value    bigint,
  declared_currency text,
  -- the look of the watch, folded, by which two are mixed up
  look_model    text,
  look_dial     text,
  dial          text,
  created_at    timestamptz not null default now(),
  created_by    text not null,
  -- the rule over all: a ticket never stands without a named next actor and a date
  constraint ticket_has_next check ((ended is null) = (next_actor is not null) and (ended is null) = (next_by is not null)),
  constraint ticket_ended_on_a_day check ((ended is null) = (ended_on is null))
);
-- a watch is in the house once
create unique index ticket_watch_in_house on ticket (watch_id) where ended is null;
create index ticket_watch_id on ticket (watch_id, id);
create index ticket_owner_id on ticket (owner_id, id);
create index ticket_next_by on ticket (next_by, id) where ended is null;
create index ticket_step on ticket (step, id) where ended is null;
create index ticket_place on ticket (place) where ended is null;
create index ticket_look_model on ticket (look_model) where ended is null and look_model is not null;
create index ticket_look_dial on ticket (look_dial) where ended is null and look_dial is not null;
create index ticket_comeback_of on ticket (comeback_of) where comeback_of is not null;

create table ticket_record (
  id          uuid primary key default uuid_v7(),
  seq         bigint not null default nextval('record_seq'),
  ticket_id   uuid not null constraint ticket_record_ticket_id_fkey references ticket (id),
  kind        text not null constraint ticket_record_kind check (kind in
              ('booked', 'people', 'condition', 'value', 'cover', 'do-not', 'ceiling', 'hazard-confirmed', 'hazard-over', 'move', 'side', 'override', 'look',
               'parts', 'kit', 'opening', 'closing', 'operation', 'fitting', 'reading', 'water-test', 'readings-accepted', 'water-agreement',
               'claim-withdrawn', 'final-check', 'contact', 'at-counter', 'release', 'payment', 'revocation', 'yes-confirmed', 'goodwill', 'comeback',
               'promise', 'incident', 'hazard-seen', 'unclaimed-step', 'ended', 'struck')),
  -- when it happened, and the centre's day of it
  at          timestamptz not null,
  on_day      date not null,
  data        jsonb not null default '{}',
  line_id     uuid,
  tool_id     uuid,
  lot_id      uuid,
  strikes     uuid constraint ticket_record_strikes_key unique,
  recorded_at timestamptz not null default now(),
  by_key      uuid,
  recorded_by text not null
);
create index ticket_record_ticket_id on ticket_record (ticket_id, seq);
create index ticket_record_tool_id on ticket_record (tool_id, on_day) where tool_id is not null;
create index ticket_record_lot_id on ticket_record (lot_id) where lot_id is not null;

-- Where a watch is. Each move begins where the last one ended, and two moves at once cannot both be the next one.
create table custody_move (
  ticket_id   uuid not null constraint custody_move_ticket_id_fkey references ticket (id),
  n           int not null constraint custody_move_n check (n >= 1),
  prev        int,
  id          uuid not null default uuid_v7(),
  seq         bigint not null default nextval('record_seq'),
  from_place  text,
  to_place    text not null,
  holder      text not null,
  at          timestamptz not null,
  recorded_at timestamptz not null default now(),
  by_key      uuid,
  recorded_by text not null,
  constraint custody_move_pkey primary key (ticket_id, n),
  constraint custody_move_chain_key unique (ticket_id, n, to_place),
  constraint custody_move_follows check ((n = 1 and prev is null and from_place is null) or (prev is not null and prev = n - 1 and from_place is not null)),
  constraint custody_move_from_where_it_was foreign key (ticket_id, prev, from_place) references custody_move (ticket_id, n, to_place)
);

create table picture_file (
  id          uuid primary key default uuid_v7(),
  sha256      text not null constraint picture_file_sha256_key unique,
  media_type  text not null,
  bytes       int not null,
  width       int not null,
  height      int not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);

create table ticket_picture (
  id          uuid primary key default uuid_v7(),
  seq         bigint not null default nextval('record_seq'),
  ticket_id   uuid not null constraint ticket_picture_ticket_id_fkey references ticket (id),
  file_id     uuid not null constraint ticket_picture_file_id_fkey references picture_file (id),
  view        text not null constraint ticket_picture_view check (view in
              ('dial', 'back', 'crown-side', 'opposite-side', 'lugs', 'clasp', 'inside-bracelet', 'other')),
  stage       text not null default 'booking-in' constraint ticket_picture_stage check (stage in ('booking-in', 'look', 'bench', 'final-check')),
  at          timestamptz not null,
  recorded_at timestamptz not null default now(),
  by_key      uuid,
  recorded_by text not null,
  -- one picture is of one watch
  constraint ticket_picture_once unique (file_id)
);
create index ticket_picture_ticket_id on ticket_picture (ticket_id);

create table loose_item (
  id          uuid primary key default uuid_v7(),
  seq         bigint not null default nextval('record_seq'),
  ticket_id   uuid not null constraint loose_item_ticket_id_fkey references ticket (id),
  bag         text not null,
  words       text not null,
  recorded_at timestamptz not null default now(),
  by_key      uuid,
  recorded_by text not null,
  constraint loose_item_bag_key unique (ticket_id, bag)
);

-- ---------------------------------------------------------------- estimates and the yes

create table estimate (
  id          uuid primary key default uuid_v7(),
  seq         bigint not null default nextval('record_seq'),
  ticket_id   uuid not null constraint estimate_ticket_id_fkey references ticket (id),
  n           int not null,
  kind        text not null constraint estimate_kind check (kind in ('fixed', 'up-to', 'look-first')),
  currency    text not null,
  rounding    text not null constraint estimate_rounding check (rounding in ('per-line', 'per-total')),
  valid_until date,
  net         bigint not null,
  tax         bigint not null,
  total       bigint not null,
  made_on     date not null,
  recorded_at timestamptz not null default now(),
  by_key      uuid,
  recorded_by text not null,
  constraint estimate_version_key unique (ticket_id, n)
);

create table estimate_line (
  id               uuid primary key default uuid_v7(),
  estimate_id      uuid not null constraint estimate_line_estimate_id_fkey references estimate (id),
  place            int not null,
  code             text,
  what             text not null,
  part             boolean not null default false,
  quantity         int not null constraint estimate_line_quantity check (quantity between 1 and 10000),
  unit_price       bigint constraint estimate_line_unit_price check (unit_price >= 0),
  tax_class        text,
  tax_rate         int,
  choice           text not null constraint estimate_line_choice check (choice in ('must', 'should', 'could')),
  required_by      uuid,
  guarantee_months int not null default 0,
  opens_case       boolean not null default false,
  pressure_test    boolean not null default false,
  complete_service boolean not null default false,
  constraint estimate_line_place_key unique (estimate_id, place)
);

create table estimate_answer (
  id          uuid primary key default uuid_v7(),
  seq         bigint not null default nextval('record_seq'),
  ticket_id   uuid not null constraint estimate_answer_ticket_id_fkey references ticket (id),
  version     int not null,
  line_id     uuid not null constraint estimate_answer_line_id_fkey references estimate_line (id),
  answer      text not null constraint estimate_answer_answer check (answer in ('yes', 'no')),
  person      text not null,
  how         text not null constraint estimate_answer_how check (how in ('in-person', 'signed', 'e-mail', 'phone')),
  on_day      date not null,
  at          timestamptz not null,
  total       bigint not null,
  text_shown  text,
  recorded_at timestamptz not null default now(),
  by_key      uuid,
  recorded_by text not null,
  constraint estimate_answer_version_fkey foreign key (ticket_id, version) references estimate (ticket_id, n)
);
create index estimate_answer_ticket_id on estimate_answer (ticket_id, seq);

-- One guarantee a line handed over; the days added by a covered stay are rows of their own.
create table guarantee (
  id         uuid primary key default uuid_v7(),
  ticket_id  uuid not null constraint guarantee_ticket_id_fkey references ticket (id),
  watch_id   uuid not null constraint guarantee_watch_id_fkey references watch (id),
  line_id    uuid not null constraint guarantee_line_id_fkey references estimate_line (id),
  what       text not null,
  starts_on  date not null,
  months     int not null,
  recorded_by text not null,
  constraint guarantee_line_key unique (line_id)
);
create index guarantee_watch_id on guarantee (watch_id);
create index guarantee_ticket_id on guarantee (ticket_id);

create table guarantee_days (
  guarantee_id uuid not null constraint guarantee_days_guarantee_id_fkey references guarantee (id),
  ticket_id    uuid not null constraint guarantee_days_ticket_id_fkey references ticket (id),
  days         int not null,
  recorded_by  text not null,
  constraint guarantee_days_pkey primary key (guarantee_id, ticket_id)
);

-- ---------------------------------------------------------------- tools, benches, skills, settings, counts

create table tool (
  id          uuid primary key default uuid_v7(),
  kind        text not null constraint tool_kind check (kind in
              ('pressure-tester', 'timing-machine', 'quartz-tester', 'torque-driver', 'hot-plate-thermometer', 'demagnetiser-check', 'radiation-meter', 'scales')),
  serial      text not null,
  name        text not null,
  months      int not null constraint tool_months check (months between 1 and 240),
  blocked_why text,
  created_at  timestamptz not null default now(),
  created_by  text not null,
  constraint tool_serial_key unique (kind, serial)
);

create table tool_certificate (
  id          uuid primary key default uuid_v7(),
  tool_id     uuid not null constraint tool_certificate_tool_id_fkey references tool (id),
  on_day      date not null,
  as_found    text not null constraint tool_certificate_as_found check (as_found in ('in-tolerance', 'out-of-tolerance', 'not-stated')),
  as_left     text not null constraint tool_certificate_as_left check (as_left in ('in-tolerance', 'out-of-tolerance')),
  months      int not null constraint tool_certificate_months check (months between 1 and 240),
  by_whom     text not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index tool_certificate_tool_id on tool_certificate (tool_id, on_day);

-- What the maker allows for a calibre; where he is silent the house class counts. The latest row counts.
create table calibre_tolerance (
  id           uuid primary key default uuid_v7(),
  calibre_id   uuid not null constraint calibre_tolerance_calibre_id_fkey references calibre (id),
  limits       jsonb not null,
  source_paper text not null,
  recorded_at  timestamptz not null default now(),
  recorded_by  text not null
);
create index calibre_tolerance_calibre_id on calibre_tolerance (calibre_id, id);

create table bench (
  id         uuid primary key default uuid_v7(),
  name       text not null constraint bench_name_key unique,
  skills     text[] not null,
  created_at timestamptz not null default now(),
  created_by text not null
);

create table staff_skill (
  id           uuid primary key default uuid_v7(),
  staff_key_id uuid not null constraint staff_skill_staff_key_id_fkey references staff_key (id),
  skill        text not null,
  level        text not null constraint staff_skill_level check (level in ('may-do', 'under-eye', 'may-check', 'none')),
  from_day     date not null,
  recorded_at  timestamptz not null default now(),
  recorded_by  text not null
);
create index staff_skill_staff_key_id on staff_skill (staff_key_id, skill, from_day, id);

create table evening_count (
  id          uuid primary key default uuid_v7(),
  on_day      date not null,
  places      jsonb not null,
  missing     text[] not null,
  elsewhere   text[] not null,
  unknown     text[] not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index evening_count_on_day on evening_count (on_day, id);

do $$
declare t text;
begin
  foreach t in array array['ticket_record', 'custody_move', 'picture_file', 'ticket_picture', 'loose_item', 'estimate', 'estimate_line', 'estimate_answer',
    'guarantee', 'guarantee_days', 'tool_certificate', 'staff_skill', 'evening_count', 'calibre_tolerance'] loop
    execute format('create trigger %I before update or delete on %I for each row execute function refuse_rewriting()', t || '_append_only', t);
    execute format('create trigger %I before truncate on %I for each statement execute function refuse_rewriting()', t || '_no_truncate', t);
  end loop;
end $$;
