-- Up Migration

-- What is agreed with a business; and what else is measured on a case.
alter table owner
  add column tax_number text,
  add column payment_days int constraint owner_payment_days check (payment_days between 0 and 180),
  add column discount_class text;
alter table watch
  add column thickness_mm numeric(4, 1) constraint watch_thickness_mm check (thickness_mm between 2 and 25),
  add column lug_width_mm numeric(4, 1) constraint watch_lug_width_mm check (lug_width_mm between 6 and 30),
  add column crystal_held text constraint watch_crystal_held check (crystal_held in ('press-fit', 'gasket', 'glued', 'tension-ring', 'unknown'));
