//! Alerts: raised once, seen by the first, closed for good.

use fillmark_actions::{Caller, alerts};
use fillmark_api::{Instant, NewReading, ProblemCode};
use fillmark_domain::people::{Act, Role};
use fillmark_domain::work::{AlertKind, ClosedBy};
use fillmark_tests::greenhouse::reading;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, refusal};
use uuid::Uuid;

const TANK: Uuid = Uuid::from_u128(7);

async fn raise(world: &World, site: Uuid) {
    let app = &world.server.app;
    let (scope, stamp) = (Caller::job().may(Act::EnterWork, site.into()).unwrap(), app.unsigned());
    let tx = app.store.begin().await.unwrap();
    alerts::raise(&tx, scope, &stamp, AlertKind::OutOfBand, TANK, "pH 5.1 in the north tank").await.unwrap();
    tx.commit().await.unwrap();
}

on_both! {
    async fn an_alert_is_raised_once_while_it_is_not_closed(world: World) {
        let site = world.site("Harbour").await.id;
        raise(&world, site).await;
        raise(&world, site).await;
        let alerts = world.ada.alerts(site, "").await.unwrap().items;
        assert_eq!(alerts.iter().map(|alert| alert.text.as_str()).collect::<Vec<_>>(), ["pH 5.1 in the north tank"]);
        world.ada.close_alert(site, alerts[0].id).await.unwrap();
        assert_eq!(world.ada.alerts(site, "").await.unwrap().items, []);
        raise(&world, site).await;
        assert_eq!(world.ada.alerts(site, "").await.unwrap().items.len(), 1);
        assert_eq!(world.ada.alerts(site, "state=open&state=closed").await.unwrap().items.len(), 2);
    }

    async fn who_saw_an_alert_first_stays(world: World) {
        let site = world.site("Harbour").await.id;
        let (sam, client) = world.person("Sam", Role::Staff, Some(site)).await;
        raise(&world, site).await;
        let alert = world.ada.alerts(site, "").await.unwrap().items.remove(0);
        client.see_alert(site, alert.id).await.unwrap();
        let seen = world.ada.see_alert(site, alert.id).await.unwrap();
        assert_eq!(seen.seen_by, Some(sam.id));
        let closed = world.ada.close_alert(site, alert.id).await.unwrap();
        assert_eq!(closed.seen_by, Some(sam.id));
        let closed = client.close_alert(site, alert.id).await.unwrap_err();
        assert_eq!(closed.problem().unwrap().code, ProblemCode::Conflict);
        assert!(format!("{closed:?}").contains("the alert was closed at 07:00 on 24 November"), "{closed:?}");
    }

    async fn what_an_alert_was_about_closes_it(world: World) {
        let site = world.site("Harbour").await.id;
        raise(&world, site).await;
        let app = &world.server.app;
        let scope = Caller::job().may(Act::EnterWork, site.into()).unwrap();
        for _ in 0..2 {
            let tx = app.store.begin().await.unwrap();
            let by = ClosedBy::Record(Uuid::from_u128(9));
            alerts::close_for(&tx, scope, &app.unsigned(), AlertKind::OutOfBand, TANK, by).await.unwrap();
            tx.commit().await.unwrap();
        }
        let closed = world.ada.alerts(site, "state=closed").await.unwrap().items;
        assert_eq!(closed.iter().map(|alert| alert.closed_by_record).collect::<Vec<_>>(), [Some(Uuid::from_u128(9))]);
    }

    async fn another_sites_alert_is_not_there(world: World) {
        let (harbour, hill) = (world.site("Harbour").await.id, world.site("Hill").await.id);
        raise(&world, harbour).await;
        let alert = world.ada.alerts(harbour, "").await.unwrap().items.remove(0);
        assert_eq!(refusal(world.ada.see_alert(hill, alert.id).await), ProblemCode::NotFound);
        let (_, kim) = world.person("Kim", Role::Auditor, Some(harbour)).await;
        assert_eq!(refusal(kim.see_alert(harbour, alert.id).await), ProblemCode::NotAllowed);
    }

    async fn a_clock_that_runs_ahead_silences_nothing_that_comes_in_later(world: World) {
        let here = world.greenhouse().await;
        let ahead = NewReading {
            sent_at: Some(Instant(instant("2026-11-25T06:00:00Z"))),
            ..reading(here.north_tank, "ph", 6.0, "[pH]", "2026-11-25T06:00:00Z")
        };
        let kept = world.ada.record_reading(here.site, &ahead).await.unwrap();
        assert!(!kept.clock_suspect, "the client told its own clock");
        world.clock.set(instant("2026-11-24T06:30:00Z"));
        let high = reading(here.north_tank, "ph", 6.9, "[pH]", "2026-11-24T06:30:00Z");
        world.ada.record_reading(here.site, &NewReading { confirmed: true, ..high }).await.unwrap();
        assert_eq!(world.ada.alerts(here.site, "").await.unwrap().items.len(), 1);
    }
}
