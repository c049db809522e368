-- Up Migration

-- Twins in the house are searched by the same dial among the watches of an unknown model, not among all that share the dial.
drop index ticket_look_dial;
create index ticket_look_dial on ticket (look_dial, look_model) where ended is null and look_dial is not null;
