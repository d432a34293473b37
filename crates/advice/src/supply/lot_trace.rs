//! Where a lot went: the tanks it reached, and from when to when, also through solutions made of it.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::{Addition, Poured, TankChange};
use fillmark_domain::places::TankId;
use fillmark_domain::stock::LotId;

/// What was done with lots and tanks.
#[derive(Debug, Clone, PartialEq)]
pub enum Handling {
    /// A solution was made on site, which is a lot of its own.
    Prepared {
        /// What went in.
        from: Vec<LotId>,
        /// What came out.
        into: LotId,
    },
    /// A lot was poured into a tank, at a fill or a top-up.
    Poured {
        /// Which.
        lot: LotId,
        /// Into which.
        tank: TankId,
    },
    /// Solution was moved from one tank to another, and some stayed.
    Moved {
        /// From which.
        from: TankId,
        /// Into which.
        to: TankId,
    },
    /// All was drained: a full change.
    Drained {
        /// Which.
        tank: TankId,
    },
    /// A part was changed, which dilutes what a lot brought and leaves some.
    Diluted {
        /// Which.
        tank: TankId,
        /// The part, between 0 and 1.
        fraction: f64,
    },
}

/// When it was done.
#[derive(Debug, Clone, PartialEq)]
pub struct Handled {
    /// The instant recorded.
    pub at: DateTime<Utc>,
    /// Its place among those of the same instant: people write down minutes, and a tank is drained before it is filled.
    pub place: u64,
    /// What.
    pub what: Handling,
}

/// Litres that a tank fed by a look at its meter since the look before, where it is filled up as it feeds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FedSince {
    /// Which.
    pub tank: TankId,
    /// When its meter was looked at.
    pub at: DateTime<Utc>,
    /// Fed by what it holds.
    pub turnover: f64,
}

/// What tanks that are filled up as they feed have fed, by looks at their meters, the earliest first, with what each holds, L. A meter
/// that fell was exchanged.
pub fn fed_since(
    looks: &[(TankId, DateTime<Utc>, f64)],
    holds_l: impl Fn(TankId) -> Option<f64>,
) -> Vec<FedSince> {
    let mut before: BTreeMap<TankId, f64> = BTreeMap::new();
    let since = looks.iter().filter_map(|(tank, at, shown)| {
        let rose = shown - before.insert(*tank, *shown)?;
        let holds_l = holds_l(*tank).filter(|litres| *litres > 0.0)?;
        (rose > 0.0).then_some(FedSince { tank: *tank, at: *at, turnover: rose / holds_l })
    });
    since.collect()
}

/// What was done, of solutions made (when, of what, into what), tank changes, what was fed and additions. People write down minutes: at
/// the same one a solution is made before a tank is drained, and that before it is filled.
pub fn handled(
    made: impl Iterator<Item = (DateTime<Utc>, Vec<LotId>, LotId)>,
    changes: &[(Id<TankChange>, TankChange)],
    fed: &[FedSince],
    additions: &[(Id<Addition>, Addition)],
) -> Vec<Handled> {
    let made = made.map(|(at, from, into)| (at, Handling::Prepared { from, into }));
    let drained = changes.iter().map(|(_, change)| {
        let tank = change.tank;
        let what = match change.is_full() {
            true => Handling::Drained { tank },
            false => Handling::Diluted { tank, fraction: change.fraction },
        };
        (change.recorded_at, what)
    });
    // Of a tank that is filled up as it feeds, and mixes, so much is left: e to the power of its turnover.
    let fed = fed
        .iter()
        .map(|fed| (fed.at, Handling::Diluted { tank: fed.tank, fraction: 1.0 - (-fed.turnover).exp() }));
    let poured = additions.iter().flat_map(|(_, addition)| {
        let lots = match &addition.poured {
            Poured::Product { lots, .. } => lots.as_slice(),
            Poured::Water { .. } => &[],
        };
        let poured = |lot| (addition.recorded_at, Handling::Poured { lot, tank: addition.tank });
        lots.iter().map(move |(lot, _)| poured(*lot))
    });
    let all = made.chain(drained).chain(fed).chain(poured).enumerate();
    all.map(|(place, (at, what))| Handled { at, place: place as u64, what }).collect()
}

/// A time in which some of a lot was in a tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Exposure {
    /// Which tank.
    pub tank: TankId,
    /// When the lot came in first.
    pub from: DateTime<Utc>,
    /// When the tank was drained, or it was gone but for a thousandth; none while it is still in.
    pub until: Option<DateTime<Utc>>,
    /// Of what came in last, the part that partial changes, and feeding to waste, left: 1 where there was none, 0 after it was drained. What plants took
    /// up is not known, so there may be less.
    pub left: f64,
}

/// Less than this part of what came in is nothing (our own judgement).
const GONE: f64 = 0.001;

/// Where a lot went.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct LotTrace {
    /// The lot, and those that were made of it.
    pub lots: BTreeSet<LotId>,
    /// What brought it into tanks: places in the list given, in order of time.
    pub brought_by: Vec<usize>,
    /// The tanks it reached, by when it came in, then by tank.
    pub exposures: Vec<Exposure>,
}

