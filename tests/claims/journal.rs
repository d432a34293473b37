//! The journal: what was done, by whom, and who may read it.

use chrono::TimeDelta;
use fillmark_api::{NewRoom, ProblemCode};
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, refusal};
use serde_json::json;

on_both! {
    async fn every_change_of_a_record_is_in_the_journal(world: World) {
        let site = world.site("Harbour").await.id;
        let room = world.room(site, "North room", "growing", 1).await;
        world.clock.advance(TimeDelta::minutes(5));
        let rooms = world.ada.site(site);
        let seen = rooms.read::<NewRoom>(room).await.unwrap();
        let seen = rooms.change(&seen, json!({ "name": "Far north" })).await.unwrap();
        rooms.archive(&seen).await.unwrap();
        let entries = world.ada.site_journal(site, &format!("record_id={room}")).await.unwrap().items;
        let deeds: Vec<_> = entries.iter().map(|entry| (entry.deed.as_str(), entry.word.as_str())).collect();
        assert_eq!(deeds, [("created", "room"), ("changed", "room"), ("archived", "room")]);
        assert_eq!(entries[1].detail["name"], "Far north");
        assert!(entries.iter().all(|entry| entry.person_id.is_some()));
        let before = format!("record_id={room}&recorded_before={}", entries[1].at.text());
        assert_eq!(world.ada.site_journal(site, &before).await.unwrap().items, entries[..1]);
        let newest = world.ada.site_journal(site, "word=room&sort=-id&limit=1").await.unwrap().items;
        assert_eq!(newest, entries[2..]);
    }

    async fn a_site_has_a_journal_and_the_business_another(world: World) {
        let (harbour, hill) = (world.site("Harbour").await.id, world.site("Hill").await.id);
        world.room(harbour, "North room", "growing", 1).await;
        let (_, mia) = world.person("Mia", Role::Manager, Some(hill)).await;
        assert_eq!(refusal(mia.site_journal(harbour, "").await), ProblemCode::NotFound);
        assert_eq!(mia.site_journal(hill, "").await.unwrap().items, []);
        let sites = world.ada.journal("word=site&deed=created").await.unwrap().items;
        assert_eq!(sites.iter().map(|entry| entry.record_id).collect::<Vec<_>>(), [harbour, hill]);
        assert_eq!(world.ada.journal("word=room").await.unwrap().items, []);
    }
}
