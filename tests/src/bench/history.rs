//! Checks and readings of long ago, by the thousand. They are written past the API, which makes checks no faster than
//! their days come, and would take a million readings for as many minutes; each is a copy of one that the server made, so
//! that it is a row as any.

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

const READING_COLUMNS: &str = "site_id, id, client_id, tank_id, sample_point, metric, entered_value, entered_unit, value,
    uncompensated, recorded_at, received_at, clock_suspect, band_low, band_aim, band_high, done_by, entered_by";

const READINGS_ON_POSTGRES: &str = "select one.site_id, gen_random_uuid(), gen_random_uuid(), tanks.id, sample_point, metric,
    entered_value, entered_unit, value, uncompensated, at, at, clock_suspect, band_low, band_aim, band_high, done_by, entered_by
    from (select * from readings where metric = '{metric}' limit 1) one join tanks on tanks.site_id = one.site_id,
    lateral (select date_trunc('second', now()) - n * {apart} * interval '1 minute'
        - case when tanks.id = one.tank_id then {days} else 0 end * interval '1 day' as at
        from generate_series(1, {each}) n) times";

const READINGS_ON_SQLITE: &str =
    "with recursive numbers (n) as (select 1 union all select n + 1 from numbers where n < {each}),
    one as (select * from readings where metric = '{metric}' limit 1),
    times (tank, at) as (select tanks.id, strftime('%Y-%m-%dT%H:%M:%S+00:00', 'now', '-' || (n * {apart}) || ' minutes',
        '-' || (case when tanks.id = one.tank_id then {days} else 0 end) || ' days')
        from one join tanks on tanks.site_id = one.site_id join numbers)
    select site_id, randomblob(16), randomblob(16), tank, sample_point, metric, entered_value, entered_unit, value,
    uncompensated, at, at, clock_suspect, band_low, band_aim, band_high, done_by, entered_by from one, times";

/// How a tank was read before anybody looks.
#[derive(Debug, Clone, Copy)]
pub struct ReadLongAgo {
    /// So many readings of a metric in each tank of the site…
    pub each: usize,
    /// …one every so many minutes before now…
    pub minutes_apart: usize,
    /// …or, of the tank that has readings already, before these last days.
    pub spared_days: usize,
}

/// Writes readings of a metric into all tanks of the site that has some of it in one tank.
/// # Panics
/// When there is no reading yet to copy, or the database refuses.
pub async fn write_readings(store: &Store, metric: &str, read: ReadLongAgo) -> u64 {
    let [postgres, sqlite] = [READINGS_ON_POSTGRES, READINGS_ON_SQLITE].map(|rows| {
        rows.replace("{each}", &read.each.to_string())
            .replace("{apart}", &read.minutes_apart.to_string())
            .replace("{days}", &read.spared_days.to_string())
            .replace("{metric}", metric)
    });
    write(store, "readings", READING_COLUMNS, [&postgres, &sqlite]).await
}

/// Writes so many checks that were done, one every so many minutes before now.
/// # Panics
/// When there is no check yet to copy, or the database refuses.
pub async fn write_checks(store: &Store, count: usize, minutes_apart: usize) {
    let [postgres, sqlite] = [ON_POSTGRES, ON_SQLITE].map(|rows| {
        rows.replace("{count}", &count.to_string()).replace("{apart}", &minutes_apart.to_string())
    });
    let written = write(store, "checks", COLUMNS, [&postgres, &sqlite]).await;
    assert_eq!(written, count as u64, "there was a check to copy");
}

/// Inserts what one of two queries finds, by the database.
async fn write(store: &Store, table: &str, columns: &str, [postgres, sqlite]: [&str; 2]) -> u64 {
    let connection = store.for_migrations();
    let backend = connection.get_database_backend();
    let rows = if backend == DbBackend::Postgres { postgres } else { sqlite };
    let insert = Statement::from_string(backend, format!("insert into {table} ({columns}) {rows}"));
    let written = connection.execute_raw(insert).await.expect("rows written").rows_affected();
    if backend == DbBackend::Postgres {
        // As its own housekeeping would before long.
        connection.execute_unprepared("analyze").await.expect("figures for the planner");
    }
    written
}
