-- Up Migration

-- The stock: what is kept, the lots it came in, and a signed entry for every piece that moves. The two balances of a lot,
-- shelf and bench, stand on the lot row and are moved by the entry's own trigger, so neither can be without the other.

create table stock_item (
  id                uuid primary key default uuid_v7(),
  version           int not null default 1,
  what              text not null constraint stock_item_what check (what in ('cell', 'gasket', 'part')),
  name              text not null,
  written           text not null,
  -- cells
  chemistry         text constraint stock_item_chemistry check (chemistry in
                    ('silver-oxide', 'alkaline', 'lithium-manganese', 'lithium-fluoride', 'zinc-air', 'nickel-oxyhydroxide', 'lithium-copper', 'mercury', 'rechargeable')),
  volts             numeric(4, 2) constraint stock_item_volts check (volts > 0),
  drain             text constraint stock_item_drain check (drain in ('low', 'high', 'unknown')),
  diameter_mm       numeric(5, 2),
  height_mm         numeric(5, 2),
  capacity_mah      numeric(13, 6) constraint stock_item_capacity check (capacity_mah > 0),
  weight_mg         int constraint stock_item_weight check (weight_mg > 0),
  waste_fee         bigint constraint stock_item_waste_fee check (waste_fee >= 0),
  ageing_months     int constraint stock_item_ageing_months check (ageing_months between 1 and 240),
  shelf_life_months int constraint stock_item_shelf_life check (shelf_life_months between 1 and 240),
  lead_weeks        int constraint stock_item_lead_weeks check (lead_weeks between 1 and 52),
  -- gaskets
  inner_mm          numeric(5, 2) constraint stock_item_inner check (inner_mm between 0.6 and 45),
  cord_mm           numeric(4, 2) constraint stock_item_cord check (cord_mm between 0.25 and 2.5),
  profile           text,
  material          text,
  -- other traceable parts
  part_kind         text constraint stock_item_part_kind check (part_kind in ('crown', 'tube', 'crystal', 'pusher', 'movement', 'oil', 'grease', 'epilame', 'glue', 'other')),
  created_at        timestamptz not null default now(),
  created_by        text not null,
  constraint stock_item_name_key unique (what, name),
  constraint stock_item_parts check (case what
    when 'cell' then chemistry is not null and drain is not null
    when 'gasket' then material is not null
    else part_kind is not null end)
);

