//! The schema: brought up once whoever starts first, refused when newer, and led by the site.

use fillmark_actions::people;
use fillmark_api::*;
use fillmark_client::Client;
use fillmark_domain::people::Person;
use fillmark_migrations::{MigrationError, bring_up};
use fillmark_server::commands::healthcheck;
use fillmark_server::{HoldError, StartError, start};
use fillmark_store::{Database, Store};
use fillmark_tests::MovedClock;
use fillmark_tests::fresh::{Fresh, Kind};
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, instant, json};
use sea_orm_migration::sea_orm::{ConnectionTrait, DatabaseConnection, Statement};
use serde_json::json;
use uuid::Uuid;

async fn opened(fresh: &Fresh) -> Store {
    Store::open(&fresh.settings.where_kept(), 2).await.unwrap()
}

/// Rows of texts.
async fn rows(connection: &DatabaseConnection, query: &str, columns: usize) -> Vec<Vec<String>> {
    let statement = Statement::from_string(connection.get_database_backend(), query);
    let rows = connection.query_all_raw(statement).await.unwrap();
    rows.iter().map(|row| (0..columns).map(|at| row.try_get_by_index(at).unwrap()).collect()).collect()
}

async fn is_refused_when_newer(kind: Kind) {
    let fresh = Fresh::new(kind).await;
    let store = opened(&fresh).await;
    let newer = "insert into seaql_migrations (version, applied_at) values ('m9999_of_tomorrow', 4000000000)";
    store.for_migrations().execute_unprepared(newer).await.unwrap();
    store.close().await.unwrap();
    let clock = std::sync::Arc::new(MovedClock::at(instant("2026-11-24T06:00:00Z")));
    let error = start(&fresh.settings, clock).await.err().expect("a refusal");
    assert!(
        matches!(&error, StartError::Schema(MigrationError::Newer { newest }) if newest == "m9999_of_tomorrow"),
        "{error:?}"
    );
    let text = "the database was written by a newer version of Fillmark (it has m9999_of_tomorrow); update this binary";
    let chain: Vec<String> =
        std::iter::successors(Some(&error as &dyn std::error::Error), |error| error.source())
            .map(ToString::to_string)
            .collect();
    assert!(chain.iter().any(|link| link.contains(text)), "{chain:?}");
}

/// Two servers on one database that is empty come up, find one schema, and sign with one key.
/// As a business has it that wrote its reversals before.
async fn without_reversed_slips(connection: &DatabaseConnection) {
    for statement in [
        "drop index slips_by_reverses_slip_id",
        "alter table slips drop column reverses_slip_id",
        "delete from seaql_migrations where version = 'm0027_slips_reversed'",
    ] {
        connection.execute_unprepared(statement).await.unwrap();
    }
}

/// As a business has it whose plans said by their names which meter is calibrated.
async fn without_calibrated_meters(connection: &DatabaseConnection) {
    for statement in [
        "drop index check_plans_by_meter_id",
        "alter table check_plans drop column meter_id",
        "alter table checks drop column meter_id",
        "delete from seaql_migrations where version = 'm0028_calibrated_meters'",
    ] {
        connection.execute_unprepared(statement).await.unwrap();
    }
}

