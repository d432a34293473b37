//! Forecasts as they were issued.

use sea_orm_migration::sea_orm::DbBackend;

pub(crate) const UP: &str = "
create table forecasts (
    site_id uuid not null references sites (id),
    id uuid not null,
    today_on date not null,
    issued_at timestamptz not null,
    issued_by uuid references people (id),
    service_level double precision not null,
    lines jsonb not null,
    primary key (site_id, id)
);
create unique index forecasts_by_night on forecasts (site_id, today_on) where issued_by is null;

create index forecasts_by_day on forecasts (site_id, today_on);
";

/// As the entries that are entered once: refused by the database itself.
pub(crate) fn then(backend: DbBackend) -> String {
    crate::kept_once(backend, "forecasts")
}
