-- the sheet of a count, place by place
create index stock_lot_place on stock_lot (storage_place, id) where shelf > 0;