/// When each thing was done at the latest. A solution was made before anything of it was poured or made into another, whenever
/// that was written down; only the first time of several that it was made is meant so.
fn happened(handled: &[Handled]) -> Vec<DateTime<Utc>> {
    let mut at: Vec<DateTime<Utc>> = handled.iter().map(|one| one.at).collect();
    let mut used = FirstUse::default();
    let mut made: BTreeMap<LotId, usize> = BTreeMap::new();
    for (place, one) in handled.iter().enumerate() {
        match &one.what {
            Handling::Poured { lot, .. } => used.at(*lot, one.at),
            Handling::Prepared { from, into } => {
                from.iter().for_each(|part| used.at(*part, one.at));
                let first = made.entry(*into).or_insert(place);
                if (one.at, one.place) < (handled[*first].at, handled[*first].place) {
                    *first = place;
                }
            }
            Handling::Moved { .. } | Handling::Drained { .. } | Handling::Diluted { .. } => {}
        }
    }
    // From what was poured back to what it was made of, as often as solutions are made of solutions.
    for _ in 0..made.len() {
        for (into, place) in &made {
            let Some(first) = used.of(*into).filter(|first| *first < at[*place]) else { continue };
            at[*place] = first;
            if let Handling::Prepared { from, .. } = &handled[*place].what {
                from.iter().for_each(|part| used.at(*part, first));
            }
        }
    }
    at
}

/// When something of each lot was used first.
#[derive(Default)]
struct FirstUse(BTreeMap<LotId, DateTime<Utc>>);

impl FirstUse {
    fn at(&mut self, lot: LotId, at: DateTime<Utc>) {
        let first = self.0.entry(lot).or_insert(at);
        *first = at.min(*first);
    }

    fn of(&self, lot: LotId) -> Option<DateTime<Utc>> {
        self.0.get(&lot).copied()
    }
}

