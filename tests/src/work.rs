//! Work on the small site: plans, shifts, and a heartbeat by hand.

use fillmark_actions::work;
use fillmark_api::*;
use serde_json::{Value, json as value};
use uuid::Uuid;

use crate::World;
use crate::world::json;

impl World {
    /// One heartbeat now.
    pub async fn beat(&self) {
        work::beat(&self.server.app).await.expect("a beat");
    }

    /// A check plan: an inspection of a place with a window of an hour and a limit of four, but for these fields.
    pub async fn check_plan(&self, site: Uuid, fields: Value) -> CheckPlan {
        let mut body = value!({ "name": "Look round", "task": "inspect", "rule": "FREQ=DAILY",
            "starts_local": "2026-01-01T08:00:00", "window_min": 60, "limit_min": 240, "work_min": 10 });
        for (name, field) in fields.as_object().expect("fields") {
            body[name] = field.clone();
        }
        self.ada.site(site).create::<NewCheckPlan>(&json(body)).await.expect("a check plan")
    }

    /// A shift from seven to half past three.
    pub async fn shift(&self, site: Uuid, person: Uuid, day: &str) -> Shift {
        let body = value!({ "person_id": person, "day_on": day, "starts_local": "07:00:00", "ends_local": "15:30:00" });
        self.ada.site(site).create::<NewShift>(&json(body)).await.expect("a shift")
    }

    /// A room of a use and hygiene rank.
    pub async fn room(&self, site: Uuid, name: &str, room_use: &str, rank: u8) -> Uuid {
        let body = value!({ "name": name, "room_use": room_use, "hygiene_rank": rank });
        self.ada.site(site).create::<NewRoom>(&json(body)).await.expect("a room").id
    }
}

/// That something was seen at an instant.
pub fn seen(done_at: &str, note: &str) -> NewCompletion {
    json(value!({ "client_id": Uuid::new_v4(), "done_at": done_at, "note": note }))
}
