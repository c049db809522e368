-- Up Migration

-- Walk-ins are summed from the index alone: a forecast of all designations reads no page of the ledger itself.
drop index stock_entry_demand;
create index stock_entry_demand on stock_entry (wanted_id, happened_on) include (pieces, stood) where kind in ('fitted', 'sold-loose');
