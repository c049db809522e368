-- Up Migration

-- reconsider_on is the next day anything about an obligation may read otherwise, the edge of a window among them; this is
-- the next day its dates may come out otherwise, so that only then its facts are read again.
alter table obligation add column reckon_anew_on date;
update obligation set reckon_anew_on = reconsider_on;
create index obligation_reckon_anew_on on obligation (reckon_anew_on, watch_id) where reckon_anew_on is not null;
