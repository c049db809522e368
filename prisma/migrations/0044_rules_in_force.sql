-- Up Migration

-- The house rules and local settings in force on a day, each with the day from which its value holds. Put in place by the planner,
-- so that a condition on the key reaches the index.
create function rules_in_force(on_day date) returns table (key text, value jsonb, from_day date) language sql stable as $$
  select distinct on (r.key) r.key, r.value, r.from_day from house_rule r where r.from_day <= on_day order by r.key, r.from_day desc, r.id desc
$$;
