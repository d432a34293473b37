//! What counts when a day is shared out: ways, buildings, breaks, weight, and what nobody likes to do.

pub(crate) const UP: &str = "
alter table sites add column walk_rooms_min bigint not null default 0;

alter table sites add column walk_buildings_min bigint not null default 0;

alter table rooms add column building text;

alter table tanks add column two_people_change boolean not null default false;

alter table shifts add column break_starts_local text;

alter table shifts add column break_min bigint;

alter table check_plans add column weight bigint not null default 1;

alter table check_plans add column is_unpleasant boolean not null default false;

alter table checks add column weight bigint not null default 1;

alter table checks add column is_unpleasant boolean not null default false;
";
