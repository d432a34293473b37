//! Reviews: who looked through the records of a day, and up to which entry of the journal. Kept as they are.

use sea_orm_migration::sea_orm::DbBackend;

pub(crate) const UP: &str = "
create table reviews (
    site_id uuid not null,
    id uuid not null,
    client_id uuid not null,
    day_on date not null,
    room_id uuid,
    note text,
    reviewed_by uuid,
    reviewed_at timestamptz not null,
    journal_id uuid,
    primary key (site_id, id)
);
create unique index reviews_by_client_id on reviews (site_id, client_id);

create index reviews_by_day on reviews (site_id, day_on);
";

/// As the entries that are entered once: refused by the database itself.
pub(crate) fn then(backend: DbBackend) -> String {
    crate::kept_once(backend, "reviews")
}
