-- Up Migration

-- A bench or a person asks each morning for what is theirs, the soonest first; of tickets only the open ones are asked for.
create index ticket_next_actor on ticket (next_actor, next_by, id) where ended is null;
create index ticket_holder on ticket (holder, next_by, id) where ended is null;
