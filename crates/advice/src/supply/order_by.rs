//! How long the stock lasts, and the last day to order.

use chrono::{NaiveDate, TimeDelta};
use fillmark_domain::Amount;
use fillmark_domain::stock::{OnHand, ProductKind, WriteOff, spoilage};

use super::answer::{Caution, DayForecast, OrderBy, ProductForecast, Purchase};
use super::cause::shared_out;
use super::lead_time::LeadOdds;
use super::normal::{chance_at_most, quantile};
use super::question::{ProductAsked, Question, SupplierAsked, TankAsked};
use super::under_way::UnderWay;
use super::uptake::PRIOR_LITRES;
use super::usage::Usage;

/// Beyond the horizon use goes on as in its last days.
const LAST_DAYS: usize = 28;

/// Nobody looks further ahead to see how long a stock lasts.
const LONGEST_DAYS: i64 = 731;

/// Use and stock of one product on each day to come.
pub(super) struct Outlook<'a> {
    question: &'a Question,
    /// The product.
    pub(super) product: &'a ProductAsked,
    usage: Usage,
    spoils: Vec<WriteOff>,
    mean_until: Vec<f64>,
    under_way: UnderWay,
    /// Stock and what is not overdue until the end of each day, less what expires unused.
    supply_until: Vec<f64>,
    /// What of the overdue can have come until then, each with its chance.
    late_until: Vec<Vec<(f64, f64)>>,
    risks: Risks,
}

/// Chances of having run out by the end of each day.
#[derive(Default)]
struct Risks {
    until: Vec<f64>,
}

impl Risks {
    fn at(&self, day: i64) -> f64 {
        match usize::try_from(day) {
            Ok(place) => self.until[place.min(self.until.len() - 1)],
            Err(_) => 0.0,
        }
    }

    /// Before an order arrives that comes on one of some days.
    fn before(&self, arrivals: &[(i64, f64)]) -> f64 {
        arrivals.iter().map(|(day, chance)| chance * self.at(day - 1)).sum()
    }
}

