//! What advice comes to, in a word; and that it is kept as it was given.

use sea_orm_migration::sea_orm::DbBackend;

pub(crate) const UP: &str = "
alter table advice add column outcome text;
";

/// As the entries that are entered once: refused by the database itself.
pub(crate) fn then(backend: DbBackend) -> String {
    crate::kept_once(backend, "advice")
}
