//! A plan that was read is used again for as long as nothing in it has changed, by whoever it may be.

use std::sync::Arc;

use fillmark_actions::Caller;
use fillmark_api::ProblemCode;
use fillmark_domain::people::Act;
use fillmark_store::{Store, plan};
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, refusal};
use sea_orm_migration::sea_orm::{ConnectionTrait, Statement};
use uuid::Uuid;

use crate::furnished::Furnished;

/// What a site's plan is read from.
const PARTS: [&str; 12] = [
    "sites",
    "closures",
    "rooms",
    "tanks",
    "tank_rooms",
    "outages",
    "water_sources",
    "cycles",
    "placements",
    "feeds",
    "change_plans",
    "programme_revisions",
];

/// Another process at the same database.
async fn somebody_else(world: &World) -> Store {
    Store::open(&world.settings().where_kept(), 2).await.unwrap()
}

async fn marks(store: &Store) -> Vec<Uuid> {
    let connection = store.for_migrations();
    let marks = "select mark from plan_marks order by site_id";
    let marks = Statement::from_string(connection.get_database_backend(), marks);
    let rows = connection.query_all_raw(marks).await.unwrap();
    rows.iter().map(|row| row.try_get_by_index(0).unwrap()).collect()
}

on_both! {
    async fn a_plan_is_read_once_and_again_after_a_change(world: World) {
        let here = world.greenhouse().await;
        let scope = Caller::job().may(Act::Read, here.site.into()).unwrap();
        let at = instant("2026-11-24T06:00:00Z");
        let in_band = || reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00");
        let asked = async || {
            let tx = world.server.app.store.look().await.unwrap();
            plan::site_plan_since(&tx, scope, at).await.unwrap().unwrap()
        };
        let first = asked().await;
        assert!(Arc::ptr_eq(&first, &asked().await));
        world.ada.record_reading(here.site, &in_band()).await.unwrap();
        assert!(Arc::ptr_eq(&first, &asked().await), "a reading is no part of the plan");

        let other = somebody_else(&world).await;
        let archive = "update tanks set archived_at = '2026-11-24T00:00:00+00:00' where name = 'North tank'";
        other.for_migrations().execute_unprepared(archive).await.unwrap();
        let late = world.ada.record_reading(here.site, &in_band()).await;
        assert_eq!(refusal(late), ProblemCode::Invalid);
        assert_eq!(asked().await.tanks.len(), first.tanks.len() - 1);
    }

    async fn every_part_of_a_plan_that_changes_moves_its_mark(world: World) {
        Furnished::of(&world).await;
        let other = somebody_else(&world).await;
        let mut before = marks(&other).await;
        for part in PARTS {
            let touch = format!("update {part} set version = version");
            assert!(other.for_migrations().execute_unprepared(&touch).await.unwrap().rows_affected() > 0, "{part}");
            let after = marks(&other).await;
            assert_ne!(before, after, "{part}");
            before = after;
        }
        // One trigger is like the other: what holds of closures that go and come back holds of every part.
        for deed in ["create table kept as select * from closures", "delete from closures", "insert into closures select * from kept"] {
            other.for_migrations().execute_unprepared(deed).await.unwrap();
            let after = marks(&other).await;
            assert_eq!(before == after, deed.starts_with("create"), "{deed}");
            before = after;
        }
    }
}