impl<'a> Outlook<'a> {
    /// From the use and the stock.
    pub(super) fn new(question: &'a Question, product: &'a ProductAsked, mut usage: Usage) -> Outlook<'a> {
        let mut used = 0.0;
        let mean_until: Vec<f64> = usage
            .days
            .iter()
            .map(|day| {
                used += day.total();
                used
            })
            .collect();
        hold_to_later(&mean_until, &mut usage.variance_until, quantile(question.service_level));
        let uses = usage.days.iter().map(|day| Amount::rounded(day.total()));
        let spoils = spoilage(&product.on_hand, uses, question.today).write_offs;
        let under_way = UnderWay::of(question, product);
        let mut outlook = Outlook {
            question,
            product,
            usage,
            mean_until,
            supply_until: supply(question, product, &spoils, &under_way),
            late_until: (0..question.horizon() as i64).map(|day| under_way.late_by(day)).collect(),
            under_way,
            spoils,
            risks: Risks::default(),
        };
        outlook.risks = outlook.risks_from(0);
        outlook
    }

    /// Chances of running out on a day or later.
    fn risks_from(&self, from: i64) -> Risks {
        let mut highest: f64 = 0.0;
        let until = (0..self.mean_until.len() as i64).map(|day| {
            let enough = if day < from { 1.0 } else { self.chance_of_enough(day, 0.0) };
            highest = highest.max(1.0 - enough);
            highest
        });
        Risks { until: until.collect() }
    }

    /// Chance that stock, deliveries under way and something more cover the use until the end of a day.
    pub(super) fn chance_of_enough(&self, day: i64, more: f64) -> f64 {
        let (mean, sd) = self.use_until(day);
        let place = self.place(day);
        let there = self.supply_until[place] + more;
        let cases = self.late_until[place].iter();
        cases.map(|(came, chance)| chance * chance_at_most(there + came, mean, sd)).sum()
    }

    /// Mean and spread of the use until the end of a day, also beyond the horizon.
    pub(super) fn use_until(&self, day: i64) -> (f64, f64) {
        let last = self.mean_until.len() - 1;
        let Ok(place) = usize::try_from(day) else { return (0.0, 0.0) };
        if place <= last {
            return (self.mean_until[place], self.usage.variance_until[place].sqrt());
        }
        let recent = LAST_DAYS.min(last + 1);
        let recent_use: f64 = self.usage.days[last + 1 - recent..].iter().map(|day| day.total()).sum();
        let beyond = (place - last) as f64;
        let growth = (place + 1) as f64 / (last + 1) as f64;
        let mean = self.mean_until[last] + beyond * recent_use / recent as f64;
        (mean, (self.usage.variance_until[last].sqrt()) * growth)
    }

    /// What may be used until a day: beyond the days looked at as on the last of them, or as on all of them if that is more, since a
    /// plan that ends there is no end of growing.
    pub(super) fn may_use_until(&self, day: i64) -> f64 {
        let (used, last) = (self.use_until(day).0, self.mean_until.len() as i64 - 1);
        if day <= last {
            return used;
        }
        used.max(self.use_until(last).0 * (day + 1) as f64 / (last + 1) as f64)
    }

    /// Stock and deliveries under way that are there by a day in the mean, less what expires unused.
    pub(super) fn supply_by(&self, day: i64) -> f64 {
        let place = self.place(day);
        let late = self.late_until[place].iter().map(|(came, chance)| came * chance);
        self.supply_until[place] + late.sum::<f64>()
    }

    fn place(&self, day: i64) -> usize {
        usize::try_from(day).unwrap_or(0).min(self.supply_until.len() - 1)
    }

    /// Whole days from today that the stock lasts with something more, in the mean; at most two years.
    pub(super) fn lasts_with(&self, more: f64) -> i64 {
        let runs_out = |day: &i64| self.supply_by(*day) + more < self.use_until(*day).0;
        (0..LONGEST_DAYS).find(runs_out).unwrap_or(LONGEST_DAYS)
    }

    /// What the use until a day exceeds what is there and under way.
    pub(super) fn lacking_by(&self, day: NaiveDate) -> f64 {
        let day = self.question.offset(day);
        (self.use_until(day).0 - self.supply_by(day)).max(0.0)
    }

    /// The last order day that keeps the service level, with the chance of running out on a day or later before it comes; none while
    /// the stock lasts.
    pub(super) fn order_by(
        &self,
        supplier: &SupplierAsked,
        lead: &LeadOdds,
        from: i64,
    ) -> Option<(OrderBy, f64)> {
        let allowed = self.allowed_risk();
        let risks = self.risks_from(from);
        if risks.at(self.question.horizon() as i64 - 1) <= allowed {
            return None;
        }
        let mut best = None;
        for day in order_days(self.question, supplier) {
            let risk = risks.before(&lead.arrivals(self.question, day));
            if risk > allowed {
                let late = || (OrderBy::Late(self.question.date(day)), risk);
                return Some(best.unwrap_or_else(late));
            }
            best = Some((OrderBy::On(self.question.date(day)), risk));
        }
        best
    }

    /// Chance of running out before an order of this day arrives.
    pub(super) fn risk_when_ordered(&self, lead: &LeadOdds, ordered_on: i64) -> f64 {
        self.risks.before(&lead.arrivals(self.question, ordered_on))
    }

    fn is_covered_in_the_end(&self) -> bool {
        self.chance_of_enough(self.question.horizon() as i64 - 1, 0.0) >= self.question.service_level
    }

    fn allowed_risk(&self) -> f64 {
        1.0 - self.question.service_level
    }

    /// The finished answer.
    pub(super) fn answer(self, purchase: Option<Purchase>) -> ProductForecast {
        let level = self.question.service_level;
        let z = quantile(level);
        let days = (0..self.mean_until.len())
            .map(|place| {
                let (mean, spread_until) = self.use_until(place as i64);
                let day = place as i64;
                let likely = self.supply_until[place] + self.under_way.likely_late_by(day, level);
                DayForecast {
                    date: self.question.date(place as i64),
                    by_cause: self.usage.days[place],
                    spread_until,
                    balance: self.supply_by(day) - mean,
                    balance_low: likely - mean - z * spread_until,
                }
            })
            .collect();
        let runs_out = self.risks.until.iter().position(|risk| *risk > self.allowed_risk());
        let may_run_out_on = runs_out.map(|day| self.question.date(day as i64));
        let cautions = self.cautions(purchase.as_ref(), may_run_out_on);
        let mut changes = self.usage.changes;
        changes.sort_by_key(|(place, _)| *place);
        let change = |(place, amount): &(usize, f64)| (self.question.date(*place as i64), *amount);
        ProductForecast {
            product: self.product.product,
            days,
            of_tanks: shared_out(&self.usage.days, self.usage.of_tanks),
            changes: changes.iter().map(change).collect(),
            learnt_from: self.usage.learnt_from,
            baseline: self.usage.baseline,
            deliveries: self.under_way.deliveries,
            spoils: self.spoils,
            may_run_out_on,
            purchase,
            cautions,
        }
    }

    fn cautions(&self, purchase: Option<&Purchase>, runs_out: Option<NaiveDate>) -> Vec<Caution> {
        let mut cautions = self.under_way.cautions.clone();
        let learnt = self.usage.learnt_from;
        let planned = self.usage.days.iter().any(|day| day.planned() > 0.0);
        if learnt.fills + learnt.top_ups == 0 && planned {
            cautions.push(Caution::PlanOnly);
        }
        if !planned && self.usage.off_plan {
            cautions.push(Caution::PastOnly);
        }
        let topped_up = self.usage.days.iter().any(|day| day.top_ups > 0.0);
        if self.usage.learnt_from.uptake_spans == 0 && topped_up {
            cautions.push(Caution::UptakeAssumed { litres: PRIOR_LITRES });
        }
        if self.usage.fed_assumed {
            cautions.push(Caution::FeedAssumed { litres: PRIOR_LITRES });
        }
        let since = |days: usize| self.question.today - TimeDelta::days(days as i64);
        cautions.extend(self.usage.left_alone_days.map(|days| Caution::LeftAlone { since: since(days) }));
        let takes = |tank: &&TankAsked| {
            tank.fed.values().any(|day| day.dose_of(self.product.product) > 0.0)
                || self.product.kind == ProductKind::PhAdjuster
        };
        let tanks = self.question.tanks.iter().filter(takes);
        let without_step = tanks.filter_map(|tank| tank.without_step_on).min();
        cautions.extend(without_step.map(|on| Caution::NoStep { on }));
        let held_back = self.product.on_hand.iter().filter(|lot| !lot.released);
        let amount: Amount = held_back.map(|lot| lot.held).sum();
        if amount.is_positive() {
            cautions.push(Caution::InQuarantine { amount });
        }
        if !self.spoils.is_empty() {
            cautions.push(Caution::StockSpoils);
        }
        match purchase {
            Some(purchase) => {
                if purchase.lead_time.orders == 0 {
                    cautions.push(Caution::LeadTimeUnproven);
                }
                let given: Amount = purchase.transfers.iter().map(|transfer| transfer.amount).sum();
                if given + purchase.amount < purchase.needed {
                    cautions.push(Caution::CappedByExpiry);
                }
                if purchase.at_most.is_some_and(|at_most| purchase.amount > at_most) {
                    cautions.push(Caution::SomeLeftOver);
                }
            }
            None if !self.product.made_of.is_empty() => {
                cautions.extend(runs_out.map(|on| Caution::MakeBefore { on }));
            }
            None if self.is_covered_in_the_end() => {}
            None if runs_out.is_some() => cautions.push(Caution::NoOffer),
            None => {}
        }
        let ordered_before = |from: &NaiveDate| match purchase.map(|purchase| purchase.order_by) {
            Some(order_by) => order_by.date() <= *from || matches!(order_by, OrderBy::Late(_)),
            None => !self.is_covered_in_the_end(),
        };
        let gap = runs_out.filter(|from| !ordered_before(from));
        cautions.extend(gap.map(|from| Caution::GapUntilItComes { from }));
        let taking = self.question.tanks.iter().filter(takes);
        let last_fed = taking.filter_map(|tank| tank.fed.keys().next_back()).max();
        if let Some(on) =
            last_fed.filter(|day| self.question.offset(**day) + 1 < self.question.horizon() as i64)
        {
            cautions.push(Caution::PlanEnds { on: *on });
        }
        cautions
    }
}

