-- Up Migration

-- What kind of guarantee a line carries; null where the line named its months itself. Work of a comeback that the
-- guarantee of an earlier line covers costs the owner nothing: what it costs the house is booked to that line's ticket.
alter table estimate_line
  add column guarantee_kind text constraint estimate_line_guarantee_kind check (guarantee_kind in ('complete-service', 'repair', 'cell', 'seals', 'water-test')),
  add column under_guarantee_of uuid constraint estimate_line_under_guarantee_of_fkey references estimate_line (id),
  add column house_cost bigint constraint estimate_line_house_cost check (house_cost >= 0),
  add constraint estimate_line_covered check ((under_guarantee_of is null) = (house_cost is null) and (under_guarantee_of is null or unit_price = 0));
create index estimate_line_under_guarantee_of on estimate_line (under_guarantee_of) where under_guarantee_of is not null;

alter table ticket_record drop constraint ticket_record_kind;
alter table ticket_record add constraint ticket_record_kind check (kind in
  ('booked', 'people', 'condition', 'value', 'cover', 'do-not', 'ceiling', 'hazard-confirmed', 'hazard-over', 'move', 'side', 'override', 'look',
   'parts', 'kit', 'opening', 'closing', 'operation', 'fitting', 'seals-seen', 'reading', 'water-test', 'readings-accepted', 'water-agreement',
   'claim-withdrawn', 'final-check', 'contact', 'at-counter', 'release', 'payment', 'revocation', 'yes-confirmed', 'goodwill', 'comeback',
   'promise', 'incident', 'hazard-seen', 'unclaimed-step', 'ended', 'struck'));
