//! What people may do to people, and what of them the journal tells.

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_client::Client;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, json, refusal};
use sea_orm_migration::sea_orm::ConnectionTrait;
use serde_json::json;
use uuid::Uuid;

fn membership(person: Uuid, site: Option<Uuid>, role: &str) -> NewMembership {
    json(json!({ "person_id": person, "site_id": site, "role": role, "from_at": "2026-11-24T00:00:00Z" }))
}

fn password() -> NewPassword {
    NewPassword { password: "quite another password".into(), present_password: None }
}

async fn owner_of_all(world: &World) -> (Person, Membership) {
    let business = world.ada.business();
    let ada = business.all::<NewPerson>("").await.unwrap().remove(0);
    let held = business.all::<NewMembership>(&format!("person_id={}", ada.id)).await.unwrap().remove(0);
    (ada, held)
}

on_both! {
    async fn a_manager_gives_no_role_above_or_beyond_their_own(world: World) {
        let (here, elsewhere) = (world.site("Harbour").await.id, world.site("Quay").await.id);
        let (mia, manager) = world.person("Mia", Role::Manager, Some(here)).await;
        let business = manager.business();
        for (site, role) in [(None, "owner"), (Some(here), "owner"), (Some(elsewhere), "staff"), (None, "auditor")] {
            let given = business.create(&membership(mia.id, site, role)).await;
            assert_eq!(refusal(given), ProblemCode::NotAllowed, "{role} at {site:?}");
        }
        let given = business.create(&membership(mia.id, Some(here), "staff")).await.unwrap();
        let raised = business.change(&given, json!({ "role": "owner" })).await;
        assert_eq!(refusal(raised), ProblemCode::NotAllowed);
    }

    async fn a_manager_takes_nothing_from_an_owner(world: World) {
        let here = world.site("Harbour").await.id;
        let (_, manager) = world.person("Mia", Role::Manager, Some(here)).await;
        let (ada, held) = owner_of_all(&world).await;
        let business = manager.business();
        assert_eq!(refusal(business.archive(&held).await), ProblemCode::NotAllowed);
        assert_eq!(refusal(business.archive(&ada).await), ProblemCode::NotAllowed);
        assert_eq!(refusal(business.change(&ada, json!({ "sign_in": "mallory" })).await), ProblemCode::NotAllowed);
        let set = manager.put(&format!("/people/{}/password", ada.id), &password()).await;
        assert_eq!(refusal(set), ProblemCode::NotAllowed);
    }

    async fn one_s_own_password_is_changed_by_who_knows_it(world: World) {
        let here = world.site("Harbour").await.id;
        let (mia, by_mia) = world.person("Mia", Role::Manager, Some(here)).await;
        let path = format!("/people/{}/password", mia.id);
        let set = async |password: &str, present: Option<&str>| {
            let body = NewPassword { password: password.into(), present_password: present.map(Into::into) };
            by_mia.put(&path, &body).await.map_err(|error| {
                let fault = error.problem().unwrap().errors[0].clone();
                (fault.pointer.unwrap(), fault.code)
            })
        };
        let refused = |pointer: &str, code: &str| Err((pointer.to_owned(), code.to_owned()));
        assert_eq!(set("quite another password", None).await, refused("/present_password", "needed"));
        let wrong = set("quite another password", Some("not the one of Mia")).await;
        assert_eq!(wrong, refused("/present_password", "wrong_password"));
        let present = Some(fillmark_tests::world::PASSWORD);
        for easy in ["harbourharbourharbour", "fillmarkfillmark", "miamiamiamiamiamia"] {
            assert_eq!(set(easy, present).await, refused("/password", "easy_password"), "{easy}");
        }
        set("quite another password", present).await.unwrap();
    }

    async fn a_present_password_is_not_guessed_on_a_phone_found_unlocked(world: World) {
        let (mia, by_mia) = world.person("Mia", Role::Manager, None).await;
        let path = format!("/people/{}/password", mia.id);
        let guess = |present: &str| NewPassword { present_password: Some(present.into()), ..password() };
        for number in 0..5 {
            let wrong = by_mia.put(&path, &guess(&format!("not the one of Mia {number}"))).await;
            assert_eq!(refusal(wrong), ProblemCode::Invalid);
        }
        assert_eq!(refusal(by_mia.put(&path, &guess(PASSWORD)).await), ProblemCode::Throttled);
        world.clock.advance(TimeDelta::seconds(60));
        by_mia.put(&path, &guess(PASSWORD)).await.unwrap();
    }

    async fn an_owner_of_one_site_changes_no_other(world: World) {
        let (here, elsewhere) = (world.site("Harbour").await, world.site("Quay").await);
        let (_, owner) = world.person("Olga", Role::Owner, Some(here.id)).await;
        owner.business().change(&here, json!({ "name": "Harbour Street" })).await.unwrap();
        let changed = owner.business().change(&elsewhere, json!({ "name": "Mine" })).await;
        assert_eq!(refusal(changed), ProblemCode::NotFound);
    }

    async fn the_last_owner_stays(world: World) {
        let (ada, held) = owner_of_all(&world).await;
        let business = world.ada.business();
        assert_eq!(refusal(business.archive(&ada).await), ProblemCode::Conflict);
        assert_eq!(refusal(business.archive(&held).await), ProblemCode::Conflict);
        assert_eq!(refusal(business.change(&held, json!({ "role": "auditor" })).await), ProblemCode::Conflict);
        world.person("Olga", Role::Owner, None).await;
        business.archive(&held).await.unwrap();
    }

    async fn only_ones_own_sites_are_listed(world: World) {
        let (here, _) = (world.site("Harbour").await.id, world.site("Quay").await.id);
        let (_, sam) = world.person("Sam", Role::Staff, Some(here)).await;
        let seen = sam.business().all::<NewSite>("").await.unwrap();
        assert_eq!(seen.iter().map(|site| site.id).collect::<Vec<_>>(), [here]);
        assert_eq!(world.ada.business().all::<NewSite>("").await.unwrap().len(), 2);
    }

    async fn who_is_put_away_is_signed_out(world: World) {
        let here = world.site("Harbour").await.id;
        let (sam, client) = world.person("Sam", Role::Staff, Some(here)).await;
        client.site(here).page::<NewRoom>("").await.unwrap();
        world.ada.business().archive(&sam).await.unwrap();
        assert_eq!(refusal(client.site(here).page::<NewRoom>("").await), ProblemCode::NotSignedIn);
    }

    async fn a_role_that_cannot_be_read_is_a_fault_and_no_missing_role(world: World) {
        let here = world.site("Harbour").await.id;
        let (_, client) = world.person("Sam", Role::Staff, Some(here)).await;
        let spoil = "update memberships set role = 'emperor' where role = 'staff'";
        world.server.app.store.for_migrations().execute_unprepared(spoil).await.unwrap();
        assert_eq!(refusal(client.site(here).page::<NewRoom>("").await), ProblemCode::Failed);
    }

    async fn a_new_password_ends_all_other_sessions(world: World) {
        let here = world.site("Harbour").await.id;
        let (sam, client) = world.person("Sam", Role::Staff, Some(here)).await;
        let phone = Client::new(&world.server.address).unwrap();
        phone.sign_in("sam", PASSWORD).await.unwrap();
        client.put(&format!("/people/{}/password", sam.id), &NewPassword { present_password: Some(PASSWORD.into()), ..password() }).await.unwrap();
        client.site(here).page::<NewRoom>("").await.unwrap();
        assert_eq!(refusal(phone.site(here).page::<NewRoom>("").await), ProblemCode::NotSignedIn);
    }

    async fn the_journal_holds_no_names_of_people(world: World) {
        let here = world.site("Harbour").await.id;
        let (sam, _) = world.person("Samantha", Role::Staff, Some(here)).await;
        world.ada.business().change(&sam, json!({ "name": "Samira" })).await.unwrap();
        let journal = world.ada.get::<serde_json::Value>("/journal?limit=200").await.unwrap().to_string();
        assert!(journal.contains(&sam.id.to_string()));
        for name in ["Samantha", "samantha", "Samira"] {
            assert!(!journal.contains(name), "{name} in {journal}");
        }
    }
}
