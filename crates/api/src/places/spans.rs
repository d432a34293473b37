//! Dated facts of places: closures, which rooms a tank feeds, days out of use.

use chrono::NaiveDate;
use fillmark_domain::places as words;
use fillmark_domain::{Days, Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Body, Patch, Stored};

/// A closure as kept.
pub type Closure = Stored<NewClosure>;
/// A change of a closure.
pub type ClosurePatch = Patch<NewClosure>;

/// Days on which nobody works at a site though its week says so: shifts of such a day count for nothing, and none is taken.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"from_on": "2026-12-24", "until_on": "2027-01-01", "reason": "year's end"}))]
pub struct NewClosure {
    /// First day.
    pub from_on: NaiveDate,
    /// Last day.
    pub until_on: NaiveDate,
    /// Why, in a few words.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

impl Body for NewClosure {
    type Word = words::Closure;

    fn word(&self) -> Result<words::Closure, Faults> {
        let mut faults = Faults::default();
        faults.text("/reason", &self.reason, 500);
        faults.or(Some(words::Closure {
            days: Days { from: self.from_on, until: self.until_on },
            reason: self.reason.clone(),
        }))
    }

    fn of(word: &words::Closure) -> Self {
        Self { from_on: word.days.from, until_on: word.days.until, reason: word.reason.clone() }
    }
}

/// A tank's room as kept.
pub type TankRoom = Stored<NewTankRoom>;
/// A change of a tank's room.
pub type TankRoomPatch = Patch<NewTankRoom>;

/// Which room a tank feeds from when until when.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000001", "room_id": "019a0000-0000-7000-8000-000000000002", "from_on": "2026-01-01", "until_on": null, "share": 1.0}))]
pub struct NewTankRoom {
    /// The tank.
    pub tank_id: Uuid,
    /// The room it feeds.
    pub room_id: Uuid,
    /// First day.
    pub from_on: NaiveDate,
    /// Last day; null while it is open.
    #[serde(default)]
    pub until_on: Option<NaiveDate>,
    /// The room's share of what the tank gives, by plants or area.
    #[schema(minimum = 0.0, maximum = 1.0)]
    pub share: f64,
}

impl Body for NewTankRoom {
    type Word = words::TankRoom;

    fn word(&self) -> Result<words::TankRoom, Faults> {
        Faults::default().or(Some(words::TankRoom {
            tank: Id::new(self.tank_id),
            room: Id::new(self.room_id),
            from: self.from_on,
            until: self.until_on,
            share: self.share,
        }))
    }

    fn of(word: &words::TankRoom) -> Self {
        Self {
            tank_id: word.tank.uuid(),
            room_id: word.room.uuid(),
            from_on: word.from,
            until_on: word.until,
            share: word.share,
        }
    }
}

/// Days out of use as kept.
pub type Outage = Stored<NewOutage>;
/// A change of days out of use.
pub type OutagePatch = Patch<NewOutage>;

/// Days on which a tank is out of use: its checks are excused and its forecast rests.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000001", "from_on": "2026-07-01", "until_on": "2026-07-14", "reason": "new pump"}))]
pub struct NewOutage {
    /// The tank.
    pub tank_id: Uuid,
    /// First day.
    pub from_on: NaiveDate,
    /// Last day; null while it is open.
    #[serde(default)]
    pub until_on: Option<NaiveDate>,
    /// Why, in a few words.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

impl Body for NewOutage {
    type Word = words::OutOfUse;

    fn word(&self) -> Result<words::OutOfUse, Faults> {
        let mut faults = Faults::default();
        faults.text("/reason", &self.reason, 500);
        faults.or(Some(words::OutOfUse {
            tank: Id::new(self.tank_id),
            from: self.from_on,
            until: self.until_on,
            reason: self.reason.clone(),
        }))
    }

    fn of(word: &words::OutOfUse) -> Self {
        Self {
            tank_id: word.tank.uuid(),
            from_on: word.from,
            until_on: word.until,
            reason: word.reason.clone(),
        }
    }
}
