//! What a product is used for, kept apart, so that each litre can be explained: on which day, why, and in which tank.

use std::ops::AddAssign;

use chrono::NaiveDate;
use fillmark_domain::Coded;
use fillmark_domain::stock::UseCause;

use super::ProductForecast;

/// Expected use of a day, mL (or g).
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct UseByCause {
    /// See [`UseCause::Changes`].
    pub changes: f64,
    /// See [`UseCause::TopUps`].
    pub top_ups: f64,
    /// See [`UseCause::Ph`].
    pub ph: f64,
    /// See [`UseCause::Fed`].
    pub fed: f64,
    /// See [`UseCause::Unplanned`].
    pub unplanned: f64,
    /// See [`UseCause::Taken`].
    pub taken: f64,
}

impl UseByCause {
    /// All causes together.
    pub fn total(&self) -> f64 {
        self.planned() + self.unplanned + self.taken
    }

    /// What the plan of the tanks explains.
    pub fn planned(&self) -> f64 {
        self.changes + self.top_ups + self.ph + self.fed
    }

    /// Of so much for each of some causes.
    pub fn of_each(each: impl Iterator<Item = (UseCause, f64)>) -> UseByCause {
        let mut all = UseByCause::default();
        each.for_each(|(cause, amount)| *all.of_mut(cause) += amount);
        all
    }

    /// What one cause takes.
    pub fn of(&self, cause: UseCause) -> f64 {
        match cause {
            UseCause::Changes => self.changes,
            UseCause::TopUps => self.top_ups,
            UseCause::Ph => self.ph,
            UseCause::Fed => self.fed,
            UseCause::Unplanned => self.unplanned,
            UseCause::Taken => self.taken,
        }
    }

    pub(super) fn of_mut(&mut self, cause: UseCause) -> &mut f64 {
        match cause {
            UseCause::Changes => &mut self.changes,
            UseCause::TopUps => &mut self.top_ups,
            UseCause::Ph => &mut self.ph,
            UseCause::Fed => &mut self.fed,
            UseCause::Unplanned => &mut self.unplanned,
            UseCause::Taken => &mut self.taken,
        }
    }
}

impl AddAssign for UseByCause {
    fn add_assign(&mut self, more: Self) {
        for cause in UseCause::all() {
            *self.of_mut(*cause) += more.of(*cause);
        }
    }
}

/// What a tank takes on a day for one cause, mL (or g).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TankUse {
    /// Which day, counted from today.
    pub place: usize,
    /// Position of the tank in the question.
    pub tank: usize,
    /// Why.
    pub cause: UseCause,
    /// How much.
    pub amount: f64,
}

/// A cause of use on a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DatedCause {
    /// Which day.
    pub on: NaiveDate,
    /// Why.
    pub cause: UseCause,
    /// Position of the tank in the question; none of what no tank takes.
    pub tank: Option<usize>,
    /// How much, mL (or g).
    pub amount: f64,
}

/// Shares out what a day uses for each cause among the tanks, by what was reckoned for each of them before the whole was held
/// against past use: the parts add up to the day.
pub(super) fn shared_out(days: &[UseByCause], mut reckoned: Vec<TankUse>) -> Vec<TankUse> {
    let mut sums = vec![UseByCause::default(); days.len()];
    for one in &reckoned {
        *sums[one.place].of_mut(one.cause) += one.amount;
    }
    for one in &mut reckoned {
        one.amount *= days[one.place].of(one.cause) / sums[one.place].of(one.cause);
    }
    reckoned.retain(|one| one.amount > 0.0);
    reckoned.sort_by_key(|one| (one.place, one.cause, one.tank));
    reckoned.dedup_by(|one, kept| {
        let is_same = (one.place, one.cause, one.tank) == (kept.place, kept.cause, kept.tank);
        kept.amount += if is_same { one.amount } else { 0.0 };
        is_same
    });
    reckoned
}

impl ProductForecast {
    /// Each day's use taken apart: which tank takes how much of it for what, and what no tank takes.
    pub fn causes(&self) -> Vec<DatedCause> {
        let on = |place: usize| self.days[place].date;
        let of_tanks = self.of_tanks.iter().map(|one| DatedCause {
            on: on(one.place),
            cause: one.cause,
            tank: Some(one.tank),
            amount: one.amount,
        });
        let besides = self.days.iter().flat_map(|day| {
            let none = |cause| DatedCause { on: day.date, cause, tank: None, amount: day.by_cause.of(cause) };
            [UseCause::Unplanned, UseCause::Taken].map(none)
        });
        let mut causes: Vec<DatedCause> =
            of_tanks.chain(besides).filter(|cause| cause.amount != 0.0).collect();
        causes.sort_by_key(|cause| (cause.on, cause.cause, cause.tank));
        causes
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// By hand: of 30 mL for changes the tanks were reckoned to take 40 and 20, so they take 20 and 10.
    #[test]
    fn a_day_is_shared_out_as_it_was_reckoned() {
        let day = UseByCause { changes: 30.0, unplanned: 5.0, ..UseByCause::default() };
        let part = |tank, amount| TankUse { place: 0, tank, cause: UseCause::Changes, amount };
        assert_eq!(shared_out(&[day], vec![part(1, 20.0), part(0, 40.0)]), [part(0, 20.0), part(1, 10.0)]);
        assert_eq!(shared_out(&[UseByCause::default()], vec![part(0, 1.0)]), [], "nothing is nobody's");
    }
}
