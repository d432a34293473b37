//! Shifts, absences, check plans, checks, rounds, alerts.

pub(crate) const UP: &str = "
create table shifts (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    person_id uuid not null references people (id),
    day_on date not null,
    starts_local text not null,
    ends_local text not null,
    primary key (site_id, id)
);
create index shifts_by_day on shifts (site_id, day_on);
create index shifts_by_person_id on shifts (site_id, person_id);

create table absences (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    person_id uuid not null references people (id),
    from_at timestamptz not null,
    until_at timestamptz not null,
    reason text not null,
    primary key (site_id, id)
);
create index absences_by_instant on absences (site_id, until_at);
create index absences_by_person_id on absences (site_id, person_id);

create table check_plans (
    site_id uuid not null references sites (id),
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    task text not null,
    metrics jsonb not null,
    sample_point text,
    tank_id uuid,
    room_id uuid,
    rule text not null,
    starts_local text not null,
    window_min bigint not null,
    limit_min bigint not null,
    work_min bigint not null,
    qualification_id uuid references qualifications (id),
    two_people boolean not null,
    primary key (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id),
    foreign key (site_id, room_id) references rooms (site_id, id)
);
create unique index check_plans_name_in_use on check_plans (site_id, name) where archived_at is null;
create index check_plans_by_tank_id on check_plans (site_id, tank_id);
create index check_plans_by_room_id on check_plans (site_id, room_id);

create table planned_days (
    site_id uuid not null,
    plan_id uuid not null,
    until_on date not null,
    primary key (site_id, plan_id),
    foreign key (site_id, plan_id) references check_plans (site_id, id)
);

create table checks (
    site_id uuid not null references sites (id),
    id uuid not null,
    created_at timestamptz not null,
    cause text not null,
    plan_id uuid,
    due_on date not null,
    due_time text not null,
    name text not null,
    task text not null,
    metrics jsonb not null,
    sample_point text,
    tank_id uuid,
    room_id uuid,
    due_at timestamptz not null,
    window_until_at timestamptz not null,
    limit_at timestamptz not null,
    work_min bigint not null,
    qualification_id uuid references qualifications (id),
    two_people boolean not null,
    state text not null,
    state_at timestamptz,
    state_by uuid,
    done_with uuid,
    late boolean,
    reading_ids jsonb not null,
    calibration_ids jsonb not null,
    tank_change_id uuid,
    note text,
    client_id uuid,
    entered_by uuid,
    received_at timestamptz,
    primary key (site_id, id),
    foreign key (site_id, plan_id) references check_plans (site_id, id),
    foreign key (site_id, tank_id) references tanks (site_id, id),
    foreign key (site_id, room_id) references rooms (site_id, id),
    foreign key (site_id, tank_change_id) references tank_changes (site_id, id)
);
create unique index checks_of_plan_once on checks (site_id, plan_id, due_on, due_time) where plan_id is not null;

create unique index checks_of_tank_once on checks (site_id, cause, tank_id, due_on, due_time) where plan_id is null;

create unique index checks_by_client_id on checks (site_id, client_id) where client_id is not null;

create index checks_by_day on checks (site_id, due_on);
create index checks_by_due_at on checks (site_id, due_at);
create index checks_unsettled on checks (site_id, limit_at) where state in ('planned', 'open');

create index checks_by_tank_id on checks (site_id, tank_id, due_on);
create index checks_by_room_id on checks (site_id, room_id, due_on);

create table publications (
    site_id uuid not null references sites (id),
    id uuid not null,
    day_on date not null,
    number bigint not null,
    published_at timestamptz not null,
    published_by uuid,
    checks_left jsonb not null,
    primary key (site_id, id)
);
create unique index publications_once on publications (site_id, day_on, number);

create table rounds (
    site_id uuid not null references sites (id),
    id uuid not null,
    publication_id uuid not null,
    person_id uuid not null references people (id),
    day_on date not null,
    minutes bigint not null,
    fair_minutes bigint not null,
    primary key (site_id, id),
    foreign key (site_id, publication_id) references publications (site_id, id)
);
create unique index rounds_one_a_person on rounds (site_id, publication_id, person_id);

create table round_steps (
    site_id uuid not null,
    round_id uuid not null,
    position bigint not null,
    check_id uuid not null,
    starts_at timestamptz not null,
    with_id uuid,
    primary key (site_id, round_id, position),
    foreign key (site_id, round_id) references rounds (site_id, id)
);
create index round_steps_by_check_id on round_steps (site_id, check_id);

create table alerts (
    site_id uuid not null references sites (id),
    id uuid not null,
    kind text not null,
    about_id uuid not null,
    text text not null,
    raised_at timestamptz not null,
    state text not null,
    seen_by uuid,
    seen_at timestamptz,
    closed_by_person uuid,
    closed_by_record uuid,
    closed_at timestamptz,
    primary key (site_id, id)
);
create unique index alerts_once_while_open on alerts (site_id, kind, about_id) where closed_at is null;

create index alerts_by_state on alerts (site_id, state, raised_at);
";
