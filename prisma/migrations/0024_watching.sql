-- Up Migration

-- Letters that somebody has to look at are counted every few seconds by whoever watches; of the rest there may be millions.
create index notice_held_or_failed on notice (state) where state in ('held', 'failed');
