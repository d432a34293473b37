//! How often a fill was drunk and filled up again, and what makes a change due before its day.

use std::collections::BTreeMap;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::{Addition, AdditionReason};
use fillmark_domain::stock::ProductId;

use super::record::{Event, TankRecord, What};
use super::uptake::{Loss, LossCause};

/// Turnover at which proportions have drifted (common practice, no source).
pub const TURNOVER_LIMIT: f64 = 1.0;

/// Two turns are acid, base and acid again: somebody chases the pH, and each turn leaves its salt behind (our own judgement).
const TURNS: usize = 2;

/// Where a product moves the pH.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Moves {
    /// An acid.
    Down,
    /// A base.
    Up,
}

/// Acid and base by turns on one fill.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ThrownBothWays {
    /// How often the direction changed.
    pub turns: usize,
    /// The additions of acid and base, the earliest first.
    pub additions: Vec<Id<Addition>>,
}

/// Why a change is due before its day.
#[derive(Debug, Clone, PartialEq)]
pub enum EarlyChange {
    /// So often the fill was drunk and filled up again.
    Turnover {
        /// Now.
        turnover: f64,
        /// At most.
        limit: f64,
    },
    /// pH was thrown both ways.
    ThrownBothWays(ThrownBothWays),
}

/// Litres topped up since the last full change as part of the working volume, of which a partial change leaves what it did
/// not drain. What leaked or evaporated was filled up too, and no plant has drunk it.
pub fn turnover(record: &TankRecord, losses: &[Loss]) -> f64 {
    let part = |litres: f64| litres / record.fill_mark_l;
    let of_loss = |loss: &Loss| match loss.cause {
        LossCause::Leak | LossCause::Evaporation => {
            Some((loss.between[1], Turn::Lost(part(loss.litres.value))))
        }
        LossCause::Unclear => None,
    };
    let of_event = |event: &Event| match event.what {
        What::Watered { reason: AdditionReason::TopUp, litres, .. } => {
            Some((event.at, Turn::FilledUp(part(litres))))
        }
        What::Changed { fraction, .. } => Some((event.at, Turn::Leaving((1.0 - fraction).max(0.0)))),
        What::Read { .. } | What::Poured { .. } | What::Watered { .. } => None,
    };
    let mut turns: Vec<(DateTime<Utc>, Turn)> =
        losses.iter().filter_map(of_loss).chain(record.events.iter().filter_map(of_event)).collect();
    turns.sort_by_key(|(at, _)| *at);
    let mut turned = Turned::default();
    turns.into_iter().for_each(|(_, turn)| turned.pass(turn));
    turned.drunk
}

/// What moves the turnover, as parts of the working volume.
enum Turn {
    Lost(f64),
    FilledUp(f64),
    /// All but a part was changed.
    Leaving(f64),
}

#[derive(Default)]
struct Turned {
    drunk: f64,
    /// Lost, and not filled up yet.
    lost: f64,
}

impl Turned {
    fn pass(&mut self, turn: Turn) {
        match turn {
            Turn::Lost(part) => self.lost += part,
            Turn::FilledUp(part) => {
                let made_good = part.min(self.lost);
                self.lost -= made_good;
                self.drunk += part - made_good;
            }
            Turn::Leaving(part) => (self.drunk, self.lost) = (self.drunk * part, 0.0),
        }
    }
}

/// Whether acid and base were poured by turns since the last full change. What is not known to move the pH is left out.
pub fn thrown_both_ways(record: &TankRecord, moves: &BTreeMap<ProductId, Moves>) -> Option<ThrownBothWays> {
    let mut thrown = ThrownBothWays { turns: 0, additions: Vec::new() };
    let mut last = None;
    for event in &record.events {
        match event.what {
            What::Changed { fraction, .. } if fraction >= 1.0 => {
                (thrown, last) = (ThrownBothWays { turns: 0, additions: Vec::new() }, None);
            }
            What::Poured { id, product, reason: AdditionReason::Ph, .. } => {
                let Some(way) = moves.get(&product).copied() else { continue };
                thrown.turns += usize::from(last.is_some_and(|last| last != way));
                thrown.additions.push(id);
                last = Some(way);
            }
            _ => {}
        }
    }
    (thrown.turns >= TURNS).then_some(thrown)
}

