//! Losses: what is used without a plan.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::Amount;
use fillmark_domain::stock::{LotId, Movement, MovementKind, SlipId};

use super::history::ProductHistory;
use super::question::Unplanned;

/// Use that no plan knew, among the write-offs and count adjustments of one product in order of time: what was written off
/// before its lot had expired, and what counts found. What had been `short` since the count before, poured beyond what the
/// record held, counted already as a pour: a count that finds more only settles it, and of what a count misses it is a part,
/// where the lot on the label held too little and another was poured from.
pub fn unplanned_use<'a>(
    losses: impl IntoIterator<Item = &'a Movement>,
    expiries: &HashMap<LotId, NaiveDate>,
    short: &[(DateTime<Utc>, Amount)],
    day: impl Fn(DateTime<Utc>) -> NaiveDate,
) -> Vec<Unplanned> {
    let expired = |loss: &Movement| expiries.get(&loss.lot).is_some_and(|last| *last < day(loss.done_at));
    let mut settling = Settling { short, count: None, until: DateTime::<Utc>::MIN_UTC, left: Amount::ZERO };
    let unplanned = |loss: &'a Movement| {
        let amount = match loss.kind {
            MovementKind::WriteOff => (!expired(loss)).then_some(-loss.change),
            _ => settling.lost(loss),
        };
        amount.map(|amount| Unplanned { on: day(loss.done_at), amount })
    };
    losses.into_iter().filter_map(unplanned).collect()
}

/// What was poured beyond the record and no count has settled yet.
struct Settling<'s> {
    short: &'s [(DateTime<Utc>, Amount)],
    count: Option<SlipId>,
    until: DateTime<Utc>,
    left: Amount,
}

impl Settling<'_> {
    /// What a count adjustment says was lost beyond that; nothing where it only settles.
    fn lost(&mut self, found: &Movement) -> Option<Amount> {
        if self.count != Some(found.slip) {
            let since = |(at, _): &&(DateTime<Utc>, Amount)| self.until < *at && *at <= found.done_at;
            self.left = self.short.iter().filter(since).map(|(_, amount)| *amount).sum();
            (self.count, self.until) = (Some(found.slip), found.done_at);
        }
        if found.change.is_positive() {
            return (!self.left.is_positive()).then_some(-found.change);
        }
        let settled = self.left.min(-found.change);
        self.left = self.left - settled;
        let lost = -found.change - settled;
        lost.is_positive().then_some(lost)
    }
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

    /// The lot may be used until 10 March, and on some days so much was poured beyond the record; the amounts that are
    /// unplanned use, all in thousandths.
    #[track_caller]
    fn check(losses: &[Movement], short: &[(u32, i64)], expected: &[i64]) {
        let last_day = noon(10).date_naive();
        let expiries = HashMap::from([(id(4), last_day)]);
        let short: Vec<_> =
            short.iter().map(|(day, amount)| (noon(*day), Amount::from_thousandths(*amount))).collect();
        let found = unplanned_use(losses, &expiries, &short, |at| at.date_naive());
        let found: Vec<i64> = found.iter().map(|one| one.amount.thousandths()).collect();
        assert_eq!(found, expected);
    }

    fn count(change: i64, day: u32) -> Movement {
        Movement { slip: id(day.into()), ..loss(MovementKind::CountAdjustment, change, day) }
    }

    #[test]
    fn what_is_written_off_after_its_last_day_was_never_used() {
        check(&[loss(MovementKind::WriteOff, -500, 10)], &[], &[500]);
        check(&[loss(MovementKind::WriteOff, -500, 11)], &[], &[]);
        check(&[loss(MovementKind::WriteOff, -500, 10)], &[(9, 500)], &[500]);
    }

    #[test]
    fn a_count_that_finds_more_settles_what_was_poured_beyond_the_record() {
        check(&[count(300, 5)], &[], &[-300]);
        check(&[count(300, 5)], &[(6, 100)], &[-300]);
        check(&[count(300, 5)], &[(5, 100)], &[]);
        check(&[count(300, 5), count(20, 6)], &[(5, 100)], &[-20]);
    }

    #[test]
    fn what_a_named_lot_lacked_is_not_lost_again_when_a_count_misses_it() {
        check(&[count(-300, 5)], &[(1, 100)], &[200]);
        check(&[count(-300, 5)], &[(1, 300)], &[]);
        check(&[count(-300, 5), count(-300, 6)], &[(1, 500)], &[300]);
        check(&[count(-300, 5), count(-300, 5)], &[(1, 500)], &[100]);
    }
}
