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
    if backend == DbBackend::Postgres {
        "create trigger reviews_are_kept before update or delete on reviews for each row execute function is_kept();\n\
         create trigger reviews_are_kept_whole before truncate on reviews for each statement execute function is_kept();\n"
            .to_owned()
    } else {
        let refusal = |deed: &str| {
            format!(
                "create trigger reviews_no_{deed} before {deed} on reviews begin select raise(abort, 'reviews are kept as they are'); end;\n"
            )
        };
        refusal("update") + &refusal("delete")
    }
}
