//! A mark of each site's plan, another after every change of what the plan is made of: who has read the plan knows by the
//! mark whether it still holds. The databases set it themselves, so that no change can forget to.

use sea_orm_migration::sea_orm::DbBackend;

pub(crate) const UP: &str = "
create table plan_marks (
    site_id uuid not null primary key,
    mark uuid not null
);
";

/// What a plan is made of, and which sites a row of it concerns.
const PARTS: [(&str, Whose); 12] = [
    ("sites", Whose::Itself),
    ("closures", Whose::Sites),
    ("rooms", Whose::Sites),
    ("tanks", Whose::Sites),
    ("tank_rooms", Whose::Sites),
    ("outages", Whose::Sites),
    ("water_sources", Whose::Sites),
    ("cycles", Whose::Sites),
    ("placements", Whose::Sites),
    ("feeds", Whose::Sites),
    ("change_plans", Whose::Sites),
    ("programme_revisions", Whose::All),
];

#[derive(Clone, Copy)]
enum Whose {
    Itself,
    Sites,
    All,
}

impl Whose {
    /// Sets another mark for the sites that a row concerns, which the trigger calls so.
    fn mark(self, row: &str, chance: &str) -> String {
        let of = match self {
            Whose::Itself => format!("values ({row}.id, {chance})"),
            Whose::Sites => format!("values ({row}.site_id, {chance})"),
            // In one order for everybody, and `where true` since SQLite would take `on` for that of a join.
            Whose::All => format!("select id, {chance} from sites where true order by id"),
        };
        format!(
            "insert into plan_marks (site_id, mark) {of} on conflict (site_id) do update set mark = excluded.mark;"
        )
    }
}

pub(crate) fn then(backend: DbBackend) -> String {
    PARTS
        .map(|(table, whose)| match backend {
            DbBackend::Postgres => postgres(table, whose),
            _ => sqlite(table, whose),
        })
        .concat()
}

fn sqlite(table: &str, whose: Whose) -> String {
    let on = |deed: &str, row: &str| {
        let mark = whose.mark(row, "randomblob(16)");
        format!("create trigger {table}_mark_{deed} after {deed} on {table} begin {mark} end;\n")
    };
    on("insert", "new") + &on("update", "new") + &on("delete", "old")
}

fn postgres(table: &str, whose: Whose) -> String {
    let mark = whose.mark("touched", "gen_random_uuid()");
    format!(
        "create function {table}_mark() returns trigger language plpgsql as $$
declare touched record := coalesce(new, old); begin {mark} return null; end $$;
create trigger {table}_mark after insert or update or delete on {table} for each row execute function {table}_mark();
"
    )
}
