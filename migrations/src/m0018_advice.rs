//! Advice as it was given, and the additions that followed it.

pub(crate) const UP: &str = "
create table advice (
    site_id uuid not null references sites (id),
    id uuid not null,
    tank_id uuid not null,
    kind text not null,
    made_at timestamptz not null,
    asked_by uuid references people (id),
    litres double precision not null,
    steps jsonb not null,
    ec_low double precision,
    ec_value double precision,
    ec_high double precision,
    lacking jsonb not null,
    reasons jsonb not null,
    cautions jsonb not null,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id)
);
create index advice_by_tank_id on advice (site_id, tank_id, made_at);

alter table additions add column advice_id uuid;
";
