//! A server with an owner who is signed in: where a claim begins.

use std::sync::Arc;

use chrono::{DateTime, Utc};
use fillmark_actions::people;
use fillmark_api::*;
use fillmark_client::Client;
use fillmark_domain::people::{Person as PersonWord, Role as RoleWord};
use fillmark_server::{Running, Settings};
use serde_json::Value;
use uuid::Uuid;

use crate::MovedClock;
use crate::fresh::{Fresh, Kind};

/// What everybody signs in with here.
pub const PASSWORD: &str = "a long enough password";

/// A server, its clock, and its owner.
pub struct World {
    /// Moves only when a claim moves it.
    pub clock: Arc<MovedClock>,
    /// Ada, the owner, signed in.
    pub ada: Client,
    /// The server.
    pub server: Running,
    /// Which database it is on.
    pub kind: Kind,
    fresh: Fresh,
}

/// Claims something on both databases.
#[macro_export]
macro_rules! on_both {
    ($($(#[$meta:meta])* async fn $claim:ident($world:ident: $kind:ty) $body:block)+) => {
        $($(#[$meta])*
        mod $claim {
            use super::*;

            async fn claim($world: $kind) $body

            #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn on_sqlite() {
                claim(<$kind>::begin($crate::fresh::Kind::Sqlite).await).await;
            }

            #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn on_postgres() {
                claim(<$kind>::begin($crate::fresh::Kind::Postgres).await).await;
            }
        })+
    };
}

/// An instant from its text.
#[track_caller]
pub fn instant(text: &str) -> DateTime<Utc> {
    text.parse().expect("an instant")
}

impl World {
    /// A fresh world on the morning of 24 November 2026.
    pub async fn begin(kind: Kind) -> World {
        Self::begin_at(kind, instant("2026-11-24T06:00:00Z")).await
    }

    /// A fresh world at an instant.
    pub async fn begin_at(kind: Kind, at: DateTime<Utc>) -> World {
        Self::begin_on(Fresh::new(kind).await, kind, at).await
    }

    /// A world on a database that has no people yet.
    pub async fn begin_on(fresh: Fresh, kind: Kind, at: DateTime<Utc>) -> World {
        let clock = Arc::new(MovedClock::at(at));
        let server = fillmark_server::start(&fresh.settings, clock.clone()).await.expect("a server");
        let ada = PersonWord { name: "Ada Brook".into(), sign_in: Some("ada".into()) };
        people::make_owner(&server.app, ada, PASSWORD.into()).await.expect("an owner");
        let client = Client::new(&server.address).expect("a client");
        client.sign_in("ada", PASSWORD).await.expect("a session");
        World { clock, ada: client, server, kind, fresh }
    }

    /// A site that works on all weekdays.
    pub async fn site(&self, name: &str) -> Site {
        self.site_in(name, "Europe/Berlin").await
    }

    /// A site in a time zone.
    pub async fn site_in(&self, name: &str, zone: &str) -> Site {
        let body = json(serde_json::json!({
            "name": name, "time_zone": zone, "currency": "EUR",
            "working_week": ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"],
        }));
        self.ada.business().create::<NewSite>(&body).await.expect("a site")
    }

    /// A person with a role at a site, or everywhere, signed in.
    pub async fn person(&self, name: &str, role: RoleWord, site: Option<Uuid>) -> (Person, Client) {
        let business = self.ada.business();
        let body = NewPerson { name: name.into(), sign_in: Some(name.to_lowercase()) };
        let person = business.create(&body).await.expect("a person");
        self.ada
            .put(
                &format!("/people/{}/password", person.id),
                &NewPassword { password: PASSWORD.into(), present_password: None },
            )
            .await
            .expect("a password");
        let from_at = Instant(self.server.app.now());
        let membership =
            NewMembership { person_id: person.id, site_id: site, role: Code(role), from_at, until_at: None };
        business.create(&membership).await.expect("a membership");
        let client = Client::new(&self.server.address).expect("a client");
        client.sign_in(name, PASSWORD).await.expect("a session");
        (person, client)
    }

    /// What the server was started with.
    pub fn settings(&self) -> &Settings {
        &self.fresh.settings
    }

    /// Stops the server and leaves its database.
    pub async fn leave(self) -> Fresh {
        self.server.stop().await;
        self.fresh
    }

    /// Stops the server and starts it again on the same database.
    pub async fn restart(self) -> World {
        let World { clock, server, kind, fresh, .. } = self;
        server.stop().await;
        let server = fillmark_server::start(&fresh.settings, clock.clone()).await.expect("a server");
        let client = Client::new(&server.address).expect("a client");
        client.sign_in("ada", PASSWORD).await.expect("a session");
        World { clock, ada: client, server, kind, fresh }
    }
}

/// A body from its JSON.
#[track_caller]
pub fn json<B: serde::de::DeserializeOwned>(value: Value) -> B {
    serde_json::from_value(value).expect("a body of this form")
}

/// The code of the problem a call was refused with.
#[track_caller]
pub fn refusal<T: std::fmt::Debug>(answer: Result<T, fillmark_client::ClientError>) -> ProblemCode {
    let error = answer.expect_err("a refusal");
    error.problem().unwrap_or_else(|| panic!("a problem, found {error}")).code
}
