//! What is taken out of the store for other uses than tanks, and what preparations are made of: forecast by its own past.

use fillmark_domain::stock::Movement;

use super::question::{Question, Unplanned};
use super::spans::WEEK;
use super::usage::Usage;

/// What was taken longer ago says less of what is taken now (our own judgement): half a year.
const RECENT_DAYS: i64 = 182;

/// What was taken once tells no rate of fewer days (our own judgement).
const LEAST_DAYS: i64 = 28;

/// Weeks that were alike may yet differ by this part of their mean (our own judgement).
const LEAST_SPREAD: f64 = 0.25;

/// What was taken out, the earliest first, by the local day of each.
pub fn taken_out<'a>(
    taken: impl IntoIterator<Item = &'a Movement>,
    day: impl Fn(chrono::DateTime<chrono::Utc>) -> chrono::NaiveDate,
) -> Vec<Unplanned> {
    taken.into_iter().map(|one| Unplanned { on: day(one.done_at), amount: -one.change }).collect()
}

/// The mean of the days since the first time, and how weeks scatter about it.
struct Rate {
    per_day: f64,
    variance_per_day: f64,
    days: f64,
}

/// Adds to the use of each product what is taken out besides.
pub(super) fn add(question: &Question, usages: &mut [Usage]) {
    for (asked, usage) in question.products.iter().zip(usages) {
        let taken = || asked.taken.iter().filter(|one| (1..=RECENT_DAYS).contains(&-question.offset(one.on)));
        usage.learnt_from.taken = taken().count();
        let sums = taken().map(|one| (-question.offset(one.on), one.amount.base_units()));
        let Some(rate) = Rate::of(&sums.collect::<Vec<_>>()) else { continue };
        for (place, (day, variance)) in usage.days.iter_mut().zip(&mut usage.variance_until).enumerate() {
            day.taken += rate.per_day;
            *variance += rate.variance(place as f64 + 1.0);
        }
    }
}

impl Rate {
    /// Of amounts by how many days ago they were taken; none of nothing.
    fn of(taken: &[(i64, f64)]) -> Option<Rate> {
        let first = taken.iter().map(|(ago, _)| *ago).max()?;
        let days = first.max(LEAST_DAYS);
        let per_day = taken.iter().map(|(_, amount)| amount).sum::<f64>() / days as f64;
        let week = WEEK as i64;
        let weeks = days / week;
        let of_week = |number: i64| {
            let within = |(ago, _): &&(i64, f64)| (number * week..(number + 1) * week).contains(&(ago - 1));
            taken.iter().filter(within).map(|(_, amount)| amount).sum::<f64>()
        };
        let mean = per_day * WEEK as f64;
        let scatter: f64 = (0..weeks).map(|number| (of_week(number) - mean).powi(2)).sum();
        let of_a_week = (scatter / (weeks - 1).max(1) as f64).max((LEAST_SPREAD * mean).powi(2));
        Some(Rate { per_day, variance_per_day: of_a_week / WEEK as f64, days: days as f64 })
    }

    /// Of so many days: their own scatter, and that of a rate which is known only as well as the days behind it tell.
    fn variance(&self, days: f64) -> f64 {
        self.variance_per_day * days * (1.0 + days / self.days)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_taken_each_week_is_taken_in_the_next_ones_too() {
        let weekly: Vec<(i64, f64)> = (1..=13).map(|week| (7 * week, 500.0)).collect();
        let rate = Rate::of(&weekly).unwrap();
        assert!((rate.per_day * 7.0 - 500.0).abs() < 1e-9, "{}", rate.per_day);
        assert!((rate.variance(7.0).sqrt() - 0.25 * 500.0).abs() < 10.0, "{}", rate.variance(7.0).sqrt());
        assert!(Rate::of(&[]).is_none());
    }

    #[test]
    fn what_was_taken_once_is_no_rate_of_a_day() {
        let rate = Rate::of(&[(1, 280.0)]).unwrap();
        assert!((rate.per_day - 10.0).abs() < 1e-9);
        assert!(rate.variance(28.0).sqrt() > 280.0, "one tells next to nothing");
    }
}
