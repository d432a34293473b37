//! Losses: what is used without a plan.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::Amount;
use fillmark_domain::stock::{LotId, Movement, MovementKind};

use super::history::ProductHistory;
use super::question::Unplanned;

/// Use that no plan knew, among the write-offs and count adjustments of one product: what was written off before its
/// lot had expired, and what counts found. A count that found more after something had been poured beyond the record
/// only settles that shortage: the pour counted already.
pub fn unplanned_use<'a>(
    losses: impl IntoIterator<Item = &'a Movement>,
    expiries: &HashMap<LotId, NaiveDate>,
    short_since: Option<DateTime<Utc>>,
    day: impl Fn(DateTime<Utc>) -> NaiveDate,
) -> Vec<Unplanned> {
    let expired = |loss: &Movement| expiries.get(&loss.lot).is_some_and(|last| *last < day(loss.done_at));
    let settles = |loss: &Movement| short_since.is_some_and(|since| since <= loss.done_at);
    let unplanned = |loss: &&Movement| match loss.kind {
        MovementKind::WriteOff => !expired(loss),
        _ => loss.change < Amount::ZERO || !settles(loss),
    };
    let told = |loss: &Movement| Unplanned { on: day(loss.done_at), amount: -loss.change };
    losses.into_iter().filter(unplanned).map(told).collect()
}

/// Losses of a product as a rate.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Losses {
    /// Expected a day, mL (or g).
    pub(super) per_day: f64,
    /// Variance a day: losses come seldom and whole.
    variance_per_day: f64,
    /// How many are on record.
    pub(super) count: usize,
    days: f64,
}

/// Of one loss at most so many days' use goes into what is expected: a canister that fell over once is no habit. What
/// it tells of the spread stays. Our own judgement.
const EXPECTED_DAYS: f64 = 8.0;

/// A loss of more than so many days' use is rather a slip in the ledger than something lost; our own judgement.
const MOST_DAYS: f64 = 60.0;

impl Losses {
    /// The losses on record before a day spread over the days recorded. More found than the ledger held sets off what
    /// was found missing, since both are the same jug read twice; the rate is never below none.
    pub(super) fn learn(product: &ProductHistory, before: usize) -> Losses {
        let days = before.max(1) as f64;
        let used: f64 = product.poured.iter().take(before).sum();
        let by_day = if used > 0.0 { used / days } else { f64::INFINITY };
        let held = |most: f64| move |amount: f64| amount.clamp(-most * by_day, most * by_day);
        let (expected, told) = (held(EXPECTED_DAYS), held(MOST_DAYS));
        let known = product.lost.iter().take_while(|(day, _)| *day < before);
        let sizes: Vec<f64> = known.map(|(_, amount)| *amount).collect();
        Losses {
            per_day: (sizes.iter().map(|size| expected(*size)).sum::<f64>() / days).max(0.0),
            variance_per_day: sizes.iter().map(|size| told(*size).powi(2)).sum::<f64>() / days,
            count: sizes.len(),
            days,
        }
    }

    /// Variance of the losses of so many days: of a compound Poisson process, and of its rate, which is known
    /// only as well as the days on record tell.
    pub(super) fn variance(&self, days: f64) -> f64 {
        self.variance_per_day * days * (1.0 + days / self.days.max(1.0))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fillmark_domain::{Base, Id};
    use uuid::Uuid;

    fn id<W>(number: u128) -> Id<W> {
        Id::new(Uuid::from_u128(number))
    }

    fn noon(day: u32) -> DateTime<Utc> {
        format!("2031-03-{day:02}T12:00:00Z").parse().unwrap()
    }

    fn loss(kind: MovementKind, change: i64, day: u32) -> Movement {
        Movement {
            id: id(1),
            slip: id(2),
            product: id(3),
            lot: id(4),
            kind,
            base: Base::Volume,
            change: Amount::from_thousandths(change),
            done_at: noon(day),
            reverses: None,
        }
    }

    /// The lot may be used until 10 March; the amounts that are unplanned use, in thousandths.
    #[track_caller]
    fn check(losses: &[Movement], short_since: Option<u32>, expected: &[i64]) {
        let last_day = noon(10).date_naive();
        let expiries = HashMap::from([(id(4), last_day)]);
        let found = unplanned_use(losses, &expiries, short_since.map(noon), |at| at.date_naive());
        let found: Vec<i64> = found.iter().map(|one| one.amount.thousandths()).collect();
        assert_eq!(found, expected);
    }

    #[test]
    fn what_is_written_off_after_its_last_day_was_never_used() {
        check(&[loss(MovementKind::WriteOff, -500, 10)], None, &[500]);
        check(&[loss(MovementKind::WriteOff, -500, 11)], None, &[]);
    }

    #[test]
    fn a_count_that_finds_more_settles_what_was_poured_beyond_the_record() {
        let counts = [MovementKind::CountAdjustment; 2].map(|kind| loss(kind, 300, 5));
        check(&counts, None, &[-300, -300]);
        check(&counts, Some(6), &[-300, -300]);
        check(&counts, Some(5), &[]);
        check(&[loss(MovementKind::CountAdjustment, -300, 5)], Some(1), &[300]);
    }
}
