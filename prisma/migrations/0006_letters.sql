-- Up Migration

-- What a letter says, fixed at its first hand-over so that a second one is the same to the byte. The rendered text is not
-- kept: it follows from the contents and the version of the texts. Erasing an owner empties the contents.
create table letter (
  notice_id      uuid constraint letter_pkey primary key constraint letter_notice_id_fkey references notice (id),
  contents       jsonb,
  text_version   text not null,
  digest         bytea,
  written_at     timestamptz not null default now(),
  first_tried_at timestamptz,
  refusals       int not null default 0
);

-- Every try that did not simply succeed; of one that did, the notice itself keeps the reply.
create table delivery_attempt (
  id        uuid primary key default uuid_v7(),
  notice_id uuid not null constraint delivery_attempt_notice_id_fkey references notice (id),
  attempt   int not null,
  outcome   text not null constraint delivery_attempt_outcome check
            (outcome in ('refused-for-now', 'refused', 'not-handed-over', 'in-doubt', 'lease-over', 'withdrawn', 'resolved-sent', 'resolved-not-sent')),
  detail    text,
  at        timestamptz not null default now()
);
create index delivery_attempt_notice_id on delivery_attempt (notice_id, attempt);

-- A link is bound to one purpose and one owner; only the hash of its token is kept.
create table owner_link (
  token_hash bytea constraint owner_link_pkey primary key,
  purpose    text not null constraint owner_link_purpose check (purpose in ('stop', 'answer')),
  owner_id   uuid not null constraint owner_link_owner_id_fkey references owner (id),
  notice_id  uuid constraint owner_link_notice_id_fkey references notice (id),
  expires_on date,
  revoked_at timestamptz,
  revoked_by text,
  made_at    timestamptz not null default now()
);
create index owner_link_owner_id on owner_link (owner_id);
create index owner_link_notice_id on owner_link (notice_id);

-- What an owner told us through a link, in the order he told it; what it changed in the book is in the facts it made.
create table owner_answer (
  id         uuid primary key default uuid_v7(),
  owner_id   uuid not null constraint owner_answer_owner_id_fkey references owner (id),
  notice_id  uuid constraint owner_answer_notice_id_fkey references notice (id),
  watch_id   uuid constraint owner_answer_watch_id_fkey references watch (id),
  answer     text not null constraint owner_answer_answer check
             (answer in ('stop', 'start', 'sold', 'done-elsewhere', 'never-in-water', 'now-and-then', 'proposed-day')),
  details    jsonb not null default '{}',
  answered_on date not null,
  answered_at timestamptz not null default now()
);
create index owner_answer_owner_id on owner_answer (owner_id);
create index owner_answer_notice_id on owner_answer (notice_id);
create index owner_answer_watch_id on owner_answer (watch_id);
create index owner_answer_answered_on on owner_answer (answered_on);

-- Reports of RFC 3464, one row for each recipient reported on; the same report twice is one row.
create table delivery_report (
  id          uuid primary key default uuid_v7(),
  digest      bytea not null constraint delivery_report_digest_key unique,
  notice_id   uuid constraint delivery_report_notice_id_fkey references notice (id),
  contact_id  uuid constraint delivery_report_contact_id_fkey references contact (id),
  action      text not null constraint delivery_report_action check (action in ('failed', 'delayed', 'delivered', 'relayed', 'expanded')),
  status      text not null,
  diagnostic  text,
  reported_on date not null,
  received_at timestamptz not null default now()
);
create index delivery_report_notice_id on delivery_report (notice_id);
create index delivery_report_contact_id on delivery_report (contact_id, reported_on);

-- What a visit of a kind costs, about, and how long it takes, as a letter may say it. A new row from its day on, never a change.
create table guide_price (
  id          uuid primary key default uuid_v7(),
  kind        text not null constraint guide_price_kind check (kind in ('complete-service', 'water-check', 'cell-change', 'seals')),
  from_day    date not null,
  until_day   date not null,
  amount      bigint not null constraint guide_price_amount check (amount >= 0),
  currency    text not null constraint guide_price_currency check (currency ~ '^[A-Z]{3}$'),
  takes_from  int not null constraint guide_price_takes_from check (takes_from > 0),
  takes_to    int not null,
  takes_unit  text not null constraint guide_price_takes_unit check (takes_unit in ('minutes', 'days', 'weeks')),
  recorded_at timestamptz not null default now(),
  recorded_by text not null,
  constraint guide_price_days check (until_day >= from_day),
  constraint guide_price_takes check (takes_to >= takes_from)
);
create index guide_price_kind on guide_price (kind, from_day, id);

create index notice_in_doubt on notice (id) where state = 'in-doubt';
create index notice_message_id on notice (message_id) where message_id is not null;
create index task_notice_id on task (notice_id, kind) where notice_id is not null;

create trigger guide_price_append_only before update or delete on guide_price for each row execute function refuse_rewriting();
create trigger owner_answer_append_only before update or delete on owner_answer for each row execute function refuse_rewriting();
create trigger delivery_report_append_only before update or delete on delivery_report for each row execute function refuse_rewriting();
create trigger delivery_attempt_append_only before update or delete on delivery_attempt for each row execute function refuse_rewriting();
