//! A room's report over a month, against what cannot be done without: a hello, and the SQL that fetches its rows.

use chrono::{DateTime, TimeDelta, Utc};
use chrono_tz::Europe::Berlin;
use fillmark_store::Store;
use serde_json::{Value, json};
use uuid::Uuid;

use super::figures::{Measured, Rounds, median};
use super::ground::Ground;
use super::history::write_checks;
use super::load::{Visitor, get, median_wait_ms, post};
use super::round::{Published, median_query_ms};
use super::server::Server;
use crate::feeding::Feeding;
use crate::fresh::Kind;

/// Readings of a month: pH and EC every four hours. Checks: one every four hours.
const LOOKS: usize = 180;

/// How often each side is asked in a round.
const TIMES: usize = 100;

const READINGS: &str = "select r.*, (select later.id from readings later
    where later.site_id = r.site_id and later.supersedes_id = r.id) as corrected_by
    from readings r where r.site_id = $1 and r.tank_id = $2 and r.recorded_at >= $3 and r.recorded_at < $4
    order by r.recorded_at, r.id";
const CHECKS: &str =
    "select * from checks where site_id = $1 and tank_id = $2 and due_at >= $3 and due_at < $4
    order by due_at, id";

/// Measures it.
/// # Panics
/// When a server does not come up, or the month's records are not there.
pub async fn report(kind: Kind, rounds: usize) -> Measured {
    let ground = Ground::make(kind);
    let yard = ground.yard().await;
    let (ours, bare) = (Server::ours(&yard.fresh).await, Server::bare(&ground.bare().await).await);
    let here = yard.feeding.here;
    let token = Published::make(&ours, yard.feeding).await.token;
    let batch = post(&format!("/api/v1/sites/{}/readings/batch", here.site), &token, &looks(yard.feeding));
    Visitor::connect(&ours.address).await.expect("a connection").expect(&batch, 200).await;
    let store = Store::open(&yard.fresh.settings.where_kept(), 1).await.expect("the database");
    write_checks(&store, LOOKS, 240).await;

    let now = Utc::now();
    let (from, until) = (now - TimeDelta::days(31), now);
    let day = |at: DateTime<Utc>| at.with_timezone(&Berlin).date_naive();
    let path = format!(
        "/api/v1/sites/{}/rooms/{}/report?from_on={}&until_on={}",
        here.site,
        here.north_room,
        day(from),
        day(until)
    );
    let values = vec![here.site.into(), here.north_tank.into(), from.into(), until.into()];
    let queries = [(READINGS, values.clone()), (CHECKS, values)];
    let (ask, hello) = (get(&path, &token), get("/hello", ""));
    let (mut taken, mut queried) = (Rounds::default(), Vec::new());
    for at in 0..=rounds {
        let own = median_wait_ms(&ours.address, &ask, TIMES).await;
        let sql = median_query_ms(&store, &queries, TIMES, 3 * LOOKS).await;
        let hello = median_wait_ms(&bare.address, &hello, TIMES).await;
        // The first round warms all up.
        if at > 0 {
            taken.add(own, sql + hello);
            queried.push(sql);
        }
    }
    store.close().await.expect("a closed database");
    taken
        .measured("report", kind, "ms", "a hello and the SQL that fetches its rows", None)
        .beside("that SQL, ms", median(&queried))
}

/// EC and pH of the north tank over the month, in band and confirmed.
fn looks(feeding: Feeding) -> String {
    let now = Utc::now();
    let look = |at: usize, metric: &str, value: f64, unit: &str| {
        let recorded_at = now - TimeDelta::hours(4 * at as i64 + 1);
        json!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "sample_point": "tank", "metric": metric,
            "value": { "value": value, "unit": unit }, "recorded_at": recorded_at, "confirmed": true })
    };
    let both = |at: usize| [look(at, "ph", 6.0, "[pH]"), look(at, "ec", 1.4, "mS/cm")];
    json!({ "items": (0..LOOKS).flat_map(both).collect::<Vec<Value>>() }).to_string()
}
