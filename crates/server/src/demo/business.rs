//! What the parts of the demo hand to each other.

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_actions::Caller;
use fillmark_domain::Id;
use fillmark_domain::entries::Meter;
use fillmark_domain::growing::{CropId, CycleId};
use fillmark_domain::people::{PersonId, Role};
use fillmark_domain::places::{RoomId, SiteId, TankId};
use fillmark_domain::stock::{Offer, ProductId};
use uuid::Uuid;

use super::cast::{CastRoom, CastSite};

/// What the whole business shares.
pub(super) struct Business {
    pub(super) owner: Caller,
    pub(super) people: Vec<PersonId>,
    pub(super) crops: Vec<CropId>,
    pub(super) products: Vec<ProductId>,
    pub(super) first_day: NaiveDate,
    pub(super) today: NaiveDate,
}

/// A site with what grows there.
pub(super) struct Place {
    pub(super) id: SiteId,
    pub(super) cast: &'static CastSite,
    pub(super) offers: Vec<Id<Offer>>,
    pub(super) grown: Grown,
}

/// A site's rooms with what stands in them.
pub(super) struct Grown {
    pub(super) rooms: Vec<GrownRoom>,
    pub(super) meter: Id<Meter>,
}

/// A room of the demo.
pub(super) struct GrownRoom {
    pub(super) id: RoomId,
    pub(super) cast: &'static CastRoom,
    pub(super) tanks: Vec<(TankId, f64)>,
    pub(super) cycles: Vec<(CycleId, NaiveDate, NaiveDate)>,
}

/// An hour of a day, UTC: near enough to the local one for a demo.
pub(super) fn at(day: NaiveDate, hour: u32) -> DateTime<Utc> {
    day.and_hms_opt(hour, 0, 0).unwrap_or_default().and_utc()
}

/// A caller for what a person of the demo does.
pub(super) fn acting(person: PersonId, role: Role) -> Caller {
    Caller::person_with(person, Uuid::nil(), vec![(None, role)])
}
