-- Up Migration

-- The measured share that comes reads only fittings into watches of which the stage is known, a small part of all entries.
create index stock_entry_stood on stock_entry (wanted_id, stood) where stood is not null;
