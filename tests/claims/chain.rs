//! The chain of the journal: what is written stays as it is, and `verify` tells when it does not.

use std::collections::HashSet;
use std::sync::Arc;
use std::time::Duration;

use fillmark_actions::{journal, people};
use fillmark_api::{NewAddition, NewReading, NewReversal, ProblemCode, ReadingBatch};
use fillmark_domain::people::{Person, Role};
use fillmark_server::Running;
use fillmark_server::commands::{self, CommandError};
use fillmark_store::journal::chain;
use fillmark_store::summary;
use fillmark_tests::fresh::{Fresh, Kind};
use fillmark_tests::greenhouse::reading;
use fillmark_tests::world::{PASSWORD, World, instant, refusal};
use fillmark_tests::{MovedClock, on_both};
use sea_orm_migration::sea_orm::{ConnectionTrait, DbErr};
use serde_json::json;
use uuid::Uuid;

async fn sql(world: &World, statement: &str) -> Result<(), DbErr> {
    world.server.app.store.for_migrations().execute_unprepared(statement).await.map(drop)
}

/// What somebody does who holds the database: the triggers are no wall against them, the chain is.
async fn without_triggers(world: &World, table: &str) {
    let names = match (world.kind, table) {
        (Kind::Sqlite, "journal") => vec!["journal_is_kept".to_owned(), "journal_is_sealed_once".into()],
        (Kind::Postgres, "journal") => vec!["journal_is_kept".to_owned()],
        (Kind::Sqlite, _) => vec![format!("{table}_no_update"), format!("{table}_no_delete")],
        (Kind::Postgres, _) => vec![format!("{table}_are_kept")],
    };
    for name in names {
        let of = if world.kind == Kind::Postgres { format!(" on {table}") } else { String::new() };
        sql(world, &format!("drop trigger {name}{of}")).await.unwrap();
    }
}

async fn written(world: &World) -> Uuid {
    let here = world.greenhouse().await;
    for ph in [5.9, 6.0, 6.1] {
        let one = reading(here.north_tank, "ph", ph, "[pH]", "2026-11-24T06:00:00+01:00");
        world.ada.record_reading(here.site, &one).await.unwrap();
    }
    journal::seal(&world.server.app).await.unwrap();
    here.site
}

async fn written_more(world: &World, site: Uuid) {
    let tank = world.ada.readings(site, "").await.unwrap()[0].tank_id.unwrap();
    let one = reading(tank, "ph", 6.2, "[pH]", "2026-11-24T06:30:00+01:00");
    world.ada.record_reading(site, &one).await.unwrap();
    journal::seal(&world.server.app).await.unwrap();
}

async fn head(world: &World, site: Uuid) -> chain::Head {
    chain::head(&world.server.app.store.look().await.unwrap(), site).await.unwrap()
}

/// The manifest that a backup of the database would have now, on PostgreSQL too.
async fn manifest_now(world: &World) -> String {
    let summary = summary::summary(&world.server.app.store.look().await.unwrap()).await.unwrap();
    let journals = summary.journals.iter();
    let journals: Vec<_> =
        journals.map(|(owner, head)| json!({ "owner": owner, "seq": head.seq, "hash": head.hash })).collect();
    json!({ "made_at": "2026-11-24T06:00:00.000Z", "version": "0", "schema": summary.schema, "file": "fillmark.sqlite",
        "bytes": 0, "sha256": "", "balances": 0, "balance_sum": 0, "journals": journals })
    .to_string()
}

async fn broken(world: &World) -> String {
    match commands::verify(&world.server.app).await {
        Err(CommandError::Broken { broken, .. }) => broken,
        other => panic!("{other:?}"),
    }
}

/// A server on a fresh database that does its jobs, and its owner.
struct Working {
    server: Running,
    _fresh: Fresh,
}

impl Working {
    async fn begin(kind: Kind) -> Working {
        let mut fresh = Fresh::new(kind).await;
        fresh.settings.jobs = true;
        let clock = Arc::new(MovedClock::at(instant("2026-11-24T06:00:00Z")));
        let server = fillmark_server::start(&fresh.settings, clock).await.unwrap();
        let ada = Person { name: "Ada Brook".into(), sign_in: Some("ada".into()) };
        people::make_owner(&server.app, ada, PASSWORD.into()).await.unwrap();
        Working { server, _fresh: fresh }
    }
}

