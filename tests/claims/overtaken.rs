//! Rounds that the day has overtaken: the beat publishes them anew.

use chrono::NaiveDate;
use fillmark_api::*;
use fillmark_client::Client;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, json};
use serde_json::json;
use uuid::Uuid;

const TODAY: &str = "2026-11-24";

/// A room that Sam and Kim look round, as published for today, and the plan of it.
struct Day {
    site: Uuid,
    room: Uuid,
    people: Vec<(Uuid, Client)>,
    plan: CheckPlan,
}

async fn day(world: &World) -> Day {
    let site = world.site("Harbour").await.id;
    let room = world.room(site, "North room", "growing", 1).await;
    let plan = world.check_plan(site, json!({ "room_id": room })).await;
    let mut people = Vec::new();
    for name in ["Sam", "Kim"] {
        let (person, client) = world.person(name, Role::Staff, Some(site)).await;
        world.shift(site, person.id, TODAY).await;
        people.push((person.id, client));
    }
    world.beat().await;
    Day { site, room, people, plan }
}

impl Day {
    /// The number of the publication in force, and its steps: whose, what, when.
    async fn steps(&self, world: &World) -> (i64, Vec<(Uuid, String, String)>) {
        let today: NaiveDate = TODAY.parse().unwrap();
        let rounds = world.ada.rounds(self.site, Some(today)).await.unwrap();
        let of = |round: &Round| {
            let step = |step: &RoundStep| {
                let name = step.check.as_ref().map_or("gone".to_owned(), |check| check.name.clone());
                (round.person_id, name, step.starts_at.0.format("%H:%M").to_string())
            };
            round.steps.iter().map(step).collect::<Vec<_>>()
        };
        (rounds.number, rounds.rounds.iter().flat_map(of).collect())
    }

    fn other(&self, person: Uuid) -> Uuid {
        self.people.iter().map(|(id, _)| *id).find(|id| *id != person).unwrap()
    }
}

