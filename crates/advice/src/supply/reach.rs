//! Whom a lot reached: the cycles that drank from tanks while some of it was in them, and what was picked of them since; and
//! back, from what was picked to the lots that its cycle may have drunk.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::Id;
use fillmark_domain::growing::{CycleId, Feed, Harvest};
use fillmark_domain::places::TankId;
use fillmark_domain::stock::LotId;

use super::lot_trace::{Exposure, Handled, Handling, trace_lot};

/// A cycle that drank of a lot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Drank {
    /// Which cycle.
    pub cycle: CycleId,
    /// From which tank.
    pub tank: TankId,
    /// The first day.
    pub from: NaiveDate,
    /// The last day; none while it still does.
    pub until: Option<NaiveDate>,
}

/// A tank from which a cycle may have drunk a lot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drunk {
    /// From which tank, and when; until the day asked about at most.
    pub drank: Drank,
    /// Of what came in last, the part that partial changes had left at most by that day: 0 where the tank had been drained.
    pub left: f64,
}

/// The cycles that drank from the tanks while a lot was in them, until a day. `day` gives the local day of an instant.
pub fn drank(
    exposures: &[Exposure],
    feeds: &[Feed],
    by: NaiveDate,
    day: impl Fn(DateTime<Utc>) -> NaiveDate,
) -> Vec<Drank> {
    let mut all: BTreeSet<Drank> = BTreeSet::new();
    for exposure in exposures {
        let (from, until) = (day(exposure.from), exposure.until.map(&day));
        for feed in feeds.iter().filter(|feed| feed.tank == exposure.tank) {
            let from = from.max(feed.from);
            // A feed that is planned to end has not ended yet.
            let until = until.into_iter().chain(feed.until).min().filter(|until| *until <= by);
            if from <= by && until.is_none_or(|until| from <= until) {
                all.insert(Drank { cycle: feed.cycle, tank: feed.tank, from, until });
            }
        }
    }
    all.into_iter().collect()
}

/// What was picked of the cycles since they first drank of it. What they took stays in them, so nothing ends it.
pub fn picked(
    drank: &[Drank],
    harvests: &[(Id<Harvest>, Harvest)],
    day: impl Fn(DateTime<Utc>) -> NaiveDate,
) -> Vec<(Id<Harvest>, Harvest)> {
    let mut first: BTreeMap<CycleId, NaiveDate> = BTreeMap::new();
    for one in drank {
        first.entry(one.cycle).and_modify(|from| *from = one.from.min(*from)).or_insert(one.from);
    }
    let since =
        |harvest: &Harvest| first.get(&harvest.cycle).is_some_and(|from| *from <= day(harvest.harvested_at));
    harvests.iter().filter(|(_, harvest)| since(harvest)).cloned().collect()
}

/// The lots that a cycle may have drunk until a day, each with where and from when.
pub fn lots_drunk(
    cycle: CycleId,
    until: NaiveDate,
    handled: &[Handled],
    feeds: &[Feed],
    day: impl Fn(DateTime<Utc>) -> NaiveDate,
) -> BTreeMap<LotId, Vec<Drunk>> {
    let mut lots: BTreeSet<LotId> = BTreeSet::new();
    for one in handled {
        match &one.what {
            Handling::Prepared { from, into } => lots.extend(from.iter().chain([into])),
            Handling::Poured { lot, .. } => drop(lots.insert(*lot)),
            Handling::Moved { .. } | Handling::Drained { .. } | Handling::Diluted { .. } => {}
        }
    }
    let by_then = |one: Drank| Drank { until: one.until.into_iter().chain([until]).min(), ..one };
    let of_cycle = |lot: LotId| {
        let drunk = |exposure: &Exposure| {
            let of_it = drank(std::slice::from_ref(exposure), feeds, until, &day).into_iter();
            let of_it = of_it.filter(|one| one.cycle == cycle);
            of_it.map(|one| Drunk { drank: by_then(one), left: exposure.left }).collect::<Vec<_>>()
        };
        let drunk: Vec<Drunk> = trace_lot(lot, handled).exposures.iter().flat_map(drunk).collect();
        (!drunk.is_empty()).then_some((lot, drunk))
    };
    lots.into_iter().filter_map(of_cycle).collect()
}

