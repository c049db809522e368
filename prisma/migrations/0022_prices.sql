-- Up Migration

-- The price list of the bench: operation by class of work, from a day on. A price is never changed in place: the newest row
-- of a day counts. work_class null: for every class that has no row of its own.
create table price (
  id               uuid primary key default uuid_v7(),
  code             text not null,
  work_class       text,
  what             text not null,
  from_day         date not null,
  until_day        date,
  amount           bigint not null constraint price_amount check (amount >= 0),
  currency         text not null constraint price_currency check (currency ~ '^[A-Z]{3}$'),
  tax_class        text not null,
  minutes          int not null constraint price_minutes check (minutes between 0 and 10000),
  guarantee_kind   text not null constraint price_guarantee_kind check (guarantee_kind in ('complete-service', 'repair', 'cell', 'seals', 'water-test')),
  part             boolean not null default false,
  opens_case       boolean not null default false,
  pressure_test    boolean not null default false,
  complete_service boolean not null default false,
  recorded_at      timestamptz not null default now(),
  recorded_by      text not null,
  constraint price_days check (until_day is null or until_day >= from_day)
);
create index price_code on price (code, from_day, id);

create trigger price_append_only before update or delete on price for each row execute function refuse_rewriting();
create trigger price_no_truncate before truncate on price for each statement execute function refuse_rewriting();
