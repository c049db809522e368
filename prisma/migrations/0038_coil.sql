-- Up Migration

-- What the maker says of the coil, and of the current of a movement that drives a module.
alter table calibre
  add column consumption_with_module_max_microamps numeric(6, 3) constraint calibre_consumption_with_module check (consumption_with_module_max_microamps between 0.2 and 20),
  add column coil_resistance_min_kiloohm numeric(5, 3) constraint calibre_coil_min check (coil_resistance_min_kiloohm between 0.5 and 5),
  add column coil_resistance_max_kiloohm numeric(5, 3) constraint calibre_coil_max check (coil_resistance_max_kiloohm between 0.5 and 5),
  add constraint calibre_coil_range check (coil_resistance_min_kiloohm is null or coil_resistance_max_kiloohm is null or coil_resistance_min_kiloohm <= coil_resistance_max_kiloohm);
