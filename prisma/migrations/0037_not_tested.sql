-- Up Migration

-- Why a watch was not tested for water is one more thing said about a ticket.
alter table ticket_record drop constraint ticket_record_kind;
alter table ticket_record add constraint ticket_record_kind check (kind in
  ('booked', 'people', 'condition', 'value', 'cover', 'do-not', 'ceiling', 'hazard-confirmed', 'hazard-over', 'move', 'side', 'override', 'look',
   'parts', 'kit', 'opening', 'closing', 'operation', 'fitting', 'seals-seen', 'reading', 'water-test', 'water-not-tested', 'readings-accepted',
   'water-agreement', 'claim-withdrawn', 'final-check', 'contact', 'at-counter', 'release', 'payment', 'revocation', 'yes-confirmed', 'goodwill',
   'comeback', 'promise', 'incident', 'hazard-seen', 'unclaimed-step', 'ended', 'struck'));
