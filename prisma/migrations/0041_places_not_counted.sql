-- Up Migration

-- Places that held watches by the book and that an evening count left out, with how many; null for counts before this column.
alter table evening_count add column not_counted jsonb;
