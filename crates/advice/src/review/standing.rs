//! What belonged to a room in a period: the tanks that fed it, the cycles that stood in it.

use fillmark_domain::Days;
use fillmark_domain::growing::CycleId;
use fillmark_domain::places::{RoomId, TankId};
use fillmark_domain::plan::SitePlan;

/// The tanks that fed a room at some time in a period.
pub fn tanks_of(plan: &SitePlan, room: RoomId, days: Days) -> Vec<TankId> {
    let fed = plan.tank_rooms.iter().filter(|fed| fed.room == room && days.meet(fed.from, fed.until));
    let mut tanks: Vec<TankId> = fed.map(|fed| fed.tank).collect();
    tanks.sort_unstable();
    tanks.dedup();
    tanks
}

/// Whether a cycle stood in a room at some time in a period.
pub fn stood_in(plan: &SitePlan, cycle: CycleId, room: RoomId, days: Days) -> bool {
    let stood = plan.placements.iter().filter(|placed| placed.cycle == cycle && placed.room == room);
    stood.into_iter().any(|placed| days.meet(placed.from, placed.until))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::testing::{Site, basil, day, north_room, north_tank, south_room};

    #[track_caller]
    fn check(from: &str, until: &str, tanks: &[TankId], stood: bool) {
        let plan = Site::default().fed_until("03-10").placed(basil(), north_room(), "03-01", Some("03-20"));
        let days = Days { from: day(from), until: day(until) };
        assert_eq!(tanks_of(&plan.0, north_room(), days), tanks);
        assert_eq!(stood_in(&plan.0, basil(), north_room(), days), stood);
        assert!(!stood_in(&plan.0, basil(), south_room(), days));
    }

    #[test]
    fn one_day_in_the_period_is_enough() {
        check("02-01", "02-28", &[north_tank()], false);
        check("02-01", "03-01", &[north_tank()], true);
        check("03-10", "03-31", &[north_tank()], true);
        check("03-11", "03-31", &[], true);
        check("03-21", "03-31", &[], false);
    }
}
