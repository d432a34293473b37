//! Checks of long ago, by the thousand. They are written past the API, which makes checks no faster than their days
//! come; each is a copy of one that the server made, so that it is a row as any.

use fillmark_store::Store;
use sea_orm_migration::sea_orm::{ConnectionTrait, DbBackend, Statement};

const COLUMNS: &str = "site_id, id, created_at, cause, plan_id, due_on, due_time, name, task, metrics, sample_point, tank_id, room_id,
    due_at, window_until_at, limit_at, work_min, two_people, state, state_at, state_by, late, reading_ids, calibration_ids";

const ON_POSTGRES: &str = "select one.site_id, gen_random_uuid(), at, cause, plan_id, at::date, to_char(at, 'HH24:MI:SS'), name, task,
    metrics, sample_point, tank_id, room_id, at, at + interval '1 hour', at + interval '4 hours', work_min, two_people,
    'done', at, (select id from people limit 1), false, reading_ids, calibration_ids
    from (select * from checks where plan_id is not null limit 1) one,
    lateral (select date_trunc('second', now()) - n * {apart} * interval '1 minute' as at from generate_series(1, {count}) n) times";

const ON_SQLITE: &str = "with recursive numbers (n) as (select 1 union all select n + 1 from numbers where n < {count}),
    instants (at) as (select datetime('now', '-' || (n * {apart}) || ' minutes') from numbers)
    select site_id, randomblob(16), strftime('%Y-%m-%dT%H:%M:%S+00:00', at), cause, plan_id, date(at), time(at), name, task,
    metrics, sample_point, tank_id, room_id, strftime('%Y-%m-%dT%H:%M:%S+00:00', at),
    strftime('%Y-%m-%dT%H:%M:%S+00:00', at, '+1 hour'), strftime('%Y-%m-%dT%H:%M:%S+00:00', at, '+4 hours'), work_min,
    two_people, 'done', strftime('%Y-%m-%dT%H:%M:%S+00:00', at), (select id from people limit 1), false, reading_ids,
    calibration_ids from (select * from checks where plan_id is not null limit 1), instants";

/// Writes so many checks that were done, one every so many minutes before now.
/// # Panics
/// When there is no check yet to copy, or the database refuses.
pub async fn write_checks(store: &Store, count: usize, minutes_apart: usize) {
    let connection = store.for_migrations();
    let backend = connection.get_database_backend();
    let rows = if backend == DbBackend::Postgres { ON_POSTGRES } else { ON_SQLITE };
    let rows = rows.replace("{count}", &count.to_string()).replace("{apart}", &minutes_apart.to_string());
    let insert = Statement::from_string(backend, format!("insert into checks ({COLUMNS}) {rows}"));
    let written = connection.execute_raw(insert).await.expect("checks").rows_affected();
    assert_eq!(written, count as u64, "there was a check to copy");
    if backend == DbBackend::Postgres {
        // As its own housekeeping would before long.
        connection.execute_unprepared("analyze").await.expect("figures for the planner");
    }
}
