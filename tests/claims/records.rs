//! Records with the common life: made, listed, changed under their version, archived.

use fillmark_api::{NewProduct, NewProgrammeRevision, NewRoom, ProblemCode, Room};
use fillmark_domain::people::Role;
use fillmark_tests::greenhouse::steps;
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

async fn room(world: &World, site: Uuid, name: &str) -> Room {
    let body = json(json!({ "name": name, "room_use": "growing", "hygiene_rank": 1 }));
    world.ada.site(site).create::<NewRoom>(&body).await.unwrap()
}

fn query(text: &str) -> String {
    text.bytes().map(|byte| format!("%{byte:02X}")).collect()
}

on_both! {
    async fn a_change_made_against_an_older_version_is_refused(world: World) {
        let site = world.site("Harbour").await;
        let north = room(&world, site.id, "North room").await;
        let rooms = world.ada.site(site.id);
        let changed = rooms.change(&north, json!({ "name": "Far north" })).await.unwrap();
        assert_eq!((changed.version, changed.body.name.as_str()), (2, "Far north"));
        assert_eq!(changed.body.room_use, north.body.room_use);
        assert_eq!(refusal(rooms.change(&north, json!({ "name": "Near north" })).await), ProblemCode::Stale);
        assert_eq!(rooms.read::<NewRoom>(north.id).await.unwrap(), changed);
    }

    async fn names_are_unique_among_what_is_not_archived(world: World) {
        let site = world.site("Harbour").await;
        let north = room(&world, site.id, "North room").await;
        let again = json(json!({ "name": "North room", "room_use": "growing", "hygiene_rank": 1 }));
        let rooms = world.ada.site(site.id);
        assert_eq!(refusal(rooms.create::<NewRoom>(&again).await), ProblemCode::NameInUse);
        rooms.archive(&north).await.unwrap();
        rooms.create::<NewRoom>(&again).await.unwrap();
        assert_eq!(rooms.all::<NewRoom>("archived=true").await.unwrap().len(), 1);
    }

    async fn pages_lead_through_all_rows_once(world: World) {
        let site = world.site("Harbour").await;
        for number in 0..7 {
            room(&world, site.id, &format!("Room {number}")).await;
        }
        let rooms = world.ada.site(site.id);
        let first = rooms.page::<NewRoom>("limit=3&sort=-name").await.unwrap();
        let cursor = first.next_cursor.clone().unwrap();
        let second = rooms.page::<NewRoom>(&format!("limit=3&sort=-name&cursor={cursor}")).await.unwrap();
        let third = format!("limit=3&sort=-name&cursor={}", second.next_cursor.clone().unwrap());
        let third = rooms.page::<NewRoom>(&third).await.unwrap();
        let names = |page: &fillmark_api::Listed<Room>| page.items.iter().map(|room| room.body.name.clone()).collect::<Vec<_>>();
        assert_eq!([names(&first), names(&second), names(&third)].concat(),
            ["Room 6", "Room 5", "Room 4", "Room 3", "Room 2", "Room 1", "Room 0"]);
        assert_eq!(third.next_cursor, None);
        let elsewhere = rooms.page::<NewRoom>(&format!("limit=3&sort=name&cursor={cursor}")).await;
        let named = elsewhere.as_ref().unwrap_err().problem().unwrap().errors[0].parameter.clone();
        assert_eq!(named.as_deref(), Some("cursor"));
        assert_eq!(refusal(elsewhere), ProblemCode::CursorMismatch);
    }

    async fn names_are_found_by_a_part_in_either_case(world: World) {
        let site = world.site("Harbour").await.id;
        for name in ["Ünnep room", "North [1] 100% *_?", "Été"] {
            room(&world, site, name).await;
        }
        for (part, found) in [("ünNEP", 1), ("ROOM", 1), ("é", 1), ("[1]", 1), ("100% *_?", 1), ("_", 1), ("*", 1), ("n", 2), ("\\", 0), (".", 0)] {
            let rooms = world.ada.site(site).all::<NewRoom>(&format!("q={}", query(part))).await.unwrap();
            assert_eq!(rooms.len(), found, "{part}");
        }
    }

    async fn a_product_that_a_programme_gives_is_not_archived(world: World) {
        let here = world.greenhouse().await;
        let business = world.ada.business();
        let silicate = json(json!({ "name": "Silicate", "base": "mL", "kind": "additive", "mixing_rank": 1 }));
        let silicate = business.create::<NewProduct>(&silicate).await.unwrap();
        let revise = async |from: &str, doses: &[(Uuid, f64)]| {
            let revision = json(json!({ "programme_id": here.programme, "effective_at": from, "steps": steps(doses) }));
            business.create::<NewProgrammeRevision>(&revision).await.unwrap();
        };
        revise("2026-12-01T00:00:00Z", &[(silicate.id, 0.3)]).await;
        let error = business.archive(&silicate).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.detail.as_str()),
            (ProblemCode::Conflict, "a programme still depends on this product"));
        assert_eq!(business.read::<NewProduct>(silicate.id).await.unwrap(), silicate);
        revise("2027-01-01T00:00:00Z", &[]).await;
        world.clock.set(instant("2027-01-02T06:00:00Z"));
        world.ada.sign_in("ada", PASSWORD).await.unwrap();
        business.archive(&silicate).await.unwrap();
    }

    async fn another_sites_record_is_not_there(world: World) {
        let (harbour, hill) = (world.site("Harbour").await, world.site("Hill").await);
        let north = room(&world, harbour.id, "North room").await;
        let (_, mia) = world.person("Mia", Role::Manager, Some(hill.id)).await;
        assert_eq!(refusal(mia.site(harbour.id).read::<NewRoom>(north.id).await), ProblemCode::NotFound);
        assert_eq!(refusal(mia.site(hill.id).read::<NewRoom>(north.id).await), ProblemCode::NotFound);
        assert_eq!(refusal(mia.business().read::<fillmark_api::NewSite>(harbour.id).await), ProblemCode::NotFound);
        mia.business().read::<fillmark_api::NewSite>(hill.id).await.unwrap();
        let (_, sam) = world.person("Sam", Role::Staff, Some(harbour.id)).await;
        sam.site(harbour.id).read::<NewRoom>(north.id).await.unwrap();
        assert_eq!(refusal(sam.site(harbour.id).archive(&north).await), ProblemCode::NotAllowed);
    }

    async fn all_faults_of_a_body_are_told_at_once(world: World) {
        let site = world.site("Harbour").await;
        let body = json(json!({ "name": " ", "room_use": "growing", "hygiene_rank": 1, "growing_area_m2": -1.0,
            "bands": [{ "metric": "ph", "low": 7.0, "aim": 6.0, "high": 6.4 }] }));
        let error = world.ada.site(site.id).create::<NewRoom>(&body).await.unwrap_err();
        let pointers: Vec<_> = error.problem().unwrap().errors.iter().map(|fault| fault.pointer.clone().unwrap()).collect();
        assert_eq!(pointers, ["/name", "/growing_area_m2", "/bands/0"]);
    }
}
