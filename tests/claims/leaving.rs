//! Who leaves: roles and sessions end, work is handed on, and the name can be erased while all that was done stays.

use fillmark_api::*;
use fillmark_client::Client;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::rows::number;
use fillmark_tests::work::seen;
use fillmark_tests::world::{PASSWORD, World, instant, json, refusal};
use serde_json::json;
use uuid::Uuid;

const TODAY: &str = "2026-11-24";
const TOMORROW: &str = "2026-11-25";

/// A site whose one room is looked round thrice a day, Sam on shift.
async fn with_sam(world: &World) -> (Uuid, Person, Client) {
    let site = world.site("Harbour").await.id;
    let room = world.room(site, "North room", "growing", 1).await;
    for name in ["Morning", "Forenoon", "Noon"] {
        world.check_plan(site, json!({ "name": name, "room_id": room })).await;
    }
    let (sam, client) = world.person("Sam", Role::Staff, Some(site)).await;
    world.shift(site, sam.id, TODAY).await;
    world.shift(site, sam.id, TOMORROW).await;
    world.beat().await;
    (site, sam, client)
}

fn steps_of(rounds: &Rounds, person: Uuid) -> usize {
    rounds.rounds.iter().filter(|round| round.person_id == person).map(|round| round.steps.len()).sum()
}

on_both! {
    async fn what_was_to_be_done_is_handed_on_and_what_was_done_stays(world: World) {
        let (site, sam, client) = with_sam(&world).await;
        world.clock.set(instant("2026-11-24T07:05:00Z"));
        let own = client.my_round(site, None).await.unwrap();
        client.settle_check(site, own.steps[0].check_id, &seen("2026-11-24T07:04:00Z", "all well")).await.unwrap();
        client.open_check(site, own.steps[1].check_id).await.unwrap();
        let (kim, _) = world.person("Kim", Role::Staff, Some(site)).await;
        world.shift(site, kim.id, TODAY).await;
        world.shift(site, kim.id, TOMORROW).await;

        world.ada.business().archive(&sam).await.unwrap();
        world.beat().await;
        let today = world.ada.rounds(site, Some(TODAY.parse().unwrap())).await.unwrap();
        assert_eq!((steps_of(&today, sam.id), steps_of(&today, kim.id)), (1, 2));
        let tomorrow = world.ada.rounds(site, Some(TOMORROW.parse().unwrap())).await.unwrap();
        assert_eq!((steps_of(&tomorrow, sam.id), steps_of(&tomorrow, kim.id)), (0, 3));
        world.beat().await;
        let again = world.ada.rounds(site, Some(TODAY.parse().unwrap())).await.unwrap();
        assert_eq!(again.number, today.number, "what is handed on is not handed on again");
    }

    async fn who_has_left_is_let_in_no_more(world: World) {
        let (_, sam, client) = with_sam(&world).await;
        world.ada.business().archive(&sam).await.unwrap();
        assert_eq!(refusal(client.business().page::<NewSite>("").await), ProblemCode::NotSignedIn);
        assert_eq!(refusal(client.sign_in("sam", PASSWORD).await.map(drop)), ProblemCode::NotSignedIn);
        let held = world.ada.business().all::<NewMembership>(&format!("person_id={}", sam.id)).await.unwrap();
        // The role began and ended in the same instant of this claim, so there never was one.
        assert!(held.iter().all(|role| role.body.until_at.is_some()), "{held:?}");
    }

    async fn a_role_ends_when_its_bearer_leaves(world: World) {
        let (site, _, _) = with_sam(&world).await;
        let (kim, _) = world.person("Kim", Role::Manager, Some(site)).await;
        world.clock.set(instant("2026-11-24T09:00:00Z"));
        world.ada.business().archive(&kim).await.unwrap();
        let held = world.ada.business().all::<NewMembership>(&format!("person_id={}", kim.id)).await.unwrap();
        assert_eq!(held[0].body.until_at, Some(Instant(instant("2026-11-24T09:00:00Z"))));
    }

    async fn a_name_is_erased_and_the_journal_stays_whole(world: World) {
        let (site, sam, client) = with_sam(&world).await;
        world.clock.set(instant("2026-11-24T07:05:00Z"));
        let own = client.my_round(site, None).await.unwrap();
        client.settle_check(site, own.steps[0].check_id, &seen("2026-11-24T07:04:00Z", "all well")).await.unwrap();
        assert_eq!(refusal(world.ada.erase_name(sam.id).await), ProblemCode::Conflict);
        world.ada.business().archive(&sam).await.unwrap();
        world.ada.erase_name(sam.id).await.unwrap();
        let left = world.ada.business().read::<NewPerson>(sam.id).await.unwrap();
        assert!(left.body.name.starts_with("Former colleague "), "{}", left.body.name);
        assert_eq!(left.body.sign_in, None);
        let check = world.ada.check(site, own.steps[0].check_id).await.unwrap();
        assert_eq!(check.state_by, Some(sam.id), "what was done stays signed");
        fillmark_actions::journal::seal(&world.server.app).await.unwrap();
        fillmark_server::commands::verify(&world.server.app).await.unwrap();
    }

    async fn answers_kept_for_retries_go_with_the_name(world: World) {
        let (site, sam, client) = with_sam(&world).await;
        let room = world.room(site, "East room", "growing", 1).await;
        let note = json(json!({ "room_id": room, "text": "Sam has heard the pump hum" }));
        client.write_handover_note(site, &note).await.unwrap();
        let told = async || {
            let query = "select count(*) from kept_answers where replace(body, 'Sam', '') <> body";
            number(&world.server.app.store, query).await
        };
        assert_eq!(told().await, 2, "that which made Sam, and that to Sam");
        world.ada.business().archive(&sam).await.unwrap();
        world.ada.erase_name(sam.id).await.unwrap();
        assert_eq!(told().await, 0);
    }

    async fn a_manager_erases_nobody_above(world: World) {
        let (site, sam, client) = with_sam(&world).await;
        let (_, manager) = world.person("Mia", Role::Manager, Some(site)).await;
        let (olga, _) = world.person("Olga", Role::Owner, None).await;
        world.clock.set(instant("2026-11-24T07:05:00Z"));
        world.ada.business().archive(&olga).await.unwrap();
        assert_eq!(refusal(manager.erase_name(olga.id).await), ProblemCode::NotAllowed);
        assert_eq!(refusal(client.erase_name(sam.id).await), ProblemCode::Conflict);
        assert_eq!(refusal(client.erase_name(olga.id).await), ProblemCode::NotAllowed);
    }
}