/// Holds what may be used until a day to what may be used until any later one: a change that may slip over a day makes that
/// day's sum uncertain and not the sum beyond it, and what was used by then is part of it.
fn hold_to_later(mean_until: &[f64], variance_until: &mut [f64], z: f64) {
    if z <= 0.0 {
        return;
    }
    let mut most = f64::INFINITY;
    for (mean, variance) in mean_until.iter().zip(variance_until).rev() {
        most = most.min(mean + z * variance.sqrt());
        *variance = ((most - mean) / z).max(0.0).powi(2);
    }
}

/// Days from today on which an order can be placed with a supplier.
pub(super) fn order_days(question: &Question, supplier: &SupplierAsked) -> impl Iterator<Item = i64> {
    let first = question.offset(supplier.orders_from).max(0);
    (first..first + question.horizon() as i64)
        .filter(|day| supplier.order_days.has(question.date(*day)) && question.open.has(question.date(*day)))
}

/// Stock and what is not overdue until the end of each day, less what expires unused.
fn supply(
    question: &Question,
    product: &ProductAsked,
    spoils: &[WriteOff],
    under_way: &UnderWay,
) -> Vec<f64> {
    let usable = |lot: &&OnHand| lot.released && lot.held.is_positive();
    let held: f64 = product.on_hand.iter().filter(usable).map(|lot| lot.held.base_units()).sum();
    (0..question.horizon() as i64)
        .map(|day| {
            let spoilt = spoils.iter().filter(|spoilt| question.offset(spoilt.on) <= day);
            held + under_way.surely_by(day) - spoilt.map(|spoilt| spoilt.amount.base_units()).sum::<f64>()
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_may_be_used_by_a_day_may_be_used_by_the_next() {
        // A change of 200 mL that may slip by a day, and another ten days on: in the middle nobody knows, then one does.
        let mean = [0.0, 100.0, 200.0, 200.0, 300.0, 400.0];
        let mut variance = [0.0, 10_000.0, 100.0, 100.0, 10_000.0, 100.0];
        let z = 1.645;
        hold_to_later(&mean, &mut variance, z);
        let most: Vec<f64> =
            mean.iter().zip(variance).map(|(mean, variance)| mean + z * variance.sqrt()).collect();
        assert!(most.is_sorted(), "{most:?}");
        assert!(
            (most[5] - (400.0 + z * 10.0)).abs() < 1e-9 && most[1] <= 200.0 + z * 10.0 + 1e-9,
            "{most:?}"
        );
    }
}
