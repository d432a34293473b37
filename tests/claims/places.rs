//! Places and what grows there: what fits together, what is in the way, and who sees any of it.

use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json, refusal};
use serde_json::{Value, json};
use uuid::Uuid;

fn cycle(here: &fillmark_tests::Greenhouse, fields: Value) -> NewCycle {
    let mut body = json!({ "name": "Basil 47", "crop_id": here.crop, "programme_id": here.programme, "plants": 100,
        "starts_on": "2026-11-17", "ends_on": "2026-12-27",
        "stages": [{ "stage": "propagation", "from_on": "2026-11-17" }, { "stage": "vegetative", "from_on": "2026-11-24" }] });
    for (name, field) in fields.as_object().unwrap() {
        body[name] = field.clone();
    }
    json(body)
}

#[track_caller]
fn pointer<T: std::fmt::Debug>(answer: Result<T, fillmark_client::ClientError>) -> String {
    let error = answer.expect_err("a refusal");
    error.problem().unwrap().errors[0].pointer.clone().unwrap()
}

on_both! {
    async fn one_feed_leads_a_tank_at_a_time(world: World) {
        let small = world.greenhouse().await;
        let here = world.ada.site(small.site);
        let second = here.create::<NewCycle>(&cycle(&small, json!({}))).await.unwrap().id;
        let feed = |fields: Value| -> NewFeed {
            let mut body = json!({ "tank_id": small.north_tank, "cycle_id": second, "from_on": "2026-11-17", "leads": true, "plants": 100 });
            for (name, field) in fields.as_object().unwrap() {
                body[name] = field.clone();
            }
            json(body)
        };
        assert_eq!(pointer(here.create::<NewFeed>(&feed(json!({}))).await), "/leads");
        let crowd = feed(json!({ "leads": false, "plants": 101 }));
        assert_eq!(pointer(here.create::<NewFeed>(&crowd).await), "/plants", "its cycle has 100");
        let beside = here.create::<NewFeed>(&feed(json!({ "leads": false }))).await.unwrap();
        assert_eq!(pointer(here.change(&beside, json!({ "leads": true })).await), "/leads");
        let first = here.all::<NewFeed>("").await.unwrap().into_iter().find(|feed| feed.body.leads).unwrap();
        here.change(&first, json!({ "until_on": "2026-11-30" })).await.unwrap();
        assert_eq!(pointer(here.change(&beside, json!({ "leads": true, "from_on": "2026-11-30" })).await), "/leads");
        here.change(&beside, json!({ "leads": true, "from_on": "2026-12-01" })).await.unwrap();
        assert_eq!(pointer(here.create::<NewFeed>(&feed(json!({ "leads": false, "until_on": "2026-11-16" }))).await), "/until_on");
    }

    async fn stages_of_a_cycle_come_in_order(world: World) {
        let small = world.greenhouse().await;
        let here = world.ada.site(small.site);
        let stages = |stages: Value| cycle(&small, json!({ "stages": stages }));
        let vegetative = |from: &str| json!({ "stage": "vegetative", "from_on": from });
        let propagation = |from: &str| json!({ "stage": "propagation", "from_on": from });
        for wrong in [
            json!([propagation("2026-11-24"), vegetative("2026-11-17")]),
            json!([propagation("2026-11-16"), vegetative("2026-11-24")]),
            json!([]),
        ] {
            assert_eq!(pointer(here.create::<NewCycle>(&stages(wrong.clone())).await), "/stages", "{wrong}");
        }
        let early = cycle(&small, json!({ "ends_on": "2026-11-16" }));
        assert_eq!(refusal(here.create::<NewCycle>(&early).await), ProblemCode::Invalid);
        assert_eq!(pointer(here.create::<NewCycle>(&cycle(&small, json!({ "plants": 0 }))).await), "/plants");
        assert_eq!(pointer(here.create::<NewCycle>(&cycle(&small, json!({ "crop_id": Uuid::now_v7() }))).await), "/crop_id");
    }

    async fn what_others_depend_on_is_not_archived(world: World) {
        let small = world.greenhouse().await;
        let (business, here) = (world.ada.business(), world.ada.site(small.site));
        let tank = here.read::<NewTank>(small.north_tank).await.unwrap();
        assert_eq!(refusal(here.archive(&tank).await), ProblemCode::Conflict);
        let room = here.read::<NewRoom>(small.north_room).await.unwrap();
        assert_eq!(refusal(here.archive(&room).await), ProblemCode::Conflict);
        let crop = business.read::<NewCrop>(small.crop).await.unwrap();
        assert_eq!(refusal(business.archive(&crop).await), ProblemCode::Conflict);
        let programme = business.read::<NewProgramme>(small.programme).await.unwrap();
        assert_eq!(refusal(business.archive(&programme).await), ProblemCode::Conflict);
        let site = business.read::<NewSite>(small.site).await.unwrap();
        assert_eq!(refusal(business.archive(&site).await), ProblemCode::Conflict);
        let feed = here.all::<NewFeed>("").await.unwrap().remove(0);
        let feed = here.change(&feed, json!({ "until_on": "2026-11-23" })).await.unwrap();
        here.archive(&feed).await.unwrap();
        here.archive(&tank).await.unwrap();
        let reading = fillmark_tests::greenhouse::reading(small.north_tank, "ph", 6.0, "[pH]", "2026-11-24T07:00:00+01:00");
        assert_eq!(refusal(world.ada.record_reading(small.site, &reading).await), ProblemCode::Invalid);
    }

    async fn what_a_running_cycle_uses_is_ended_before_it_is_archived(world: World) {
        let small = world.greenhouse().await;
        let (business, here) = (world.ada.business(), world.ada.site(small.site));
        let told = |error: fillmark_client::ClientError| error.problem().unwrap().detail.clone();
        let feed = here.all::<NewFeed>("").await.unwrap().remove(0);
        let held = "the running cycle Basil 46 still depends on this feed; end it by until_on first";
        assert_eq!(told(here.archive(&feed).await.unwrap_err()), held);
        let placement = here.all::<NewPlacement>("").await.unwrap().remove(0);
        let held = "the running cycle Basil 46 still depends on this placement; end it by until_on first";
        assert_eq!(told(here.archive(&placement).await.unwrap_err()), held);
        assert_eq!(here.all::<NewPlacement>("").await.unwrap(), std::slice::from_ref(&placement));
        let ended = here.change(&placement, json!({ "until_on": "2026-11-23" })).await.unwrap();
        here.archive(&ended).await.unwrap();
        let revision = business.all::<NewProgrammeRevision>("").await.unwrap().remove(0);
        assert_eq!(told(business.archive(&revision).await.unwrap_err()), "a cycle still depends on this programme revision");
        let mut next = revision.body.clone();
        next.effective_at = Instant(fillmark_tests::world::instant("2026-11-20T00:00:00Z"));
        business.create::<NewProgrammeRevision>(&next).await.unwrap();
        business.archive(&revision).await.unwrap();
    }

    async fn nothing_is_given_or_placed_twice_at_a_time(world: World) {
        let small = world.greenhouse().await;
        let here = world.ada.site(small.site);
        let second = json(json!({ "name": "South room", "room_use": "growing", "hygiene_rank": 2 }));
        let second = here.create::<NewRoom>(&second).await.unwrap().id;
        let half = json!({ "tank_id": small.north_tank, "room_id": second, "from_on": "2026-12-01", "share": 0.5 });
        assert_eq!(pointer(here.create::<NewTankRoom>(&json(half.clone())).await), "/share");
        let whole = here.all::<NewTankRoom>("").await.unwrap().remove(0);
        here.change(&whole, json!({ "share": 0.5 })).await.unwrap();
        let half = here.create::<NewTankRoom>(&json(half)).await.unwrap();
        assert_eq!(pointer(here.change(&half, json!({ "share": 0.6 })).await), "/share");
        let placed = |room: Uuid| json!({ "cycle_id": small.cycle, "room_id": room, "from_on": "2026-11-20", "plants": 20 });
        assert_eq!(pointer(here.create::<NewPlacement>(&json(placed(small.north_room))).await), "/room_id");
        here.create::<NewPlacement>(&json(placed(second))).await.unwrap();
        let (me, _) = world.person("Sam", Role::Staff, Some(small.site)).await;
        let me = me.id;
        let shift = |from: &str, until: &str| json!({ "person_id": me, "day_on": "2026-11-25", "starts_local": from, "ends_local": until });
        let early = here.create::<NewShift>(&json(shift("06:00", "14:00"))).await.unwrap();
        assert_eq!(pointer(here.create::<NewShift>(&json(shift("13:00", "18:00"))).await), "/starts_local");
        here.create::<NewShift>(&json(shift("14:00", "18:00"))).await.unwrap();
        assert_eq!(pointer(here.change(&early, json!({ "ends_local": "14:30" })).await), "/starts_local");
        here.change(&early, json!({ "ends_local": "13:30" })).await.unwrap();
    }

    async fn places_of_another_site_are_not_there(world: World) {
        let feeding = world.feeding().await;
        let small = feeding.here;
        let hill = world.site("Hill").await.id;
        let (_, sam) = world.person("Sam", Role::Manager, Some(hill)).await;
        for part in ["rooms", "tanks", "tank-rooms", "outages", "closures", "water-sources", "cycles", "placements", "feeds", "meters",
            "calibrations", "planned-changes", "offers", "shifts", "absences", "check-plans", "checks", "rounds", "rounds/mine",
            "readings", "additions", "tank-changes", "tank-changes/due", "harvests", "stock", "movements", "shortages", "orders",
            "transfers", "forecast", "alerts", "journal"] {
            let theirs = sam.get::<Value>(&format!("/sites/{}/{part}", small.site)).await;
            assert_eq!(refusal(theirs), ProblemCode::NotFound, "{part}");
        }
        let report = format!("/sites/{}/rooms/{}/report?from_on=2026-11-16&until_on=2026-11-22", small.site, small.north_room);
        assert_eq!(refusal(sam.get::<Value>(&report).await), ProblemCode::NotFound);
        assert_eq!(refusal(sam.site(small.site).read::<NewTank>(small.north_tank).await), ProblemCode::NotFound);
        // Not by way of one's own site either.
        assert_eq!(refusal(sam.site(hill).read::<NewTank>(small.north_tank).await), ProblemCode::NotFound);
        assert_eq!(refusal(sam.record_addition(small.site, &feeding.addition(1.0)).await), ProblemCode::NotFound);
        assert_eq!(refusal(sam.record_addition(hill, &feeding.addition(1.0)).await), ProblemCode::Invalid);
        let change = feeding.change("2026-11-24T06:30:00+01:00", json!({ "products": [] }));
        assert_eq!(refusal(sam.record_tank_change(small.site, &change).await), ProblemCode::NotFound);
        assert_eq!(refusal(sam.record_tank_change(hill, &change).await), ProblemCode::Invalid);
        let drafts = NewDraftOrders { order_by_on: "2026-12-01".parse().unwrap() };
        assert_eq!(refusal(sam.draft_forecast_orders(small.site, &drafts).await), ProblemCode::NotFound);
        let feed = json!({ "tank_id": small.north_tank, "cycle_id": small.cycle, "from_on": "2026-11-17", "leads": true, "plants": 1 });
        assert_eq!(pointer(sam.site(hill).create::<NewFeed>(&json(feed)).await), "/tank_id");
    }
}
