//! Meters, readings, additions, tank changes, harvests.
//!
//! Rows of entries are never updated: a correction is a row of its own that names the one it corrects.

pub(crate) const UP: &str = "
create table meters (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    kind text not null,
    serial text,
    calibrate_every_days bigint,
    primary key (site_id, id)
);
create unique index meters_name_in_use on meters (site_id, name) where archived_at is null;

create table calibrations (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    meter_id uuid not null,
    calibrated_at timestamptz not null,
    done_by uuid,
    standards text not null,
    slope_percent double precision,
    offset_value double precision,
    passed boolean not null,
    next_due_on date,
    primary key (site_id, id),
    foreign key (site_id, meter_id) references meters (site_id, id)
);
create index calibrations_by_meter_id on calibrations (site_id, meter_id, calibrated_at);

create table change_plans (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    tank_id uuid not null,
    kind text not null,
    on_day date not null,
    reason text not null,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id)
);
create index change_plans_by_tank_id on change_plans (site_id, tank_id, on_day);

create unique index change_plans_one_a_day on change_plans (site_id, tank_id, on_day, kind) where archived_at is null;

create table readings (
    site_id uuid not null references sites (id),
    id uuid not null,
    client_id uuid not null,
    tank_id uuid,
    room_id uuid,
    sample_point text not null,
    metric text not null,
    entered_value double precision not null,
    entered_unit text not null,
    value double precision not null,
    compensation_percent_per_c double precision,
    compensation_reference_c double precision,
    uncompensated boolean not null,
    meter_id uuid,
    recorded_at timestamptz not null,
    clock_suspect boolean not null,
    clock_offset_ms bigint,
    band_low double precision,
    band_aim double precision,
    band_high double precision,
    received_at timestamptz not null,
    done_by uuid references people (id),
    entered_by uuid references people (id),
    supersedes_id uuid,
    reason_corrected text,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id),
    foreign key (site_id, room_id) references rooms (site_id, id),
    foreign key (site_id, meter_id) references meters (site_id, id),
    foreign key (site_id, supersedes_id) references readings (site_id, id)
);
create unique index readings_by_client_id on readings (site_id, client_id);
create unique index readings_corrected_once on readings (site_id, supersedes_id) where supersedes_id is not null;
create index readings_by_recorded_at on readings (site_id, recorded_at);
create index readings_by_tank_id on readings (site_id, tank_id, metric, recorded_at);
create index readings_by_room_id on readings (site_id, room_id, metric, recorded_at);

create table tank_changes (
    site_id uuid not null references sites (id),
    id uuid not null,
    client_id uuid not null,
    tank_id uuid not null,
    fraction double precision not null,
    drained_l double precision not null,
    drained_to text,
    water_in_l double precision not null,
    due_on date,
    recorded_at timestamptz not null,
    received_at timestamptz not null,
    done_by uuid references people (id),
    entered_by uuid references people (id),
    reverses_id uuid,
    reason_corrected text,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id),
    foreign key (site_id, reverses_id) references tank_changes (site_id, id)
);
create unique index tank_changes_by_client_id on tank_changes (site_id, client_id);
create unique index tank_changes_corrected_once on tank_changes (site_id, reverses_id) where reverses_id is not null;
create index tank_changes_by_recorded_at on tank_changes (site_id, recorded_at);
create index tank_changes_by_tank_id on tank_changes (site_id, tank_id, recorded_at);

create table additions (
    site_id uuid not null references sites (id),
    id uuid not null,
    client_id uuid not null,
    tank_id uuid not null,
    change_id uuid,
    reason text not null,
    product_id uuid references products (id),
    amount_thousandths bigint,
    base text,
    slip_id uuid,
    lots jsonb not null,
    shortage_thousandths bigint not null,
    water_l double precision,
    recorded_at timestamptz not null,
    received_at timestamptz not null,
    done_by uuid references people (id),
    entered_by uuid references people (id),
    reverses_id uuid,
    reason_corrected text,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id),
    foreign key (site_id, change_id) references tank_changes (site_id, id),
    foreign key (site_id, reverses_id) references additions (site_id, id)
);
create unique index additions_by_client_id on additions (site_id, client_id);
create unique index additions_corrected_once on additions (site_id, reverses_id) where reverses_id is not null;
create index additions_by_recorded_at on additions (site_id, recorded_at);
create index additions_by_tank_id on additions (site_id, tank_id, recorded_at);
create index additions_by_change_id on additions (site_id, change_id);

create table harvests (
    site_id uuid not null references sites (id),
    id uuid not null,
    client_id uuid not null,
    cycle_id uuid not null,
    room_id uuid,
    harvested_at timestamptz not null,
    saleable_kg double precision not null,
    rejected_kg double precision not null,
    pieces bigint,
    grade text,
    brix double precision,
    received_at timestamptz not null,
    done_by uuid references people (id),
    entered_by uuid references people (id),
    reverses_id uuid,
    reason_corrected text,
    primary key (site_id, id),
    foreign key (site_id, cycle_id) references cycles (site_id, id),
    foreign key (site_id, room_id) references rooms (site_id, id),
    foreign key (site_id, reverses_id) references harvests (site_id, id)
);
create unique index harvests_by_client_id on harvests (site_id, client_id);
create unique index harvests_corrected_once on harvests (site_id, reverses_id) where reverses_id is not null;
create index harvests_by_harvested_at on harvests (site_id, harvested_at);
create index harvests_by_cycle_id on harvests (site_id, cycle_id, harvested_at);
";
