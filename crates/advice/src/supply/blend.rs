//! The plan weighed against past use: how each way of forecasting did on this product as of earlier days decides how
//! much of it is believed, and how far they all were off decides how sure the answer is.

use super::cause::UseByCause;
use super::history::{History, ProductHistory};
use super::in_use::InUse;
use super::methods::smooth;
use super::spans::WEEK;
use super::usage::Usage;
use super::ways::{ERROR_POWER, shares_by_error};

/// Days whose sum is held against the forecast.
pub(super) const JUDGED_DAYS: usize = 28;

/// Ways to forecast a product: by the plan, by smoothing past weeks, by their mean.
const WAYS: usize = 3;

/// Squared errors, as shares of the mean use, that each way starts with, over as many forecasts: the plan is believed
/// until the record speaks against it; our own judgement.
const PRIOR_ERRORS: [f64; WAYS] = [0.01, 0.08, 0.08];
const PRIOR_FORECASTS: f64 = 3.0;

/// Past use must be this much better than the plan to count as much: it cannot tell when anything is used.
const HANDICAP: f64 = 3.0;

/// The plan counts as having come true in so many forecasts; what it was off by less than this share is chance, and it is
/// never scaled by more. Our own judgement.
const CORRECTION_FORECASTS: f64 = 2.0;
const NO_CORRECTION: f64 = 0.05;
const MOST_CORRECTION: f64 = 0.3;

/// What lies between changes is scaled up by at most this before the changes are; our own judgement.
const MOST_OF_OTHERS: f64 = 1.3;

/// Of what earlier forecasts came to, kept at each further one: what a season or a new hand takes is gone in two months.
const KEPT: f64 = 0.6;

/// Of what earlier forecasts were off by, kept at each further one: those of the first months knew little. Our own judgement.
const SURPRISES_KEPT: f64 = 0.95;

/// A forecast that was off by more, squared and in stated variances, was off by a tank out of use or a slip: our own judgement.
const SURPRISE_AT_MOST: f64 = 9.0;

/// Weight of the site's spread beside a product's own, and of the stated one beside the site's, in forecasts.
const SITE_FORECASTS: f64 = 6.0;
const STATED_FORECASTS: f64 = 6.0;

/// Of the last week's surprise taken into the smoothed use, and the days of which it mostly is.
const SMOOTHING: f64 = 0.2;
const SMOOTHED_DAYS: usize = 35;

/// How the forecasts of one product as of earlier days came out.
#[derive(Debug, Clone, Default)]
pub(super) struct Outcomes {
    pending: Vec<Told>,
    errors: [f64; WAYS],
    count: f64,
    surprises: Surprises,
    actual: f64,
    told: f64,
}

/// How far forecasts were off.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Surprises {
    /// Squares, in stated variances.
    squares: f64,
    /// Forecasts.
    forecasts: f64,
}

impl Surprises {
    fn add(&mut self, square: f64) {
        self.squares = self.squares * SURPRISES_KEPT + square;
        self.forecasts = self.forecasts * SURPRISES_KEPT + 1.0;
    }

    /// By how much a variance is larger than stated, where it would be by so much in so many forecasts more.
    fn widening(self, otherwise: f64, forecasts: f64) -> f64 {
        (self.squares + forecasts * otherwise) / (self.forecasts + forecasts)
    }
}

impl std::iter::Sum for Surprises {
    fn sum<I: Iterator<Item = Surprises>>(each: I) -> Surprises {
        each.fold(Surprises::default(), |sum, one| Surprises {
            squares: sum.squares + one.squares,
            forecasts: sum.forecasts + one.forecasts,
        })
    }
}

#[derive(Debug, Clone)]
struct Told {
    origin: usize,
    /// What the plan explained of each tank.
    of_tanks: Vec<f64>,
    each: [f64; WAYS],
    plan: f64,
    blended: f64,
    variance: f64,
}

