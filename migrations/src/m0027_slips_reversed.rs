//! Which slip a reversal takes back: a count that found what the ledger held changed nothing, and so has no movement that could
//! tell it.

use sea_orm_migration::sea_orm::DbBackend;

pub(crate) const UP: &str = "
alter table slips add column reverses_slip_id uuid;
create index slips_by_reverses_slip_id on slips (site_id, reverses_slip_id) where reverses_slip_id is not null;
";

/// Of reversals that were entered before, their movements tell it.
const TOLD: &str = "update slips set reverses_slip_id = (
    select taken.slip_id from movements as back
    join movements as taken on taken.site_id = back.site_id and taken.id = back.reverses_id
    where back.site_id = slips.site_id and back.slip_id = slips.id
    order by back.id limit 1)
where kind = 'reversal'";

/// Slips are entered once: the database's own refusal is lifted for what it could not know.
pub(crate) fn then(backend: DbBackend) -> String {
    if backend == DbBackend::Postgres {
        let [lift, put_back] =
            ["disable", "enable"].map(|deed| format!("alter table slips {deed} trigger slips_are_kept"));
        return format!("{lift};\n{TOLD};\n{put_back};\n");
    }
    let refused = crate::refusal("slips", "update");
    format!("drop trigger slips_no_update;\n{TOLD};\n{refused}")
}