-- The number under the bars of a pack (GS1), and how many pieces a pack holds.
create table item_number (
  number      text constraint item_number_pkey primary key,
  item_id     uuid not null constraint item_number_item_id_fkey references stock_item (id),
  pieces      int not null constraint item_number_pieces check (pieces > 0),
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index item_number_item_id on item_number (item_id);

-- One-way: the substitute may stand in for the item, in the order of place; approved by a watchmaker.
create table substitute (
  id            uuid primary key default uuid_v7(),
  item_id       uuid not null constraint substitute_item_id_fkey references stock_item (id),
  substitute_id uuid not null constraint substitute_substitute_id_fkey references stock_item (id),
  place         int not null constraint substitute_place check (place > 0),
  reason        text not null,
  approved_on   date not null,
  approved_by   text not null,
  withdrawn_on  date,
  withdrawn_by  text,
  constraint substitute_not_itself check (item_id <> substitute_id)
);
create unique index substitute_once on substitute (item_id, substitute_id) where withdrawn_on is null;
create unique index substitute_place_key on substitute (item_id, place) where withdrawn_on is null;

create table date_code_table (
  name        text constraint date_code_table_pkey primary key,
  layout      text not null constraint date_code_table_layout check (layout in ('YM', 'MY', 'YMM', 'MMY', 'YYM', 'MYY', 'YYMM', 'MMYY')),
  month_signs text,
  source      text not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);

create table stock_lot (
  id                uuid primary key default uuid_v7(),
  version           int not null default 1,
  item_id           uuid not null constraint stock_lot_item_id_fkey references stock_item (id),
  -- last day on which it may be used or fitted at all: best-before of a cell, end of storage life of a gasket; null: no limit
  good_through      date,
  received_on       date not null,
  opened            boolean not null default false,
  blocked           text constraint stock_lot_blocked check (blocked in ('recall', 'opened-unmarked', 'stored-hot', 'in-sunlight', 'inspection-failed', 'other')),
  listed_on         date,
  shelf             int not null default 0 constraint stock_lot_shelf_not_below_zero check (shelf >= 0),
  bench             int not null default 0 constraint stock_lot_bench_not_below_zero check (bench >= 0),
  reserved          int not null default 0 constraint stock_lot_reserved_not_below_zero check (reserved >= 0),
  unit_cost         bigint not null constraint stock_lot_unit_cost check (unit_cost >= 0),
  currency          text not null,
  lot_number        text,
  supplier          text not null,
  storage_place     text not null,
  max_celsius       numeric(4, 1),
  good_through_from text not null constraint stock_lot_good_through_from check (good_through_from in ('day', 'month', 'manufacture', 'cure', 'none')),
  made_month        text,
  date_code         text,
  date_code_table   text constraint stock_lot_date_code_table_fkey references date_code_table (name),
  capacity_mah      numeric(13, 6) constraint stock_lot_capacity check (capacity_mah > 0),
  cure_quarter      text,
  cured_on          date,
  serial            text,
  opened_on         date,
  bucket            text,
  bucket_since      date,
  last_entry_on     date,
  created_at        timestamptz not null default now(),
  created_by        text not null,
  constraint stock_lot_good_when_received check (good_through is null or good_through_from = 'cure' or good_through > received_on)
) with (fillfactor = 85);
-- the order of issue; lots that are used up fall out of it
create index stock_lot_on_shelf on stock_lot (item_id, good_through, received_on, id)
  include (shelf, reserved, unit_cost, blocked, listed_on, opened) where shelf > 0;
create index stock_lot_item_id on stock_lot (item_id, id);
create index stock_lot_number on stock_lot (lot_number, item_id) where lot_number is not null;
create index stock_lot_listed on stock_lot (listed_on, id) where listed_on is not null and shelf > 0;

create table stock_entry (
  id           uuid not null default uuid_v7(),
  lot_id       uuid not null constraint stock_entry_lot_id_fkey references stock_lot (id),
  kind         text not null constraint stock_entry_kind check (kind in
               ('received', 'issued', 'fitted', 'returned-to-shelf', 'sold-loose', 'damaged-on-shelf', 'damaged-at-bench', 'written-off', 'returned-to-supplier', 'counted-difference')),
  pieces       int not null,
  happened_on  date not null,
  shelf_change int not null generated always as (case
                 when kind in ('received', 'returned-to-shelf', 'counted-difference') then pieces
                 when kind in ('issued', 'sold-loose', 'damaged-on-shelf', 'written-off', 'returned-to-supplier') then -pieces
                 else 0 end) stored,
  bench_change int not null generated always as (case
                 when kind = 'issued' then pieces
                 when kind in ('fitted', 'returned-to-shelf', 'damaged-at-bench') then -pieces
                 else 0 end) stored,
  strikes      uuid,
  ticket_id    uuid,
  watch_id     uuid constraint stock_entry_watch_id_fkey references watch (id),
  -- the fact that a fitting wrote on the watch
  event_id     uuid constraint stock_entry_event_id_fkey references watch_event (id),
  -- fitted: the designation the watch asked for, and the stage its cell change stood in that day
  wanted_id    uuid constraint stock_entry_wanted_id_fkey references stock_item (id),
  stood        text,
  grade        text constraint stock_entry_grade check (grade in ('full-life', 'short-life')),
  allowed_by   text,
  reason       text,
  recorded_at  timestamptz not null default now(),
  recorded_by  text not null,
  constraint stock_entry_pkey primary key (id),
  constraint stock_entry_pieces check (pieces <> 0 and (kind = 'counted-difference' or (pieces < 0) = (strikes is not null)))
);
create index stock_entry_lot_id on stock_entry (lot_id, happened_on);
create unique index stock_entry_struck_once on stock_entry (strikes) where strikes is not null;
create index stock_entry_watch_id on stock_entry (watch_id) where watch_id is not null;
create index stock_entry_ticket_id on stock_entry (ticket_id) where ticket_id is not null;
create index stock_entry_event_id on stock_entry (event_id) where event_id is not null;
-- what demand is measured by
create index stock_entry_demand on stock_entry (wanted_id, happened_on) where kind in ('fitted', 'sold-loose');

create trigger stock_entry_append_only before update or delete on stock_entry for each row execute function refuse_rewriting();
create trigger stock_entry_no_truncate before truncate on stock_entry for each statement execute function refuse_rewriting();

-- Moves the balances of the lot. The row of the item is locked first, as by an issue, so that no issue chooses from a
-- figure that is about to change. A back-dated entry must leave no day below zero.
create function move_stock() returns trigger language plpgsql as $$
declare
  lot record;
  struck record;
  lowest record;
begin
  perform 1 from stock_item where id = (select item_id from stock_lot where id = new.lot_id) for no key update;
  select received_on, last_entry_on into lot from stock_lot where id = new.lot_id for no key update;
  if not found then return null; end if;
  if new.happened_on < lot.received_on then
    raise exception 'an entry before the receipt of its lot violates constraint "stock_entry_not_before_receipt"' using errcode = '23514';
  end if;
  if new.strikes is not null then
    select lot_id, kind, pieces, happened_on, strikes into struck from stock_entry where id = new.strikes;
    if not found or struck.lot_id <> new.lot_id or struck.kind <> new.kind or struck.pieces <> -new.pieces
       or struck.happened_on <> new.happened_on or struck.strikes is not null then
      raise exception 'a strike that is not the opposite of its entry violates constraint "stock_entry_strikes_its_opposite"' using errcode = '23514';
    end if;
  end if;
  update stock_lot
     set shelf = shelf + new.shelf_change,
         bench = bench + new.bench_change,
         last_entry_on = greatest(last_entry_on, new.happened_on)
   where id = new.lot_id;
  if new.happened_on < lot.last_entry_on then
    select min(shelf) as shelf, min(bench) as bench into lowest from (
      select happened_on,
             sum(sum(shelf_change)) over (order by happened_on) as shelf,
             sum(sum(bench_change)) over (order by happened_on) as bench
        from stock_entry where lot_id = new.lot_id group by happened_on) days
     where happened_on >= new.happened_on;
    if lowest.shelf < 0 then
      raise exception 'below zero on an earlier day violates constraint "stock_lot_shelf_not_below_zero"' using errcode = '23514';
    elsif lowest.bench < 0 then
      raise exception 'below zero on an earlier day violates constraint "stock_lot_bench_not_below_zero"' using errcode = '23514';
    end if;
  end if;
  return null;
end $$;
-- after, since generated columns are not reckoned yet before
create trigger stock_entry_moves_stock after insert on stock_entry for each row execute function move_stock();

-- First to expire first, for all wants or for none. Thresholds are days of good-through: from p_full on a lot is of full
-- life, from p_short on it may be fitted at all; p_by_interval is the day the interval alone would promise. Where a lot of
-- short life is the best and p_allow_short is false it is named, and nothing moves (entry_id null); nor does anything move
-- without a p_kind, when a lot is only chosen. No row for a want: there is nothing for it. The rows of the items and their substitutes are locked in the order of their ids; each
-- statement below then sees what the one before us has committed.
create function issue_stock(
  p_kind text, p_items uuid[], p_pieces int[], p_full date, p_short date, p_by_interval date, p_allow_short boolean,
  p_on date, p_ticket uuid, p_watch uuid, p_by text, p_allowed_by text, p_reason text)
returns table (want int, lot_id uuid, item_id uuid, good_through date, grade text, entry_id uuid) language plpgsql as $$
declare
  chosen record;
  lots uuid[] := '{}';
  counts int[] := '{}';
  grades text[] := '{}';
  complete boolean := true;
begin
  perform 1 from stock_item i
    where i.id = any (p_items) or i.id in (select s.substitute_id from substitute s where s.item_id = any (p_items) and s.withdrawn_on is null)
    order by i.id for no key update;
  for n in 1 .. array_length(p_items, 1) loop
    select l.id, (l.good_through is null or l.good_through >= p_full) as full_life into chosen
      from (select p_items[n] as item, 0 as place
            union all select s.substitute_id, s.place from substitute s where s.item_id = p_items[n] and s.withdrawn_on is null) r
      join stock_lot l on l.item_id = r.item
      join stock_item i on i.id = l.item_id
     where l.shelf > 0 and l.blocked is null and l.listed_on is null
       and (l.good_through is null or l.good_through >= p_short)
       and l.shelf - l.reserved - coalesce((select sum(c) from unnest(lots, counts) as t(lot, c) where t.lot = l.id), 0) >= p_pieces[n]
     order by (l.good_through is not null and l.good_through < p_full), r.place,
              case when l.good_through < p_full then least(p_by_interval, l.good_through) end desc,
              l.good_through nulls last, l.cured_on nulls last, l.received_on,
              case when i.what = 'gasket' then false else not l.opened end,
              case when i.what = 'gasket' then 0 else l.shelf - l.reserved end, l.id
     limit 1;
    if not found or not (chosen.full_life or p_allow_short) then complete := false; end if;
    lots := lots || case when found then chosen.id end;
    counts := counts || p_pieces[n];
    grades := grades || case when not found then null when chosen.full_life then 'full-life' else 'short-life' end;
  end loop;
  for n in 1 .. array_length(lots, 1) loop
    if lots[n] is null then continue; end if;
    want := n;
    lot_id := lots[n];
    grade := grades[n];
    select l.item_id, l.good_through into issue_stock.item_id, issue_stock.good_through from stock_lot l where l.id = lots[n];
    entry_id := null;
    if complete and p_kind is not null then
      insert into stock_entry (lot_id, kind, pieces, happened_on, ticket_id, watch_id, wanted_id, grade, allowed_by, reason, recorded_by)
      values (lots[n], p_kind, counts[n], p_on, p_ticket, p_watch, p_items[n], grades[n],
              case when grades[n] = 'short-life' then p_allowed_by end, p_reason, p_by)
      returning id into issue_stock.entry_id;
    end if;
    return next;
  end loop;
end $$;

create table reservation (
  id              uuid primary key default uuid_v7(),
  lot_id          uuid not null constraint reservation_lot_id_fkey references stock_lot (id),
  wanted_id       uuid not null constraint reservation_wanted_id_fkey references stock_item (id),
  pieces          int not null constraint reservation_pieces check (pieces > 0),
  planned_on      date not null,
  interval_months int,
  grade           text not null constraint reservation_grade check (grade in ('full-life', 'short-life')),
  ticket_id       uuid,
  watch_id        uuid constraint reservation_watch_id_fkey references watch (id),
  state           text not null default 'held' constraint reservation_state check (state in ('held', 'issued', 'released')),
  made_at         timestamptz not null default now(),
  made_by         text not null,
  ended_at        timestamptz,
  ended_by        text
);
create index reservation_lot_id on reservation (lot_id) where state = 'held';
create index reservation_ticket_id on reservation (ticket_id) where ticket_id is not null;

create table lot_block (
  id          uuid primary key default uuid_v7(),
  lot_id      uuid not null constraint lot_block_lot_id_fkey references stock_lot (id),
  act         text not null constraint lot_block_act check (act in ('blocked', 'released')),
  reason      text not null,
  note        text,
  recall_id   uuid,
  recorded_on date not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index lot_block_lot_id on lot_block (lot_id, id);

create table gasket_inspection (
  id           uuid primary key default uuid_v7(),
  lot_id       uuid not null constraint gasket_inspection_lot_id_fkey references stock_lot (id),
  inspected_on date not null,
  purpose      text not null constraint gasket_inspection_purpose check (purpose in ('extension', 'release')),
  passed       boolean not null,
  finding      text not null,
  recorded_at  timestamptz not null default now(),
  recorded_by  text not null
);
create index gasket_inspection_lot_id on gasket_inspection (lot_id, id);

create table stock_count (
  id         uuid primary key default uuid_v7(),
  counted_on date not null,
  place      text,
  made_at    timestamptz not null default now(),
  made_by    text not null
);
create table stock_count_line (
  count_id uuid not null constraint stock_count_line_count_id_fkey references stock_count (id),
  lot_id   uuid not null constraint stock_count_line_lot_id_fkey references stock_lot (id),
  book     int not null,
  counted  int not null constraint stock_count_line_counted check (counted >= 0),
  entry_id uuid constraint stock_count_line_entry_id_fkey references stock_entry (id),
  constraint stock_count_line_pkey primary key (count_id, lot_id)
);
create index stock_count_line_lot_id on stock_count_line (lot_id);

-- One open box for each kind of waste; mercury never beside silver.
create table waste_box (
  id            uuid primary key default uuid_v7(),
  version       int not null default 1,
  contents      text not null constraint waste_box_contents check (contents in ('silver-oxide', 'alkaline', 'lithium', 'mercury', 'other')),
  label         text not null,
  opened_on     date not null,
  opened_by     text not null,
  collected_on  date,
  collector     text,
  licence       text,
  slip_number   text,
  credit        bigint constraint waste_box_credit check (credit >= 0),
  currency      text,
  collected_by  text,
  constraint waste_box_label_key unique (label),
  constraint waste_box_slip check ((collected_on is null) = (slip_number is null) and (collected_on is null) = (collector is null)
                                   and (collected_on is null) = (licence is null)),
  constraint waste_box_not_before_opening check (collected_on >= opened_on)
);
create unique index waste_box_open on waste_box (contents) where collected_on is null;
create table waste_item (
  id          uuid primary key default uuid_v7(),
  box_id      uuid not null constraint waste_item_box_id_fkey references waste_box (id),
  came_from   text not null constraint waste_item_came_from check (came_from in ('written-off', 'spent', 'damaged')),
  chemistry   text not null,
  pieces      int not null constraint waste_item_pieces check (pieces > 0),
  weight_mg   bigint not null constraint waste_item_weight check (weight_mg >= 0),
  put_in_on   date not null,
  entry_id    uuid constraint waste_item_entry_id_fkey references stock_entry (id),
  poles       boolean not null default false,
  recorded_at timestamptz not null default now(),
  recorded_by text not null,
  constraint waste_item_lithium_insulated check (chemistry not like 'lithium%' or poles)
);
create index waste_item_box_id on waste_item (box_id, id);

create table recall (
  id           uuid primary key default uuid_v7(),
  version      int not null default 1,
  item_id      uuid not null constraint recall_item_id_fkey references stock_item (id),
  supplier     text not null,
  lot_number   text,
  from_day     date,
  to_day       date,
  reason       text not null,
  opened_on    date not null,
  opened_by    text not null,
  closed_on    date,
  closed_by    text,
  closing_note text,
  made_at      timestamptz not null default now(),
  constraint recall_of_something check (lot_number is not null or (from_day is not null and to_day is not null and from_day <= to_day)),
  constraint recall_closed_with_note check ((closed_on is null) = (closing_note is null))
);
create table recall_lot (
  recall_id uuid not null constraint recall_lot_recall_id_fkey references recall (id),
  lot_id    uuid not null constraint recall_lot_lot_id_fkey references stock_lot (id),
  constraint recall_lot_pkey primary key (recall_id, lot_id)
);
create table recall_watch (
  recall_id uuid not null constraint recall_watch_recall_id_fkey references recall (id),
  watch_id  uuid not null constraint recall_watch_watch_id_fkey references watch (id),
  certainty text not null constraint recall_watch_certainty check (certainty in ('fitted', 'possible')),
  pieces    int not null,
  state     text not null default 'to-tell' constraint recall_watch_state check (state in ('to-tell', 'letter-queued', 'tell-at-next-sight', 'told', 'settled')),
  notice_id uuid,
  note      text,
  changed_at timestamptz not null default now(),
  changed_by text not null,
  constraint recall_watch_pkey primary key (recall_id, watch_id)
);
create index recall_watch_watch_id on recall_watch (watch_id) where state <> 'settled';

-- What is on its way from a supplier.
create table stock_order (
  id                   uuid primary key default uuid_v7(),
  version              int not null default 1,
  item_id              uuid not null constraint stock_order_item_id_fkey references stock_item (id),
  supplier             text not null,
  pieces               int not null constraint stock_order_pieces check (pieces > 0),
  unit_price           bigint not null constraint stock_order_unit_price check (unit_price >= 0),
  currency             text not null,
  ordered_on           date not null,
  expected_on          date not null,
  expected_good_through date,
  state                text not null default 'open' constraint stock_order_state check (state in ('open', 'received', 'cancelled')),
  ended_on             date,
  made_at              timestamptz not null default now(),
  made_by              text not null,
  constraint stock_order_expected_later check (expected_on >= ordered_on)
);
create index stock_order_open on stock_order (item_id) where state = 'open';

-- Expected demand of an item: months as exact fractions [["n","d"], …] from first_month on.
create table demand_forecast (
  item_id     uuid constraint demand_forecast_pkey primary key constraint demand_forecast_item_id_fkey references stock_item (id),
  reckoned_on date not null,
  first_month date not null,
  months      jsonb not null,
  basis       jsonb not null
);

-- A lot that entered a bucket, once for each day it did; and the one summary of the night for the manager.
create table lot_flag (
  lot_id     uuid not null constraint lot_flag_lot_id_fkey references stock_lot (id),
  bucket     text not null,
  entered_on date not null,
  was        text,
  pieces     int not null,
  constraint lot_flag_pkey primary key (lot_id, entered_on)
);
create index lot_flag_entered_on on lot_flag (entered_on, bucket, lot_id);
create table stock_summary (
  made_on  date constraint stock_summary_pkey primary key,
  counts   jsonb not null,
  lots     int not null,
  pieces   int not null,
  money    bigint not null,
  currency text not null,
  made_at  timestamptz not null default now(),
  seen_at  timestamptz,
  seen_by  text
);

do $$
declare t text;
begin
  foreach t in array array['item_number', 'date_code_table', 'lot_block', 'gasket_inspection', 'stock_count', 'stock_count_line', 'waste_item', 'recall_lot', 'lot_flag'] loop
    execute format('create trigger %I before update or delete on %I for each row execute function refuse_rewriting()', t || '_append_only', t);
  end loop;
end $$;
