//! The look at all records, against reading the same rows and doing nothing with them.

use std::time::Instant;

use fillmark_store::Store;
use futures_util::TryStreamExt;
use sea_orm_migration::sea_orm::{Statement, StreamTrait};

use super::batch::readings;
use super::entry::sessions;
use super::figures::{Bar, Measured, Rounds};
use super::ground::Ground;
use super::load::{Visitor, post};
use super::server::Server;
use crate::fresh::Kind;
use crate::process::run;
use crate::rows::number;

/// So many batches of 500 readings are entered: as many entries of the journal.
const BATCHES: usize = 400;

/// Measures it.
/// # Panics
/// When the server does not come up, or the records are not what was entered.
pub async fn verify(kind: Kind, rounds: usize) -> Measured {
    let ground = Ground::make(kind);
    let yard = ground.yard().await;
    let server = Server::ours(&yard.fresh).await;
    let token = sessions(&server, 1).await.remove(0);
    let mut visitor = Visitor::connect(&server.address).await.expect("a connection");
    let path = format!("/api/v1/sites/{}/readings/batch", yard.feeding.here.site);
    for at in 0..BATCHES {
        visitor.expect(&post(&path, &token, &readings(yard.feeding, at)), 200).await;
    }
    let store = Store::open(&yard.fresh.settings.where_kept(), 1).await.expect("the database");
    while number(&store, "select count(*) from journal where seq is null").await > 0 {
        tokio::time::sleep(std::time::Duration::from_millis(200)).await;
    }
    server.stop();

    let mut looked = Rounds::default();
    for _ in 0..rounds {
        let told =
            tokio::task::block_in_place(|| run(&yard.fresh, &["verify"])).expect("records that are whole");
        let (began, mut rows) = (Instant::now(), 0);
        for table in ["journal", "readings"] {
            rows += scanned(&store, &format!("select * from {table} order by site_id, id")).await;
        }
        looked.add(rate(&told).expect("a rate"), rows as f64 / began.elapsed().as_secs_f64());
    }
    let journal = number(&store, "select count(*) from journal").await;
    store.close().await.expect("a closed database");
    looked
        .measured("verify", kind, "rows/s", "a scan of the same rows", Some(Bar::AtLeast(50_000.0)))
        .beside("entries of the journal", journal as f64)
}

/// What the command says it did, rows a second.
fn rate(told: &str) -> Option<f64> {
    told.trim_end().strip_suffix(" rows/s")?.rsplit(' ').next()?.parse().ok()
}

async fn scanned(store: &Store, query: &str) -> usize {
    let connection = store.for_migrations();
    let statement = Statement::from_string(connection.get_database_backend(), query);
    let rows = connection.stream_raw(statement).await.expect("rows");
    rows.try_fold(0, async |count, _| Ok(count + 1)).await.expect("all rows")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_rate_is_read_from_what_the_command_says() {
        assert_eq!(rate("3 balances are the sums of their movements\n2.5 s, 81234 rows/s\n"), Some(81234.0));
        assert_eq!(rate("nothing"), None);
    }
}