/// Follows a lot through what was done, in any order. A tank that takes more of it while it has some stays exposed from the first
/// time on.
pub fn trace_lot(lot: LotId, handled: &[Handled]) -> LotTrace {
    let mut order: Vec<usize> = (0..handled.len()).collect();
    let happened = happened(handled);
    order.sort_by_key(|place| {
        let one = &handled[*place];
        (happened[*place], !matches!(one.what, Handling::Prepared { .. }), one.place)
    });

    let mut trace = LotTrace { lots: BTreeSet::from([lot]), ..LotTrace::default() };
    let mut exposed: BTreeMap<TankId, (DateTime<Utc>, f64)> = BTreeMap::new();
    for place in order {
        let at = handled[place].at;
        let reached = match &handled[place].what {
            Handling::Prepared { from, into } => {
                if from.iter().any(|part| trace.lots.contains(part)) {
                    trace.lots.insert(*into);
                }
                None
            }
            Handling::Poured { lot, tank } => trace.lots.contains(lot).then_some(*tank),
            Handling::Moved { from, to } => exposed.contains_key(from).then_some(*to),
            Handling::Diluted { tank, fraction } => {
                exposed.entry(*tank).and_modify(|(_, left)| *left *= 1.0 - fraction);
                let gone = exposed.get(tank).filter(|(_, left)| *left < GONE).map(|(from, _)| *from);
                if let Some(from) = gone {
                    exposed.remove(tank);
                    trace.exposures.push(Exposure { tank: *tank, from, until: Some(at), left: 0.0 });
                }
                None
            }
            Handling::Drained { tank } => {
                let ended = exposed.remove(tank).map(|(from, _)| from);
                let ended = ended.map(|from| Exposure { tank: *tank, from, until: Some(at), left: 0.0 });
                trace.exposures.extend(ended);
                None
            }
        };
        if let Some(tank) = reached {
            exposed.entry(tank).or_insert((at, 1.0)).1 = 1.0;
            trace.brought_by.push(place);
        }
    }
    trace.exposures.extend(exposed.into_iter().map(|(tank, (from, left))| Exposure {
        tank,
        from,
        until: None,
        left,
    }));
    trace.exposures.sort_by_key(|exposure| (exposure.from, exposure.tank));
    trace
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::TimeDelta;
    use fillmark_domain::Id;
    use uuid::Uuid;

    const L7: u128 = 7;
    const L8: u128 = 8;
    const MIX: u128 = 100;

    fn minute(at: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::minutes(at)
    }

    fn lot(number: u128) -> LotId {
        Id::new(Uuid::from_u128(number))
    }

    fn tank(number: u128) -> TankId {
        Id::new(Uuid::from_u128(number))
    }

    fn poured(of: u128, into: u128) -> Handling {
        Handling::Poured { lot: lot(of), tank: tank(into) }
    }

    fn moved(from: u128, to: u128) -> Handling {
        Handling::Moved { from: tank(from), to: tank(to) }
    }

    fn drained(number: u128) -> Handling {
        Handling::Drained { tank: tank(number) }
    }

    fn prepared(from: &[u128], into: u128) -> Handling {
        Handling::Prepared { from: from.iter().map(|part| lot(*part)).collect(), into: lot(into) }
    }

    /// Follows lot 7 through what was done at minutes: tank, from, until. Latest first, since records arrive in any order.
    #[track_caller]
    fn check(done: &[(i64, Handling)], expected: &[(u128, i64, Option<i64>)]) {
        let mut handled: Vec<Handled> = done
            .iter()
            .zip(0..)
            .map(|((at, what), place)| Handled { at: minute(*at), place, what: what.clone() })
            .collect();
        handled.reverse();
        let expected: Vec<Exposure> = expected
            .iter()
            .map(|(of, from, until)| Exposure {
                tank: tank(*of),
                from: minute(*from),
                until: until.map(minute),
                left: if until.is_some() { 0.0 } else { 1.0 },
            })
            .collect();
        assert_eq!(trace_lot(lot(L7), &handled).exposures, expected);
    }

    /// By hand: 50 and 150 L of 100 leave e^-0.5 and e^-1.5 of it, and 1000 L leave nothing.
    #[test]
    fn what_is_fed_to_waste_takes_a_lot_along() {
        let looks = |shown: &[f64]| -> Vec<(TankId, DateTime<Utc>, f64)> {
            shown.iter().zip(1..).map(|(shown, at)| (tank(1), minute(at), *shown)).collect()
        };
        let left = |shown: &[f64]| {
            let fed = fed_since(&looks(shown), |of| (of == tank(1)).then_some(100.0));
            let mut all = vec![Handled { at: minute(0), place: 0, what: poured(L7, 1) }];
            all.extend(handled(std::iter::empty(), &[], &fed, &[]));
            let [exposure] = trace_lot(lot(L7), &all).exposures[..] else { panic!("one tank") };
            (exposure.left, exposure.until)
        };
        assert!((left(&[10.0, 60.0]).0 - (-0.5_f64).exp()).abs() < 1e-12);
        assert!((left(&[10.0, 60.0, 5.0, 105.0]).0 - (-1.5_f64).exp()).abs() < 1e-12, "exchanged in between");
        assert_eq!(left(&[10.0, 1010.0]), (0.0, Some(minute(2))));
    }

    #[test]
    fn a_partial_change_dilutes_and_a_further_dose_makes_it_whole_again() {
        let diluted = |fraction| Handling::Diluted { tank: tank(1), fraction };
        let left = |more: Vec<Handling>| {
            let all = std::iter::once(poured(L7, 1)).chain(more).zip(0..);
            let all: Vec<Handled> =
                all.map(|(what, place)| Handled { at: minute(place as i64), place, what }).collect();
            trace_lot(lot(L7), &all).exposures[0].left
        };
        assert_eq!(left(vec![diluted(0.5), diluted(0.5)]), 0.25);
        assert_eq!(left(vec![diluted(0.5), poured(L7, 1)]), 1.0);
        assert_eq!(left(vec![diluted(0.5), poured(L8, 1)]), 0.5);
    }

    /// Written down in the evening, poured in the morning.
    #[test]
    fn a_solution_was_made_before_any_of_it_was_poured() {
        check(
            &[(0, poured(MIX, 1)), (60, prepared(&[L7], MIX)), (90, poured(MIX, 2))],
            &[(1, 0, None), (2, 90, None)],
        );
    }

    #[test]
    fn a_tank_is_exposed_from_the_first_dose_until_it_is_drained() {
        let topped_up = [(0, poured(L8, 1)), (2, poured(L7, 1)), (3, poured(L7, 1)), (9, drained(1))];
        check(&topped_up, &[(1, 2, Some(9))]);
        check(&[(0, poured(L8, 1)), (9, drained(1))], &[]);
    }

    #[test]
    fn a_solution_made_of_the_lot_carries_it_and_one_made_before_does_not() {
        let made = [(0, prepared(&[L8, L7], MIX)), (1, prepared(&[MIX], 101)), (2, poured(101, 1))];
        check(&made, &[(1, 2, None)]);
        check(&[(0, prepared(&[MIX], 101)), (1, prepared(&[L7], MIX)), (2, poured(101, 1))], &[]);
    }

    #[test]
    fn solution_moved_while_a_tank_is_exposed_carries_it_on() {
        let carried =
            [(0, poured(L7, 1)), (1, moved(1, 3)), (2, drained(1)), (3, moved(1, 2)), (4, moved(3, 4))];
        check(&carried, &[(1, 0, Some(2)), (3, 1, None), (4, 4, None)]);
        check(&[(0, moved(1, 3)), (1, poured(L7, 1))], &[(1, 1, None)]);
    }

    #[test]
    fn within_a_minute_the_order_of_the_records_counts() {
        check(&[(5, drained(1)), (5, poured(L7, 1))], &[(1, 5, None)]);
        check(&[(5, poured(L7, 1)), (5, drained(1))], &[(1, 5, Some(5))]);
    }
}
