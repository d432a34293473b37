//! Crops, programmes, cycles, where they stand and what they drink from.

pub(crate) const UP: &str = "
create table crops (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    species text
);
create unique index crops_name_in_use on crops (name) where archived_at is null;

create table programmes (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    crop_id uuid not null references crops (id)
);
create unique index programmes_name_in_use on programmes (name) where archived_at is null;

create table programme_revisions (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    programme_id uuid not null references programmes (id),
    effective_at timestamptz not null,
    steps jsonb not null
);

create unique index programme_revisions_by_instant on programme_revisions (programme_id, effective_at);

create table cycles (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    crop_id uuid not null references crops (id),
    programme_id uuid not null references programmes (id),
    plants bigint not null,
    starts_on date not null,
    ends_on date,
    stages jsonb not null,
    primary key (site_id, id)
);
create unique index cycles_name_in_use on cycles (site_id, name) where archived_at is null;
create index cycles_by_starts_on on cycles (site_id, starts_on);

create table placements (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    cycle_id uuid not null,
    room_id uuid not null,
    from_on date not null,
    until_on date,
    plants bigint not null,
    primary key (site_id, id),
    foreign key (site_id, cycle_id) references cycles (site_id, id),
    foreign key (site_id, room_id) references rooms (site_id, id)
);
create index placements_by_cycle_id on placements (site_id, cycle_id);
create index placements_by_room_id on placements (site_id, room_id);

create table feeds (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    tank_id uuid not null,
    cycle_id uuid not null,
    from_on date not null,
    until_on date,
    leads boolean not null,
    plants bigint not null,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id),
    foreign key (site_id, cycle_id) references cycles (site_id, id)
);
create index feeds_by_tank_id on feeds (site_id, tank_id);
create index feeds_by_cycle_id on feeds (site_id, cycle_id);
";
