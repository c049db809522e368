-- Up Migration

-- The ticket on which the recalled piece is changed free of charge.
alter table recall_watch add column ticket_id uuid constraint recall_watch_ticket_id_fkey references ticket (id);
create index recall_watch_ticket_id on recall_watch (ticket_id) where ticket_id is not null;
-- the last look before a letter goes asks for the recall of its watches
create index recall_watch_notice_id on recall_watch (notice_id) where notice_id is not null;
create index recall_lot_lot_id on recall_lot (lot_id);
