-- Up Migration

-- Lists that a filter narrows to a few rows among very many: what is on hold or missing, what came in one bag, a drawer, what is blocked.
create index ticket_side on ticket (side, id) where side is not null;
create index ticket_handing_in on ticket (handing_in, id) where handing_in is not null;
create index stock_lot_drawer on stock_lot (lower(storage_place), id);
create index stock_lot_blocked on stock_lot (id) where blocked is not null;
