//! The chain of the journal, and what is entered once: kept from change by the database itself.

use sea_orm_migration::sea_orm::DbBackend;

pub(crate) const UP: &str = "
alter table journal add column seq bigint;

alter table journal add column hash text;

create unique index journal_by_seq on journal (site_id, seq) where seq is not null;

create index journal_unsealed on journal (site_id, id) where seq is null;
";

/// Tables whose rows are never changed or removed.
const ONCE: [&str; 6] = ["readings", "additions", "tank_changes", "harvests", "slips", "movements"];

/// What each database refuses by itself.
pub(crate) fn then(backend: DbBackend) -> String {
    if backend == DbBackend::Postgres { postgres() } else { sqlite() }
}

fn sqlite() -> String {
    let mut text = String::from(
        "
create trigger journal_is_kept before delete on journal begin select raise(abort, 'the journal is kept as it is'); end;

create trigger journal_is_sealed_once before update on journal
when old.seq is not null or new.seq is null or new.hash is null or new.site_id is not old.site_id or new.id is not old.id
    or new.at is not old.at or new.person_id is not old.person_id or new.deed is not old.deed
    or new.word is not old.word or new.record_id is not old.record_id or new.detail is not old.detail
begin select raise(abort, 'the journal is kept as it is'); end;
",
    );
    for table in ONCE {
        for deed in ["update", "delete"] {
            text.push_str(&format!(
                "create trigger {table}_no_{deed} before {deed} on {table} begin select raise(abort, '{table} are kept as they are'); end;\n"
            ));
        }
    }
    text
}

fn postgres() -> String {
    let mut text = String::from(
        "
create function journal_is_kept() returns trigger language plpgsql as $$
begin
    if tg_op = 'UPDATE' then
        if old.seq is null and new.seq is not null and new.hash is not null
            and (new.site_id, new.id, new.at, new.person_id, new.deed, new.word, new.record_id, new.detail)
                is not distinct from
                (old.site_id, old.id, old.at, old.person_id, old.deed, old.word, old.record_id, old.detail) then
            return new; end if; end if; raise exception 'the journal is kept as it is'; end $$;

create trigger journal_is_kept before update or delete on journal for each row execute function journal_is_kept();

create trigger journal_is_kept_whole before truncate on journal for each statement execute function journal_is_kept();

create function is_kept() returns trigger language plpgsql as $$ begin raise exception '% are kept as they are', tg_table_name; end $$;
",
    );
    for table in ONCE {
        text.push_str(&format!(
            "create trigger {table}_are_kept before update or delete on {table} for each row execute function is_kept();\n\
             create trigger {table}_are_kept_whole before truncate on {table} for each statement execute function is_kept();\n"
        ));
    }
    text
}
