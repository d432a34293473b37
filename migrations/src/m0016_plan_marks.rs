//! A mark of each site's plan, another after every change of what the plan is made of: who has read the plan knows by the
//! mark whether it still holds. The databases set it themselves, so that no change can forget to.

use sea_orm_migration::sea_orm::DbBackend;

pub(crate) const UP: &str = "
create table plan_marks (
    site_id uuid not null primary key,
    mark uuid not null
);
";

/// What a plan is made of, and whose mark a row of it changes.
const PARTS: [(&str, Whose); 12] = [
    ("sites", Whose::Own),
    ("closures", Whose::Site),
    ("rooms", Whose::Site),
    ("tanks", Whose::Site),
    ("tank_rooms", Whose::Site),
    ("outages", Whose::Site),
    ("water_sources", Whose::Site),
    ("cycles", Whose::Site),
    ("placements", Whose::Site),
    ("feeds", Whose::Site),
    ("change_plans", Whose::Site),
    ("programme_revisions", Whose::Business),
];

#[derive(Clone, Copy)]
enum Whose {
    /// Of the site that the row is.
    Own,
    /// Of the row's site.
    Site,
    /// Of the business, which stands under the nil id: sites share no hot row for it.
    Business,
}

impl Whose {
    /// Sets another mark, by chance.
    fn mark(self, row: &str, nil: &str, chance: &str) -> String {
        let owner = match self {
            Whose::Own => format!("{row}.id"),
            Whose::Site => format!("{row}.site_id"),
            Whose::Business => nil.to_owned(),
        };
        format!(
            "insert into plan_marks (site_id, mark) values ({owner}, {chance}) \
             on conflict (site_id) do update set mark = excluded.mark;"
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
        let mark = whose.mark(row, "zeroblob(16)", "randomblob(16)");
        format!("create trigger {table}_mark_{deed} after {deed} on {table} begin {mark} end;\n")
    };
    on("insert", "new") + &on("update", "new") + &on("delete", "old")
}

fn postgres(table: &str, whose: Whose) -> String {
    let mark = whose.mark("touched", "'00000000-0000-0000-0000-000000000000'", "gen_random_uuid()");
    format!(
        "create function {table}_mark() returns trigger language plpgsql as $$
declare touched record := coalesce(new, old); begin {mark} return null; end $$;
create trigger {table}_mark after insert or update or delete on {table} for each row execute function {table}_mark();
"
    )
}
