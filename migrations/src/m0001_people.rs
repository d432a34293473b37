//! People, their sessions, and the journal.

pub(crate) const UP: &str = "
create table people (
    id uuid not null primary key,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    sign_in text
);
create unique index people_name_in_use on people (name) where archived_at is null;

create unique index people_sign_in_in_use on people (sign_in) where archived_at is null and sign_in is not null;

create table passwords (
    person_id uuid not null primary key references people (id),
    hash text not null,
    changed_at timestamptz not null
);

create table sessions (
    id uuid not null primary key,
    person_id uuid not null references people (id),
    device text,
    refresh_hash text not null,
    spent_hash text,
    refreshed_at timestamptz not null,
    created_at timestamptz not null,
    expires_at timestamptz not null,
    ended_at timestamptz
);
create unique index sessions_by_refresh_hash on sessions (refresh_hash);
create index sessions_by_spent_hash on sessions (spent_hash);
create index sessions_by_person on sessions (person_id);

create table signing_keys (
    id text not null primary key,
    secret text not null,
    created_at timestamptz not null
);

create table journal (
    site_id uuid not null,
    id uuid not null,
    at timestamptz not null,
    person_id uuid,
    deed text not null,
    word text not null,
    record_id uuid not null,
    detail jsonb not null,
    primary key (site_id, id)
);
create index journal_by_record on journal (site_id, record_id, id);
";