#[cfg(test)]
mod tests {
    use fillmark_domain::growing::Harvest;
    use uuid::Uuid;

    use super::*;

    fn id<W>(number: u128) -> Id<W> {
        Id::new(Uuid::from_u128(number))
    }

    fn at(day: u32) -> DateTime<Utc> {
        format!("2031-03-{day:02}T09:00:00Z").parse().unwrap()
    }

    fn on(day: u32) -> NaiveDate {
        at(day).date_naive()
    }

    fn feed(cycle: u128, tank: u128, from: u32, until: Option<u32>) -> Feed {
        Feed {
            tank: id(tank),
            cycle: id(cycle),
            from: on(from),
            until: until.map(on),
            leads: true,
            plants: 10,
        }
    }

    /// Lot 1 goes into tank 1 on the 5th, which is drained on the 12th; lot 2 into tank 2 on the 6th.
    fn handled() -> Vec<Handled> {
        let one = |day, place, what| Handled { at: at(day), place, what };
        vec![
            one(5, 1, Handling::Poured { lot: id(1), tank: id(1) }),
            one(6, 2, Handling::Poured { lot: id(2), tank: id(2) }),
            one(12, 3, Handling::Drained { tank: id(1) }),
        ]
    }

    /// Cycle 1 drinks from tank 1 until the 8th; cycle 2 comes to it on the 10th, cycle 3 after it was drained.
    fn feeds() -> Vec<Feed> {
        vec![feed(1, 1, 1, Some(8)), feed(2, 1, 10, None), feed(3, 1, 13, None), feed(4, 2, 1, None)]
    }

    fn utc(at: DateTime<Utc>) -> NaiveDate {
        at.date_naive()
    }

    #[test]
    fn a_lot_reaches_those_who_drank_while_it_was_in() {
        let drank = drank(&trace_lot(id(1), &handled()).exposures, &feeds(), NaiveDate::MAX, utc);
        let told: Vec<_> = drank.iter().map(|one| (one.cycle, one.from, one.until)).collect();
        assert_eq!(told, [(id(1), on(5), Some(on(8))), (id(2), on(10), Some(on(12)))]);
    }

    #[test]
    fn what_is_planned_to_end_has_not_ended_yet() {
        let drank = drank(&trace_lot(id(1), &handled()).exposures, &feeds(), on(7), utc);
        let told: Vec<_> = drank.iter().map(|one| (one.cycle, one.from, one.until)).collect();
        assert_eq!(told, [(id(1), on(5), None)]);
    }

    #[test]
    fn what_was_picked_before_it_came_in_is_not_reached() {
        let harvest = |cycle: u128, day: u32| Harvest {
            client_id: Uuid::nil(),
            cycle: id(cycle),
            room: None,
            harvested_at: at(day),
            received_at: at(day),
            saleable_kg: 1.0,
            rejected_kg: 0.0,
            pieces: None,
            grade: None,
            brix: None,
            done_by: None,
            entered_by: None,
            reverses: None,
            reversed: None,
        };
        let harvests = [
            (id(1), harvest(1, 4)),
            (id(2), harvest(1, 5)),
            (id(3), harvest(2, 30)),
            (id(4), harvest(4, 30)),
        ];
        let drank = drank(&trace_lot(id(1), &handled()).exposures, &feeds(), NaiveDate::MAX, utc);
        let picked: Vec<_> = picked(&drank, &harvests, utc).into_iter().map(|(id, _)| id).collect();
        assert_eq!(picked, [id(2), id(3)]);
    }

    #[test]
    fn a_cycle_tells_the_lots_it_may_have_drunk() {
        let lots = |cycle: u128, until| lots_drunk(id(cycle), on(until), &handled(), &feeds(), utc);
        assert_eq!(lots(1, 30).into_keys().collect::<Vec<_>>(), [id(1)]);
        assert_eq!(lots(4, 30).into_keys().collect::<Vec<_>>(), [id(2)]);
        assert!(lots(1, 4).is_empty() && lots(3, 30).is_empty());
        let drunk = &lots(4, 20)[&id(2)][0];
        assert_eq!((drunk.drank.from, drunk.drank.until, drunk.left), (on(6), Some(on(20)), 1.0));
        assert_eq!(lots(1, 30)[&id(1)][0].left, 0.0, "the tank has been drained");
    }
}
