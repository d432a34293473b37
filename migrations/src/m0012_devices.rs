//! Devices that send readings by themselves: each for one site and for a time.

pub(crate) const UP: &str = "
create table devices (
    site_id uuid not null,
    id uuid not null,
    version bigint not null,
    created_at timestamptz not null,
    updated_at timestamptz not null,
    archived_at timestamptz,
    name text not null,
    until_at timestamptz not null,
    primary key (site_id, id)
);
create unique index devices_name_in_use on devices (site_id, name) where archived_at is null;

create table device_tokens (
    site_id uuid not null,
    device_id uuid not null,
    token_hash text not null,
    given_at timestamptz not null,
    used_at timestamptz,
    primary key (site_id, device_id)
);
create unique index device_tokens_by_hash on device_tokens (site_id, token_hash);

alter table readings add column device_id uuid;
";