on_both! {
    async fn a_server_seals_what_is_written_by_itself(working: Working) {
        let store = &working.server.app.store;
        let sealed = async {
            while !chain::unsealed(&store.look().await.unwrap()).await.unwrap().is_empty() {
                tokio::task::yield_now().await;
            }
        };
        // Far more than a second: a bound on waiting, no measure.
        tokio::time::timeout(Duration::from_secs(30), sealed).await.unwrap();
        let told = commands::verify(&working.server.app).await.unwrap();
        assert!(told.starts_with("2 entries of 1 journals"), "{told}");
        working.server.stop().await;
    }

    async fn what_was_written_is_found_as_it_was_written(world: World) {
        let site = written(&world).await;
        let told = commands::verify(&world.server.app).await.unwrap();
        assert!(told.contains("of 2 journals fit their chains, 0 more are not sealed"), "{told}");
        assert!(told.contains("of them tell what was entered, planned or settled, and it is so"), "{told}");
        let entries = world.ada.follow_site_journal(site, 0).await.unwrap();
        let numbers: Vec<_> = entries.iter().filter_map(|entry| entry.seq).collect();
        assert_eq!(numbers, (1..=entries.len() as i64).collect::<Vec<_>>());
    }

    async fn neither_database_changes_or_removes_what_is_kept(world: World) {
        written(&world).await;
        for table in ["journal", "readings"] {
            for statement in [format!("delete from {table}"), format!("update {table} set id = id")] {
                let refused = sql(&world, &statement).await.unwrap_err().to_string();
                assert!(refused.contains("kept as"), "{statement}: {refused}");
            }
        }
        commands::verify(&world.server.app).await.unwrap();
    }

    async fn an_entry_of_the_journal_that_was_altered_is_named(world: World) {
        written(&world).await;
        without_triggers(&world, "journal").await;
        sql(&world, "update journal set deed = 'archived' where word = 'tank'").await.unwrap();
        let told = broken(&world).await;
        assert!(told.contains("does not fit the chain"), "{told}");
    }

    async fn an_entry_of_the_journal_that_was_removed_is_named(world: World) {
        written(&world).await;
        without_triggers(&world, "journal").await;
        sql(&world, "delete from journal where seq = 2 and word <> 'membership'").await.unwrap();
        let told = broken(&world).await;
        assert!(told.contains("entry 2 is missing"), "{told}");
    }

    async fn a_reading_that_was_altered_is_named(world: World) {
        written(&world).await;
        without_triggers(&world, "readings").await;
        sql(&world, "update readings set value = 6.0 where value > 6.05").await.unwrap();
        let told = broken(&world).await;
        assert!(told.contains("is not what was entered"), "{told}");
    }

    async fn a_reading_that_was_put_in_beside_the_journal_is_told(world: World) {
        written(&world).await;
        let columns = "client_id, tank_id, room_id, sample_point, metric, entered_value, entered_unit, value, uncompensated,
            recorded_at, clock_suspect, received_at";
        let new = ["00000000-0000-0000-0000-00000000000", "00000000-0000-0000-0000-00000000001"].map(|id| match world.kind {
            Kind::Sqlite => format!("x'{}'", format!("{id}7").replace('-', "")),
            Kind::Postgres => format!("'{id}7'"),
        });
        let own = columns.replacen("client_id", &new[0], 1);
        sql(&world, &format!("insert into readings (site_id, id, {columns}) select site_id, {}, {own} from readings limit 1", new[1])).await.unwrap();
        let told = broken(&world).await;
        assert!(told.contains("has 4 of reading, of which its journal knows 3"), "{told}");
    }

    async fn a_balance_that_is_no_sum_is_told(world: World) {
        let feeding = world.feeding().await;
        feeding.receive(&world.ada, feeding.grow_a, "L1", "2027-03-01", 500.0).await;
        journal::seal(&world.server.app).await.unwrap();
        sql(&world, "update holdings set balance = balance + 1").await.unwrap();
        let told = broken(&world).await;
        assert!(told.contains("holds 500001 where its movements make 500000"), "{told}");
    }

    async fn a_stock_ledger_that_was_rewritten_is_told(world: World) {
        let feeding = world.feeding().await;
        feeding.receive(&world.ada, feeding.grow_a, "L1", "2027-03-01", 500.0).await;
        feeding.receive(&world.ada, feeding.grow_b, "L1", "2027-03-01", 300.0).await;
        let poured = world.ada.record_addition(feeding.here.site, &feeding.addition(100.0)).await.unwrap();
        world.ada.reverse_addition(feeding.here.site, poured.id, &NewReversal { client_id: Uuid::now_v7(), reason: "not poured".into() }).await.unwrap();
        journal::seal(&world.server.app).await.unwrap();
        commands::verify(&world.server.app).await.unwrap();

        without_triggers(&world, "movements").await;
        without_triggers(&world, "slips").await;
        sql(&world, "update movements set change = 250000 where change = 300000").await.unwrap();
        sql(&world, "update holdings set balance = 250000 where balance = 300000").await.unwrap();
        let told = broken(&world).await;
        assert!(told.starts_with("slip ") && told.contains("says 300000 where its movements make 250000"), "{told}");
        // Both halves of it are then rewritten, and the journal alone still tells.
        sql(&world, "update slips set amount = 250000 where amount = 300000").await.unwrap();
        let told = broken(&world).await;
        assert!(told.starts_with("slip ") && told.ends_with("is not what was entered\n"), "{told}");
        sql(&world, "update slips set amount = 300000 where amount = 250000").await.unwrap();
        sql(&world, "update movements set change = 300000 where change = 250000").await.unwrap();
        sql(&world, "update holdings set balance = 300000 where balance = 250000").await.unwrap();
        commands::verify(&world.server.app).await.unwrap();

        sql(&world, "update movements set change = 90000 where change = 100000").await.unwrap();
        sql(&world, "update holdings set balance = 490000 where balance = 500000").await.unwrap();
        let told = broken(&world).await;
        assert!(told.starts_with("movement ") && told.contains("is not the opposite of the one it takes back"), "{told}");
    }

    async fn records_and_checks_that_were_altered_beside_the_journal_are_told(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.check_plan(site, json!({ "room_id": room })).await;
        world.person("Sam", Role::Staff, Some(site)).await;
        let meter: serde_json::Value = world.ada.post(&format!("/sites/{site}/meters"), &json!({ "name": "Blue pen", "kind": "ph" })).await.unwrap();
        let calibration = json!({ "meter_id": meter["id"], "calibrated_at": "2026-11-23T08:00:00Z", "standards": "7.00",
            "slope_percent": 96.7, "passed": false });
        world.ada.post::<serde_json::Value>(&format!("/sites/{site}/calibrations"), &calibration).await.unwrap();
        world.clock.set(instant("2026-11-24T12:00:00Z"));
        world.beat().await;
        journal::seal(&world.server.app).await.unwrap();
        commands::verify(&world.server.app).await.unwrap();

        for (altered, back, word) in [
            ("update calibrations set passed = true", "update calibrations set passed = false", "calibration "),
            ("update calibrations set slope_percent = 97.0", "update calibrations set slope_percent = 96.7", "calibration "),
            ("update memberships set role = 'manager' where role = 'staff'", "update memberships set role = 'staff' where role = 'manager'", "membership "),
            ("update checks set state = 'excused', note = 'closed' where state = 'missed'",
                "update checks set state = 'missed', note = null where state = 'excused'", "check "),
        ] {
            sql(&world, altered).await.unwrap();
            let told = broken(&world).await;
            assert!(told.starts_with(word) && told.ends_with("is not what was entered\n"), "{told}");
            sql(&world, back).await.unwrap();
            commands::verify(&world.server.app).await.unwrap();
        }
        sql(&world, "update checks set state = 'excused', state_at = due_at where state = 'planned'").await.unwrap();
        assert!(broken(&world).await.contains("of check, of which its journal knows 1"));
        sql(&world, "delete from calibrations").await.unwrap();
        assert!(broken(&world).await.contains("has 0 of calibration, of which its journal knows 1"));
    }

    async fn a_slip_that_the_journal_does_not_know_is_told(world: World) {
        let feeding = world.feeding().await;
        feeding.receive(&world.ada, feeding.grow_a, "L1", "2027-03-01", 500.0).await;
        journal::seal(&world.server.app).await.unwrap();
        let columns = "site_id, kind, product_id, lot_id, base, amount, done_at, entered_at";
        let id = match world.kind {
            Kind::Sqlite => "x'00000000000000000000000000000007'",
            Kind::Postgres => "'00000000-0000-0000-0000-000000000007'",
        };
        sql(&world, &format!("insert into slips (id, {columns}) select {id}, {columns} from slips")).await.unwrap();
        let told = broken(&world).await;
        assert!(told.contains("has 2 of slip, of which its journal knows 1"), "{told}");
    }

    async fn a_pour_beyond_the_record_is_what_its_movements_make_with_its_shortage(world: World) {
        let feeding = world.feeding().await;
        let site = feeding.here.site;
        feeding.receive(&world.ada, feeding.grow_a, "L1", "2027-03-01", 500.0).await;
        let short = NewAddition { poured_all_the_same: true, ..feeding.addition(530.0) };
        world.ada.record_addition(site, &short).await.unwrap();
        commands::verify(&world.server.app).await.unwrap();
        assert_eq!(world.ada.shortages(site, "state=open").await.unwrap().len(), 1);
        feeding.receive(&world.ada, feeding.grow_a, "L2", "2027-03-01", 500.0).await;
        commands::verify(&world.server.app).await.unwrap();
    }

    async fn a_journal_whose_end_was_cut_off_is_told_by_the_manifest_of_a_backup(world: World) {
        let site = written(&world).await;
        let folder = tempfile::tempdir().unwrap();
        let manifest = folder.path().join("manifest.json");
        std::fs::write(&manifest, manifest_now(&world).await).unwrap();
        written_more(&world, site).await;
        let told = commands::verify_against(&world.server.app, folder.path()).await.unwrap();
        assert!(told.contains("2 journals hold the entries that the manifest names"), "{told}");

        std::fs::write(&manifest, manifest_now(&world).await).unwrap();
        without_triggers(&world, "journal").await;
        without_triggers(&world, "readings").await;
        let last = head(&world, site).await.seq;
        sql(&world, &format!("delete from readings where id in (select record_id from journal where seq = {last} and word = 'reading')")).await.unwrap();
        sql(&world, &format!("delete from journal where seq = {last} and word = 'reading'")).await.unwrap();
        commands::verify(&world.server.app).await.unwrap();
        let told = match commands::verify_against(&world.server.app, &manifest).await {
            Err(CommandError::Broken { broken, .. }) => broken,
            other => panic!("{other:?}"),
        };
        assert_eq!(told, format!("journal of {site}: entries {last} to {last} were there and are missing\n"));
        written_more(&world, site).await;
        let told = commands::verify_against(&world.server.app, &manifest).await.unwrap_err().to_string();
        assert!(told.contains(&format!("journal of {site}: entry {last} is another than was there")), "{told}");
        let none = commands::verify_against(&world.server.app, &folder.path().join("none")).await;
        assert!(matches!(none, Err(CommandError::Manifest(_))), "{none:?}");
    }

    async fn whoever_follows_misses_nothing_while_others_write(world: World) {
        let here = world.greenhouse().await;
        let one = |n: usize| reading(here.north_tank, "ph", 5.9 + (n % 20) as f64 / 100.0, "[pH]", "2026-11-24T06:00:00+01:00");
        let entries: Vec<NewReading> = (0..80).map(one).collect();
        let write = async {
            for some in entries.chunks(8) {
                let sent = some.iter().map(|one| world.ada.record_reading(here.site, one));
                futures_util::future::join_all(sent).await.into_iter().for_each(|answer| drop(answer.unwrap()));
            }
        };
        let follow = async {
            let (mut last, mut seen) = (0, Vec::new());
            while seen.len() < entries.len() {
                journal::seal(&world.server.app).await.unwrap();
                for entry in world.ada.follow_site_journal(here.site, last).await.unwrap() {
                    last = entry.seq.unwrap();
                    seen.extend((entry.word == "reading").then_some(entry.record_id));
                }
            }
            seen
        };
        let ((), seen) = tokio::join!(write, follow);
        let kept: HashSet<Uuid> = world.ada.readings(here.site, "").await.unwrap().iter().map(|one| one.id).collect();
        assert_eq!((seen.len(), seen.into_iter().collect::<HashSet<_>>()), (80, kept));
        commands::verify(&world.server.app).await.unwrap();
    }

    async fn many_entries_are_sealed_as_they_are_written_unless_another_is_at_it(world: World) {
        let here = world.greenhouse().await;
        let one = |n: usize| reading(here.north_tank, "ph", 5.9 + (n % 20) as f64 / 100.0, "[pH]", "2026-11-24T06:00:00+01:00");
        let batch = || ReadingBatch { items: (0..80).map(one).collect() };
        let sealed = async || world.ada.follow_site_journal(here.site, 0).await.unwrap().len();
        world.ada.record_readings(here.site, &batch()).await.unwrap();
        assert_eq!(sealed().await, 80);
        // The embedded database has one writer, who always has the turn.
        if world.kind == Kind::Postgres {
            let sealer = world.server.app.store.begin().await.unwrap();
            sealer.take_turn(&format!("chain of {}", here.site)).await.unwrap();
            world.ada.record_readings(here.site, &batch()).await.unwrap();
            sealer.commit().await.unwrap();
            assert_eq!(sealed().await, 80);
        }
        journal::seal(&world.server.app).await.unwrap();
        world.ada.record_readings(here.site, &batch()).await.unwrap();
        commands::verify(&world.server.app).await.unwrap();
    }

    async fn staff_do_not_read_the_journal(world: World) {
        let site = world.site("Harbour").await.id;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        assert_eq!(refusal(sam.site_journal(site, "").await), ProblemCode::NotAllowed);
        assert_eq!(refusal(sam.journal("").await), ProblemCode::NotAllowed);
        assert_eq!(refusal(sam.follow_site_journal(site, 0).await), ProblemCode::NotAllowed);
        let (_, aude) = world.person("Aude", Role::Auditor, Some(site)).await;
        aude.site_journal(site, "").await.unwrap();
    }
}
