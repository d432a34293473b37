//! Sites, who is what at them, rooms, tanks and water.

pub(crate) const UP: &str = "
create table sites (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    time_zone text not null,
    currency text not null,
    working_week jsonb not null,
    service_level double precision not null
);
create unique index sites_name_in_use on sites (name) where archived_at is null;

create table memberships (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    person_id uuid not null references people (id),
    site_id uuid references sites (id),
    role text not null,
    from_at timestamptz not null,
    until_at timestamptz
);
create index memberships_by_person_id on memberships (person_id);

create table qualifications (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null
);
create unique index qualifications_name_in_use on qualifications (name) where archived_at is null;

create table qualifications_held (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    person_id uuid not null references people (id),
    qualification_id uuid not null references qualifications (id),
    from_on date not null,
    until_on date
);
create index qualifications_held_by_person_id on qualifications_held (person_id);
create index qualifications_held_by_qualification_id on qualifications_held (qualification_id);

create table closures (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    from_on date not null,
    until_on date not null,
    reason text not null,
    primary key (site_id, id)
);

create table rooms (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    room_use text not null,
    growing_area_m2 double precision,
    plant_places bigint,
    hygiene_rank bigint not null,
    bands jsonb not null,
    primary key (site_id, id)
);
create unique index rooms_name_in_use on rooms (site_id, name) where archived_at is null;

create table water_sources (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    ec_ms_cm double precision not null,
    ph double precision,
    alkalinity_meq_l double precision,
    analysed_on date,
    primary key (site_id, id)
);
create unique index water_sources_name_in_use on water_sources (site_id, name) where archived_at is null;

create table tanks (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    mode text not null,
    stock_ratio double precision,
    fill_mark_l double precision not null,
    water_source_id uuid,
    bands jsonb not null,
    primary key (site_id, id),
    foreign key (site_id, water_source_id) references water_sources (site_id, id)
);
create unique index tanks_name_in_use on tanks (site_id, name) where archived_at is null;

create table tank_rooms (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    tank_id uuid not null,
    room_id uuid not null,
    from_on date not null,
    until_on date,
    share double precision not null,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id),
    foreign key (site_id, room_id) references rooms (site_id, id)
);
create index tank_rooms_by_tank_id on tank_rooms (site_id, tank_id);
create index tank_rooms_by_room_id on tank_rooms (site_id, room_id);

create table outages (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    tank_id uuid not null,
    from_on date not null,
    until_on date,
    reason text not null,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id)
);
create index outages_by_tank_id on outages (site_id, tank_id);
";