impl Outcomes {
    /// Learns from the forecasts whose days have passed. What was told of tanks that were out of use then says nothing of the others.
    pub(super) fn advance(&mut self, product: &ProductHistory, in_use: &InUse, until: usize) {
        if self.pending.first().is_none_or(|told| told.origin + JUDGED_DAYS > until) {
            return;
        }
        let mean = used(product, 0, until) / until.max(1) as f64 * JUDGED_DAYS as f64;
        let (errors, count, surprises) = (&mut self.errors, &mut self.count, &mut self.surprises);
        let (all, all_told) = (&mut self.actual, &mut self.told);
        self.pending.retain(|told| {
            if told.origin + JUDGED_DAYS > until {
                return true;
            }
            let actual = used_in_a_month(product, told.origin);
            for (sum, each) in errors.iter_mut().zip(told.each) {
                *sum += ((each - actual) / mean.max(1e-9)).powi(2);
            }
            *count += 1.0;
            let days = told.origin..told.origin + JUDGED_DAYS;
            let of_used = told.plan - in_use.of_idle(&told.of_tanks, days.clone());
            *all = *all * KEPT + poured(product, days.start, days.end) / mean.max(1e-9);
            *all_told = *all_told * KEPT + of_used / mean.max(1e-9);
            surprises.add(((told.blended - actual).powi(2) / told.variance.max(1e-9)).min(SURPRISE_AT_MOST));
            false
        });
    }

    /// The part of each way.
    fn shares(&self) -> [f64; WAYS] {
        let error = |way: usize| {
            let error =
                (self.errors[way] + PRIOR_FORECASTS * PRIOR_ERRORS[way]) / (self.count + PRIOR_FORECASTS);
            if way == 0 { error } else { error * HANDICAP }
        };
        shares_by_error(std::array::from_fn(error), ERROR_POWER)
    }

    /// Scales what the plan explains by how it came out before, as far as that lies beyond what chance does.
    fn correct(&self, usage: &mut Usage) {
        let off = (self.actual + CORRECTION_FORECASTS) / (self.told + CORRECTION_FORECASTS) - 1.0;
        let factor = 1.0 + off.signum() * (off.abs() - NO_CORRECTION).clamp(0.0, MOST_CORRECTION);
        for month in usage.days.chunks_mut(JUDGED_DAYS) {
            let told: f64 = month.iter().map(|day| day.planned()).sum();
            reach(month, factor * told);
        }
    }

    /// Weighs a forecast made at the start of a day with past use, and keeps it to be judged.
    pub(super) fn blend(&mut self, history: &History, place: usize, open: &Open<'_>, usage: &mut Usage) {
        let (origin, product) = (open.origin, &history.products[place]);
        let stronger = |from: usize| history.dose_rises(place, from..origin, origin..origin + JUDGED_DAYS);
        let mean = used(product, 0, origin) / origin.max(1) as f64 * WEEK as f64;
        // A dose that is doubled takes twice as much, whatever was taken before.
        let lately = origin.saturating_sub(SMOOTHED_DAYS);
        let weekly = [smoothed(product, origin) * stronger(lately), mean * stronger(0)];
        let shares = self.shares();
        let uncorrected = planned(usage);
        self.correct(usage);
        let plan: f64 = usage.days.iter().take(JUDGED_DAYS).map(UseByCause::total).sum();
        if self.count > 0.0 && shares[0] < 0.99 && usage.goes_on {
            let by_day = (shares[1] * weekly[0] + shares[2] * weekly[1]) / WEEK as f64;
            weigh(&mut usage.days, shares[0], &open.shared_out(by_day));
        }
        let blended = usage.days.iter().take(JUDGED_DAYS).map(UseByCause::total).sum();
        let weeks = (JUDGED_DAYS / WEEK) as f64;
        let variance = usage.variance_until.get(JUDGED_DAYS - 1).copied().unwrap_or(0.0);
        let each = [plan, weekly[0] * weeks, weekly[1] * weeks];
        // How well what is assumed came out says nothing of what is metered since.
        if !usage.fed_assumed {
            let of_tanks = usage.judged_of.clone();
            self.pending.push(Told { origin, of_tanks, plan: uncorrected, each, blended, variance });
        }
    }

    /// How far its forecasts were off.
    pub(super) fn surprises(&self) -> Surprises {
        self.surprises
    }

    /// By how much the variance is larger than stated, as far as is known of it and of the site's products.
    pub(super) fn widening(&self, of_site: Surprises) -> f64 {
        self.surprises.widening(of_site.widening(1.0, STATED_FORECASTS), SITE_FORECASTS)
    }
}

/// The days on which somebody works, as of a day.
pub(super) struct Open<'a> {
    /// Each day on record and to come.
    pub(super) all: &'a [bool],
    /// The first day forecast.
    pub(super) origin: usize,
    /// Days to forecast.
    pub(super) days: usize,
}

impl Open<'_> {
    /// What was used a day, on the open days to come, as it was on those before: nothing on the others.
    fn shared_out(&self, by_day: f64) -> Vec<f64> {
        let before = &self.all[..self.origin];
        let worked = before.iter().filter(|open| **open).count();
        let by_open_day = by_day * before.len() as f64 / worked.max(1) as f64;
        let to_come = self.all[self.origin..].iter().take(self.days);
        to_come.map(|open| if *open { by_open_day } else { 0.0 }).collect()
    }
}

