//! Labels declare whatever they declare, each with its per cent, and an adjuster says which acid or alkali it is.

use sea_orm_migration::sea_orm::DbBackend;

pub(crate) const UP: &str = "
alter table label_revisions add column declared jsonb;
alter table label_revisions add column reagent text;
";

/// The three figures that a label could have so far become lines of what it declares; their columns stay for an
/// older server that is still running.
pub(crate) fn then(backend: DbBackend) -> String {
    let lines =
        "'[[\"n\",' || n_percent || '],[\"p2o5\",' || p2o5_percent || '],[\"k2o\",' || k2o_percent || ']]'";
    let json = match backend {
        DbBackend::Postgres => format!("({lines})::jsonb"),
        _ => lines.to_owned(),
    };
    format!("update label_revisions set declared = {json} where basis is not null;")
}
