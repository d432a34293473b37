//! Signing in, staying signed in, and what ends it.

use chrono::TimeDelta;
use fillmark_api::{NewRoom, NewSession, ProblemCode, Renewal, Session};
use fillmark_client::Client;
use fillmark_domain::people::Role;
use fillmark_tests::on_both;
use fillmark_tests::world::{PASSWORD, World, refusal};

async fn session(client: &Client) -> Session {
    let body = NewSession { sign_in: "ada".into(), password: PASSWORD.into(), device: None };
    client.post("/sessions", &body).await.unwrap()
}

async fn renew(client: &Client, token: &str) -> Result<Session, fillmark_client::ClientError> {
    client.post("/sessions/renewals", &Renewal { refresh_token: token.into() }).await
}

on_both! {
    async fn a_wrong_password_and_an_unknown_name_are_answered_alike(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        let wrong = stranger.sign_in("ada", "not her password").await.err().unwrap();
        let unknown = stranger.sign_in("nobody", "not her password").await.err().unwrap();
        let (wrong, unknown) = (wrong.problem().unwrap().clone(), unknown.problem().unwrap().clone());
        assert_eq!((wrong.code, wrong.detail), (unknown.code, unknown.detail));
    }

    async fn a_session_outlives_its_access_token(world: World) {
        let site = world.site("Harbour").await;
        world.clock.advance(TimeDelta::minutes(30));
        world.ada.site(site.id).page::<NewRoom>("").await.unwrap();
    }

    async fn a_spent_refresh_token_ends_the_session(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        let first = session(&stranger).await;
        let second = renew(&stranger, &first.refresh_token).await.unwrap();
        world.clock.advance(TimeDelta::minutes(1));
        assert_eq!(refusal(renew(&stranger, &first.refresh_token).await.map(|_| ())), ProblemCode::NotSignedIn);
        assert_eq!(refusal(renew(&stranger, &second.refresh_token).await.map(|_| ())), ProblemCode::NotSignedIn);
    }

    async fn an_answer_lost_on_the_way_may_be_asked_for_again(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        let first = session(&stranger).await;
        let lost = renew(&stranger, &first.refresh_token).await.unwrap();
        world.clock.advance(TimeDelta::seconds(5));
        let again = renew(&stranger, &first.refresh_token).await.unwrap();
        assert_eq!(lost.refresh_token, again.refresh_token);
        world.clock.advance(TimeDelta::minutes(5));
        renew(&stranger, &again.refresh_token).await.unwrap();
    }

    async fn two_who_renew_at_once_both_stay_signed_in(world: World) {
        let stranger = Client::new(&world.server.address).unwrap();
        let first = session(&stranger).await;
        let (one, other) = tokio::join!(renew(&stranger, &first.refresh_token), renew(&stranger, &first.refresh_token));
        let (one, other) = (one.unwrap().refresh_token, other.unwrap().refresh_token);
        assert_eq!(one, other);
        world.clock.advance(TimeDelta::minutes(5));
        renew(&stranger, &one).await.unwrap();
    }

    async fn a_role_that_has_ended_opens_nothing(world: World) {
        let site = world.site("Harbour").await;
        let (sam, client) = world.person("Sam", Role::Staff, Some(site.id)).await;
        let business = world.ada.business();
        let query = format!("person_id={}", sam.id);
        let membership = business.all::<fillmark_api::NewMembership>(&query).await.unwrap().remove(0);
        client.site(site.id).page::<NewRoom>("").await.unwrap();
        let until = fillmark_api::Instant(world.server.app.now() + TimeDelta::hours(1)).text();
        business.change(&membership, serde_json::json!({ "until_at": until })).await.unwrap();
        world.clock.advance(TimeDelta::hours(2));
        assert_eq!(refusal(client.site(site.id).page::<NewRoom>("").await), ProblemCode::NotFound);
    }

    async fn signing_out_ends_it(world: World) {
        world.ada.sign_out().await.unwrap();
        assert_eq!(refusal(world.ada.business().page::<fillmark_api::NewSite>("").await), ProblemCode::NotSignedIn);
    }
}