/// Why a tank should be changed before its day; nothing when it need not.
pub fn early_change(
    record: &TankRecord,
    moves: &BTreeMap<ProductId, Moves>,
    losses: &[Loss],
    turnover_limit: f64,
) -> Vec<EarlyChange> {
    let turnover = turnover(record, losses);
    let turned =
        (turnover >= turnover_limit).then_some(EarlyChange::Turnover { turnover, limit: turnover_limit });
    let thrown = thrown_both_ways(record, moves).map(EarlyChange::ThrownBothWays);
    turned.into_iter().chain(thrown).collect()
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;
    use uuid::Uuid;

    use super::super::balance::Reckoned;
    use super::super::record::testing::{changed, day, poured, watered};
    use super::super::simulated::product;
    use super::*;

    const ACID: u128 = 1;
    const BASE: u128 = 2;

    fn of(events: Vec<Event>) -> TankRecord {
        TankRecord { fill_mark_l: 200.0, events }
    }

    fn moves() -> BTreeMap<ProductId, Moves> {
        [(product(ACID), Moves::Down), (product(BASE), Moves::Up)].into()
    }

    fn topped(on: i64, litres: f64) -> Event {
        watered(1, day(on), litres, AdditionReason::TopUp)
    }

    fn ph(products: &[u128]) -> Vec<Event> {
        let one = |(n, product): (usize, &u128)| {
            poured(n as u128, day(n as i64), *product, 10.0, AdditionReason::Ph)
        };
        products.iter().enumerate().map(one).collect()
    }

    #[track_caller]
    fn check_turnover(events: Vec<Event>, expected: f64) {
        assert!((turnover(&of(events), &[]) - expected).abs() < 1e-12);
    }

    #[test]
    fn turnover_is_what_was_topped_up_since_the_last_full_change() {
        check_turnover(vec![topped(0, 50.0), topped(1, 70.0)], 0.6);
        check_turnover(vec![topped(0, 50.0), changed(2, day(1), 1.0, 200.0, 200.0), topped(2, 30.0)], 0.15);
        // A quarter drained leaves three quarters of 0.4.
        check_turnover(vec![topped(0, 80.0), changed(2, day(1), 0.25, 50.0, 50.0)], 0.3);
        check_turnover(vec![watered(1, day(0), 50.0, AdditionReason::Strength)], 0.0);
    }

    #[track_caller]
    fn check_thrown(events: Vec<Event>, turns: Option<usize>) {
        assert_eq!(thrown_both_ways(&of(events), &moves()).map(|thrown| thrown.turns), turns);
    }

    #[test]
    fn acid_and_base_by_turns_are_thrown_both_ways() {
        check_thrown(ph(&[ACID, ACID, BASE]), None);
        check_thrown(ph(&[ACID, BASE, BASE, ACID]), Some(2));
        check_thrown(ph(&[ACID, BASE, 9, ACID, BASE]), Some(3));
    }

    #[test]
    fn a_full_change_forgets() {
        let mut events = ph(&[ACID, BASE, ACID]);
        events.push(changed(9, day(5), 1.0, 200.0, 200.0));
        check_thrown(events.clone(), None);
        assert_eq!(early_change(&of(events), &moves(), &[], TURNOVER_LIMIT), []);
    }

    #[test]
    fn an_early_change_says_why() {
        let mut events = ph(&[ACID, BASE, ACID]);
        events.push(topped(8, 200.0));
        let why = early_change(&of(events), &moves(), &[], TURNOVER_LIMIT);
        assert!(matches!(why[..], [EarlyChange::Turnover { .. }, EarlyChange::ThrownBothWays(_)]), "{why:?}");
    }

    #[test]
    fn what_leaked_and_was_filled_up_was_not_drunk() {
        let topped = |n| watered(n as u128, day(n), 120.0, AdditionReason::TopUp);
        let lost = |cause| Loss {
            litres: Reckoned { value: 100.0, spread: 5.0 },
            cause,
            between: [day(0), day(1)],
            readings: [Id::new(Uuid::nil()); 2],
            additions: Vec::new(),
        };
        let record = of(vec![topped(1), topped(2)]);
        let check = |cause, expected: f64| {
            let got = turnover(&record, &[lost(cause)]);
            assert!((got - expected).abs() < 1e-12, "{cause:?}: {got}");
        };
        check(LossCause::Leak, 0.7);
        check(LossCause::Evaporation, 0.7);
        check(LossCause::Unclear, 1.2);
        let first = of(vec![changed(9, day(0), 1.0, 200.0, 200.0), topped(1)]);
        let got = turnover(&first, &[lost(LossCause::Leak)]);
        assert!((got - 0.1).abs() < 1e-12, "in the first span too: {got}");
        let not_refilled =
            turnover(&of(vec![topped(1)]), &[Loss { between: [day(1), day(2)], ..lost(LossCause::Leak) }]);
        assert!(
            (not_refilled - 0.6).abs() < 1e-12,
            "what is not filled up yet was no turnover: {not_refilled}"
        );
        assert_eq!(early_change(&record, &moves(), &[lost(LossCause::Leak)], TURNOVER_LIMIT), []);
    }

    proptest! {
        #[test]
        fn a_partial_change_never_raises_turnover(litres in 0.0..500.0f64, fraction in 0.0..0.99f64) {
            let before = turnover(&of(vec![topped(0, litres)]), &[]);
            let after = turnover(&of(vec![topped(0, litres), changed(2, day(1), fraction, 1.0, 1.0)]), &[]);
            prop_assert!(after <= before && (after - before * (1.0 - fraction)).abs() < 1e-12);
        }
    }
}