on_both! {
    async fn a_check_that_comes_since_is_in_a_round_at_the_next_beat(world: World) {
        let day = day(&world).await;
        world.check_plan(day.site, json!({ "name": "Count flies", "room_id": day.room, "starts_local": "2026-01-01T10:00:00" })).await;
        world.beat().await;
        let (number, steps) = day.steps(&world).await;
        let told: Vec<_> = steps.iter().map(|(_, name, at)| (name.as_str(), at.as_str())).collect();
        assert_eq!((number, told), (2, vec![("Look round", "07:00"), ("Count flies", "09:00")]));
        world.beat().await;
        assert_eq!(day.steps(&world).await.0, 2, "and no more is published than there is to tell");
    }

    async fn a_check_that_its_plan_puts_to_another_time_is_done_then_and_one_taken_back_is_in_no_round(world: World) {
        let day = day(&world).await;
        let here = world.ada.site(day.site);
        let later = json!({ "starts_local": "2026-01-01T13:00:00" });
        let changed = here.change(&day.plan, later).await.unwrap();
        world.beat().await;
        let (number, steps) = day.steps(&world).await;
        assert_eq!((number, steps.len(), steps[0].1.as_str(), steps[0].2.as_str()), (2, 1, "Look round", "12:00"));
        here.archive(&changed).await.unwrap();
        world.beat().await;
        assert_eq!(day.steps(&world).await, (3, vec![]));
        world.beat().await;
        assert_eq!(day.steps(&world).await.0, 3);
    }

    async fn who_falls_ill_has_nothing_to_do_at_the_next_beat(world: World) {
        let day = day(&world).await;
        let (holder, _, _) = day.steps(&world).await.1.remove(0);
        world.clock.set(instant("2026-11-24T07:20:00Z"));
        let ill = json!({ "person_id": holder, "from_at": "2026-11-24T07:20:00Z", "until_at": "2026-11-24T18:00:00Z", "reason": "sick" });
        world.ada.site(day.site).create::<NewAbsence>(&json(ill)).await.unwrap();
        world.beat().await;
        let (number, steps) = day.steps(&world).await;
        assert_eq!((number, steps), (2, vec![(day.other(holder), "Look round".into(), "07:20".into())]));
        world.beat().await;
        assert_eq!(day.steps(&world).await.0, 2);
    }

    async fn nobody_works_on_a_day_on_which_the_site_is_closed(world: World) {
        let day = day(&world).await;
        let (sam, here) = (day.people[0].0, world.ada.site(day.site));
        let closed = json!({ "from_on": "2026-11-25", "until_on": "2026-11-26", "reason": "Fair" });
        world.shift(day.site, sam, "2026-11-25").await;
        world.beat().await;
        let tomorrow = async || world.ada.rounds(day.site, Some("2026-11-25".parse().unwrap())).await.unwrap();
        assert_eq!((tomorrow().await.rounds.len(), tomorrow().await.left.len()), (1, 0));
        here.create::<NewClosure>(&json(closed)).await.unwrap();
        world.beat().await;
        world.beat().await;
        let rounds = tomorrow().await;
        assert_eq!((rounds.number, rounds.rounds.len(), rounds.left.len()), (2, 0, 1));
        let shift = json!({ "person_id": sam, "day_on": "2026-11-26", "starts_local": "07:00", "ends_local": "15:00" });
        let fault = here.create::<NewShift>(&json(shift)).await.unwrap_err().problem().unwrap().errors[0].clone();
        assert_eq!((fault.pointer.as_deref(), fault.code.as_str()), (Some("/day_on"), "closed"));
        assert!(fault.detail.contains("closed from 2026-11-25 to 2026-11-26"), "{}", fault.detail);
    }

    async fn of_two_who_do_it_together_one_leaves_and_the_other_keeps_it(world: World) {
        let day = day(&world).await;
        let lift = json!({ "name": "Lift trays", "room_id": day.room, "two_people": true, "starts_local": "2026-01-01T10:00:00" });
        world.check_plan(day.site, lift).await;
        world.beat().await;
        world.clock.set(instant("2026-11-24T09:05:00Z"));
        let checks = world.ada.all_checks(day.site, "due_on=2026-11-24").await.unwrap();
        let both = checks.iter().find(|check| check.name == "Lift trays").unwrap().id;
        let (kim, by_kim) = &day.people[1];
        by_kim.open_check(day.site, both).await.unwrap();
        let sam = world.ada.business().read::<NewPerson>(day.people[0].0).await.unwrap();
        world.ada.business().archive(&sam).await.unwrap();
        world.beat().await;
        let (number, steps) = day.steps(&world).await;
        let of_both: Vec<_> = steps.iter().filter(|(_, name, _)| name == "Lift trays").map(|(person, ..)| *person).collect();
        assert_eq!(of_both, [*kim]);
        world.beat().await;
        assert_eq!(day.steps(&world).await.0, number, "published once");
    }

    async fn what_somebody_has_begun_stays_with_them_when_they_go(world: World) {
        let day = day(&world).await;
        let rounds = world.ada.rounds(day.site, Some(TODAY.parse().unwrap())).await.unwrap();
        let (holder, check) = (rounds.rounds[0].person_id, rounds.rounds[0].steps[0].check_id);
        world.clock.set(instant("2026-11-24T07:05:00Z"));
        let (_, own) = day.people.iter().find(|(id, _)| *id == holder).unwrap();
        own.open_check(day.site, check).await.unwrap();
        let ill = json!({ "person_id": holder, "from_at": "2026-11-24T07:10:00Z", "until_at": "2026-11-24T18:00:00Z", "reason": "sick" });
        world.ada.site(day.site).create::<NewAbsence>(&json(ill)).await.unwrap();
        world.beat().await;
        let (number, steps) = day.steps(&world).await;
        assert_eq!((number, steps.len(), steps[0].0), (1, 1, holder));
    }
}
