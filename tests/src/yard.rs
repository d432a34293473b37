//! A database with the small site and a full shelf, left by the server that made it: for servers that are processes of
//! their own, and so live in the machine's time.

use chrono::{TimeDelta, Utc};
use uuid::Uuid;

use crate::fresh::{Fresh, Kind};
use crate::world::json;
use crate::{Feeding, World};

/// What stands on the shelf of Grow A, mL: more than any run pours.
const RECEIVED_ML: i64 = 1_000_000;

/// A database that no server is on, and what is in it.
pub struct Yard {
    /// The database. Ada signs in with [`crate::world::PASSWORD`].
    pub fresh: Fresh,
    /// The small site.
    pub feeding: Feeding,
    /// Grow A on the shelf, mL.
    pub received_ml: i64,
}

impl Yard {
    /// Made by a server that has stopped.
    /// # Panics
    /// When it cannot be made.
    pub async fn make(kind: Kind) -> Yard {
        Self::on(Fresh::new(kind).await, kind).await
    }

    /// Made in a database by a server that has stopped.
    /// # Panics
    /// When it cannot be made.
    pub async fn on(fresh: Fresh, kind: Kind) -> Yard {
        let world = World::begin_on(fresh, kind, Utc::now()).await;
        let feeding = world.feeding().await;
        let receipt = json(serde_json::json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a,
            "lot_number": "L1", "expiry_on": (Utc::now() + TimeDelta::days(365)).date_naive(),
            "amount": { "value": RECEIVED_ML, "unit": "mL" }, "done_at": Utc::now().to_rfc3339(),
            "confirmed": true }));
        world.ada.receive_product(feeding.here.site, &receipt).await.expect("a receipt");
        Yard { fresh: world.leave().await, feeding, received_ml: RECEIVED_ML }
    }
}
