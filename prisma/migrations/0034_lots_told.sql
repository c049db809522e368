-- Up Migration

-- The day on which the stock keeper was told that the last day of fitting comes near; told once.
alter table stock_lot add column last_day_told_on date;
