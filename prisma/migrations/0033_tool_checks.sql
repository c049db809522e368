-- Up Migration

-- The daily check of a tool: what it showed and whether it passed. From a failed one to the next that passed its results open no gate.
create table tool_check (
  id          uuid primary key default uuid_v7(),
  tool_id     uuid not null constraint tool_check_tool_id_fkey references tool (id),
  on_day      date not null,
  value       text not null,
  passed      boolean not null,
  recorded_at timestamptz not null default now(),
  recorded_by text not null
);
create index tool_check_tool_id on tool_check (tool_id, id);
create index tool_check_failed on tool_check (tool_id) where not passed;
create trigger tool_check_append_only before update or delete on tool_check for each row execute function refuse_rewriting();
create trigger tool_check_no_truncate before truncate on tool_check for each statement execute function refuse_rewriting();

-- What was a task once is not asked again by the night.
create index task_dedupe on task (dedupe);