/// What the plan explains of the days that are judged.
fn planned(usage: &Usage) -> f64 {
    usage.days.iter().take(JUDGED_DAYS).map(|day| day.planned()).sum()
}

/// Takes a part of the plan and fills up with past use, four weeks at a time, so that each cause stays on its day and all
/// still add up to the whole.
fn weigh(days: &mut [UseByCause], plan_share: f64, past: &[f64]) {
    for (month, past) in days.chunks_mut(JUDGED_DAYS).zip(past.chunks(JUDGED_DAYS)) {
        let told: f64 = month.iter().map(UseByCause::total).sum();
        let of_past: f64 = past.iter().sum();
        let wanted = plan_share * told + of_past;
        if told > 0.25 * wanted {
            let unplanned: f64 = month.iter().map(|day| day.unplanned).sum();
            reach(month, (wanted - unplanned).max(0.0));
        } else {
            // Where the plan has next to nothing, past use has no cause in it.
            let rest = (wanted - told) / of_past.max(1e-9);
            month.iter_mut().zip(past).for_each(|(day, past)| day.unplanned += rest * past);
        }
    }
}

/// Scales what is planned so that it adds up to a sum: what lies between the changes first, since a change is a known volume on a
/// known day, and the changes only by what is left.
fn reach(days: &mut [UseByCause], wanted: f64) {
    let changes: f64 = days.iter().map(|day| day.changes).sum();
    let others: f64 = days.iter().map(|day| day.top_ups + day.ph + day.fed).sum();
    if changes + others <= 0.0 {
        return;
    }
    let of_others = if others > 0.0 { ((wanted - changes) / others).clamp(0.0, MOST_OF_OTHERS) } else { 1.0 };
    let left = wanted - of_others * others;
    let of_changes = if changes > 0.0 { (left / changes).max(0.0) } else { 1.0 };
    for day in days {
        *day = UseByCause {
            changes: day.changes * of_changes,
            top_ups: day.top_ups * of_others,
            ph: day.ph * of_others,
            fed: day.fed * of_others,
            ..*day
        };
    }
}

/// What was poured on days from one to before another.
fn poured(product: &ProductHistory, from: usize, until: usize) -> f64 {
    let until = until.min(product.poured.len());
    product.poured[from.min(until)..until].iter().sum()
}

/// What was used on days from one to before another, losses as they were noticed.
fn used(product: &ProductHistory, from: usize, until: usize) -> f64 {
    let until = until.min(product.poured.len());
    let lost = product.lost.iter().filter(|(day, _)| (from..until).contains(day));
    poured(product, from, until) + lost.map(|(_, amount)| amount).sum::<f64>()
}

/// The same of the days that are judged. What a count finds beyond the record may have been poured as much too little at any time
/// since the count before: it only makes up for what was found missing in the same days.
fn used_in_a_month(product: &ProductHistory, from: usize) -> f64 {
    let poured = poured(product, from, from + JUDGED_DAYS);
    used(product, from, from + JUDGED_DAYS).max(poured)
}

/// Use of a week by exponential smoothing of the weeks before a day.
fn smoothed(product: &ProductHistory, before: usize) -> f64 {
    let first = before % WEEK;
    let weeks =
        product.poured[first.min(product.poured.len())..before.min(product.poured.len())].chunks(WEEK);
    let weeks: Vec<f64> = weeks.map(|week| week.iter().sum()).collect();
    smooth(&weeks, SMOOTHING).map_or(0.0, |smoothed| smoothed.level)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Forecasts that were off by twice what was stated, then by what was stated.
    #[test]
    fn what_the_first_months_were_off_by_is_gone_after_a_year() {
        let mut surprises = Surprises::default();
        (0..20).for_each(|_| surprises.add(4.0));
        assert!((surprises.widening(1.0, 0.0) - 4.0).abs() < 1e-9);
        (0..52).for_each(|_| surprises.add(1.0));
        assert!((1.0..1.3).contains(&surprises.widening(1.0, 0.0)), "{surprises:?}");
    }

    #[test]
    fn few_forecasts_say_little_of_the_spread() {
        let mut surprises = Surprises::default();
        surprises.add(16.0);
        assert_eq!(surprises.widening(1.0, 5.0), 21.0 / 6.0);
        assert_eq!(Surprises::default().widening(1.5, 6.0), 1.5);
    }
}
