//! The first owner: whoever holds the printed code, once.

use std::sync::Arc;

use fillmark_api::{NewFirstOwner, NewPerson, NewSite, Person, ProblemCode};
use fillmark_client::{Client, ClientError};
use fillmark_server::Running;
use fillmark_tests::fresh::{Fresh, Kind};
use fillmark_tests::world::{PASSWORD, World, instant, refusal};
use fillmark_tests::{MovedClock, on_both};

/// A server on a database in which nobody has a password.
struct Unclaimed {
    server: Running,
    code: String,
    client: Client,
    _fresh: Fresh,
}

impl Unclaimed {
    async fn begin(kind: Kind) -> Unclaimed {
        let fresh = Fresh::new(kind).await;
        let clock = Arc::new(MovedClock::at(instant("2026-11-24T06:00:00Z")));
        let server = fillmark_server::start(&fresh.settings, clock).await.unwrap();
        let code = server.first_owner_code.clone().unwrap();
        let client = Client::new(&server.address).unwrap();
        Unclaimed { server, code, client, _fresh: fresh }
    }

    async fn claim(&self, code: &str, name: &str) -> Result<Person, ClientError> {
        self.client.claim_business(&owner(code, name, PASSWORD)).await
    }
}

fn owner(code: &str, name: &str, password: &str) -> NewFirstOwner {
    NewFirstOwner { code: code.into(), name: name.into(), sign_in: name.into(), password: password.into() }
}

on_both! {
    async fn the_code_makes_its_bearer_the_owner_of_every_site_once(empty: Unclaimed) {
        let ada = empty.claim(&empty.code, "Ada").await.unwrap();
        assert_eq!(ada.body.sign_in.as_deref(), Some("ada"));
        empty.client.sign_in("ada", PASSWORD).await.unwrap();
        empty.client.business().page::<NewSite>("").await.unwrap();
        assert_eq!(refusal(empty.claim(&empty.code, "Bo").await), ProblemCode::Conflict);
        assert_eq!(empty.client.business().all::<NewPerson>("").await.unwrap().len(), 1);
    }

    async fn a_wrong_code_makes_nobody_an_owner(empty: Unclaimed) {
        for code in ["", "0", &"0".repeat(64), &empty.code[1..]] {
            assert_eq!(refusal(empty.claim(code, "Mallory").await), ProblemCode::Invalid);
        }
        empty.claim(&empty.code, "Ada").await.unwrap();
    }

    async fn a_refused_password_leaves_the_code_good(empty: Unclaimed) {
        let short = empty.client.claim_business(&owner(&empty.code, "Ada", "too short")).await;
        assert_eq!(refusal(short), ProblemCode::Invalid);
        let nameless = empty.client.claim_business(&owner(&empty.code, " ", PASSWORD)).await;
        assert_eq!(refusal(nameless), ProblemCode::Invalid);
        empty.claim(&empty.code, "Ada").await.unwrap();
    }

    async fn of_two_claims_at_once_one_is_an_owner(empty: Unclaimed) {
        let (one, other) = tokio::join!(empty.claim(&empty.code, "Ada"), empty.claim(&empty.code, "Bo"));
        let (good, refused) = if one.is_ok() { (one, other) } else { (other, one) };
        assert_eq!(refusal(refused), ProblemCode::Conflict);
        empty.client.sign_in(&good.unwrap().body.name, PASSWORD).await.unwrap();
        assert_eq!(empty.client.business().all::<NewPerson>("").await.unwrap().len(), 1);
    }

    async fn the_code_of_a_server_that_stopped_is_worth_nothing(empty: Unclaimed) {
        let Unclaimed { server, code, _fresh: fresh, .. } = empty;
        server.stop().await;
        let clock = Arc::new(MovedClock::at(instant("2026-11-24T07:00:00Z")));
        let server = fillmark_server::start(&fresh.settings, clock).await.unwrap();
        let client = Client::new(&server.address).unwrap();
        assert_eq!(refusal(client.claim_business(&owner(&code, "Ada", PASSWORD)).await), ProblemCode::Invalid);
    }

    async fn a_business_with_an_owner_offers_nothing(world: World) {
        let world = world.restart().await;
        assert_eq!(world.server.first_owner_code, None);
        let stranger = Client::new(&world.server.address).unwrap();
        let claim = stranger.claim_business(&owner(&"0".repeat(64), "Mallory", PASSWORD)).await;
        assert_eq!(refusal(claim), ProblemCode::Conflict);
    }
}