on_both! {
    async fn plans_made_of_templates_before_they_named_the_meter_name_it(world: World) {
        let site = world.site("Harbour").await.id;
        let here = world.ada.site(site);
        world.room(site, "Hall", "growing", 1).await;
        let meter = |name: &str| json(json!({ "name": name, "kind": "ph_and_ec" }));
        let pen = here.create::<NewMeter>(&meter("Pen")).await.unwrap().id;
        here.create::<NewMeter>(&meter("Pen 2")).await.unwrap();
        world.ada.make_template_plans(site, &NewTemplatePlans { kinds: vec![] }).await.unwrap();
        let plans = here.all::<NewCheckPlan>("").await.unwrap();
        let checks = world.ada.all_checks(site, "").await.unwrap();
        assert!(plans.iter().any(|plan| plan.body.name == "Calibrate Pen" && plan.body.meter_id == Some(pen)));
        assert!(checks.iter().any(|check| check.name == "Calibrate Pen" && check.meter_id == Some(pen)));
        let connection = world.server.app.store.for_migrations();
        without_calibrated_meters(connection).await;
        bring_up(connection).await.unwrap();
        assert_eq!(here.all::<NewCheckPlan>("").await.unwrap(), plans);
        assert_eq!(world.ada.all_checks(site, "").await.unwrap(), checks);
    }

    async fn reversals_written_before_it_was_told_tell_what_they_take_back(world: World) {
        let site = world.site("Harbour").await.id;
        let product = json(json!({ "name": "Grow A", "base": "mL", "kind": "concentrate", "mixing_rank": 20 }));
        let product = world.ada.business().create::<NewProduct>(&product).await.unwrap().id;
        let receipt = json(json!({ "client_id": Uuid::now_v7(), "product_id": product, "lot_number": "A",
            "amount": { "value": 10, "unit": "L" } }));
        let receipt = world.ada.receive_product(site, &receipt).await.unwrap();
        let back = NewReversal { client_id: Uuid::now_v7(), reason: "entered twice".into() };
        let back = world.ada.reverse_slip(site, receipt.id, &back).await.unwrap();

        let connection = world.server.app.store.for_migrations();
        without_reversed_slips(connection).await;
        bring_up(connection).await.unwrap();
        assert_eq!(world.ada.slip(site, back.id).await.unwrap().reverses_slip_id, Some(receipt.id));
        let update = connection.execute_unprepared("update slips set amount = 1").await;
        assert!(update.unwrap_err().to_string().contains("slips are kept as they are"));
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn two_servers_that_start_at_once_on_an_empty_database_both_come_up() {
    let fresh = Fresh::empty(Kind::Postgres).await;
    let clock = || std::sync::Arc::new(MovedClock::at(instant("2026-11-24T06:00:00Z")));
    let (one, other) = tokio::join!(start(&fresh.settings, clock()), start(&fresh.settings, clock()));
    let (one, other) = (one.expect("one server"), other.expect("another"));
    for server in [&one, &other] {
        healthcheck(&server.address).await.unwrap();
    }
    let ada = Person { name: "Ada Brook".into(), sign_in: Some("ada".into()) };
    people::make_owner(&one.app, ada, PASSWORD.into()).await.unwrap();
    let session = Client::new(&one.address).unwrap().sign_in("ada", PASSWORD).await.unwrap();
    let elsewhere = reqwest::Client::new().get(format!("{}/api/v1/sites", other.address));
    let answer = elsewhere.bearer_auth(session.access_token).send().await.unwrap();
    assert_eq!(answer.status(), 200, "a token of one is good at the other");
    other.stop().await;
    one.stop().await;
    let store = opened(&fresh).await;
    let applied =
        rows(store.for_migrations(), "select version from seaql_migrations order by version", 1).await;
    assert_eq!(applied.concat(), fillmark_migrations::known());
    bring_up(store.for_migrations()).await.unwrap();
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_folder_is_served_by_one_server_at_a_time() {
    let fresh = Fresh::empty(Kind::Sqlite).await;
    let clock = || std::sync::Arc::new(MovedClock::at(instant("2026-11-24T06:00:00Z")));
    let one = start(&fresh.settings, clock()).await.unwrap();
    let other = start(&fresh.settings, clock()).await.err().expect("a refusal");
    assert!(matches!(other, StartError::NoFolder(HoldError::InUse { .. })), "{other}");
    one.stop().await;
    start(&fresh.settings, clock()).await.unwrap().stop().await;
}

/// Table, index and its first column.
async fn first_columns(kind: Kind) -> Vec<(String, String, String)> {
    let fresh = Fresh::new(kind).await;
    let store = opened(&fresh).await;
    let connection = store.for_migrations();
    let query = match kind {
        Kind::Sqlite => {
            "select t.name, i.name, c.name from sqlite_master t, pragma_index_list(t.name) i, pragma_index_info(i.name) c \
             where t.type = 'table' and c.seqno = 0 and exists (select 1 from pragma_table_info(t.name) p where p.name = 'site_id')"
        }
        Kind::Postgres => {
            "select t.relname::text, i.relname::text, a.attname::text from pg_index x \
             join pg_class t on t.oid = x.indrelid join pg_class i on i.oid = x.indexrelid \
             join pg_attribute a on a.attrelid = t.oid and a.attnum = x.indkey[0] \
             where exists (select 1 from pg_attribute s where s.attrelid = t.oid and s.attname = 'site_id' and not s.attisdropped)"
        }
    };
    let found = rows(connection, query, 3).await;
    found.into_iter().map(|row| (row[0].clone(), row[1].clone(), row[2].clone())).collect()
}

/// Rows of the business that may name a site are not a site's own.
const OF_THE_BUSINESS: [&str; 2] = ["memberships", "journal"];

/// Client ids are unique in the business, and a lot of the business is looked for at all sites before it is archived.
const OF_ALL_SITES: [&str; 3] = ["slips_by_client_id", "holdings_by_lot_id", "preparations_by_lot_id"];

async fn is_led_by_the_site(kind: Kind) {
    let found = first_columns(kind).await;
    assert!(found.len() > 60, "{found:?}");
    let excepted =
        |table: &str, index: &str| OF_THE_BUSINESS.contains(&table) || OF_ALL_SITES.contains(&index);
    let other = found.iter().filter(|(table, index, first)| first != "site_id" && !excepted(table, index));
    let other: Vec<_> = other.collect();
    assert!(other.is_empty(), "{other:?}");
}

macro_rules! on_each {
    ($($claim:ident by $check:ident;)+) => {
        $(mod $claim {
            #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn on_sqlite() {
                super::$check(super::Kind::Sqlite).await;
            }

            #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn on_postgres() {
                super::$check(super::Kind::Postgres).await;
            }
        })+
    };
}

on_each! {
    a_database_written_by_a_newer_binary_is_refused_with_a_clear_text by is_refused_when_newer;
    every_key_and_index_of_a_site_starts_with_the_site by is_led_by_the_site;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn both_databases_have_the_same_tables() {
    let tables = |found: Vec<(String, String, String)>| {
        let mut tables: Vec<String> = found.into_iter().map(|(table, _, _)| table).collect();
        tables.sort();
        tables.dedup();
        tables
    };
    assert_eq!(tables(first_columns(Kind::Sqlite).await), tables(first_columns(Kind::Postgres).await));
    assert!(matches!(Fresh::new(Kind::Sqlite).await.settings.where_kept(), Database::Sqlite { .. }));
}
