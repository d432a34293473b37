//! What is taken out of the store for other uses than tanks, and what preparations are made of: forecast by its own past.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::stock::{Movement, MovementKind, ProductId, SlipId};

use super::cause::UseByCause;
use super::question::{Ingredient, Question, Unplanned};
use super::spans::WEEK;
use super::usage::Usage;

/// What was taken longer ago says less of what is taken now (our own judgement): half a year.
const RECENT_DAYS: i64 = 182;

/// What was taken once tells no rate of fewer days (our own judgement).
const LEAST_DAYS: i64 = 28;

/// Weeks that were alike may yet differ by this part of their mean (our own judgement).
const LEAST_SPREAD: f64 = 0.25;

/// What left the store other than into a tank.
#[derive(Debug, Clone, Default)]
pub struct TakenOut {
    movements: Vec<Movement>,
    /// The slips that something was made by, with what.
    making: BTreeMap<SlipId, ProductId>,
}

impl TakenOut {
    /// Of the movements of slips that took something out, with what was made of it; the earliest first.
    pub fn new(movements: Vec<Movement>) -> TakenOut {
        let made = movements.iter().filter(|one| one.kind == MovementKind::Receipt);
        TakenOut { making: made.map(|one| (one.slip, one.product)).collect(), movements }
    }

    /// What was taken of a product for anything but preparations.
    pub fn of(&self, product: ProductId, day: impl Fn(DateTime<Utc>) -> NaiveDate) -> Vec<Unplanned> {
        let taken = self.taken(product).filter(|one| !self.making.contains_key(&one.slip));
        taken.map(|one| unplanned(one, &day)).collect()
    }

    /// What was taken of a product for preparations, by what was made.
    pub fn prepared(
        &self,
        product: ProductId,
        day: impl Fn(DateTime<Utc>) -> NaiveDate,
    ) -> BTreeMap<ProductId, Vec<Unplanned>> {
        let mut prepared: BTreeMap<ProductId, Vec<Unplanned>> = BTreeMap::new();
        for one in self.taken(product) {
            if let Some(made) = self.making.get(&one.slip) {
                prepared.entry(*made).or_default().push(unplanned(one, &day));
            }
        }
        prepared
    }

    fn taken(&self, product: ProductId) -> impl Iterator<Item = &Movement> {
        self.movements.iter().filter(move |one| one.kind == MovementKind::Issue && one.product == product)
    }

    /// What a unit of a product is made of, by the last times it was made; nothing of what is not made on site.
    pub fn made_of(&self, product: ProductId) -> Vec<Ingredient> {
        let made = self
            .movements
            .iter()
            .rev()
            .filter(|one| one.kind == MovementKind::Receipt && one.product == product);
        let made: Vec<&Movement> = made.take(LAST_TIMES).collect();
        let units: f64 = made.iter().map(|one| one.change.base_units()).sum();
        let mut sums: BTreeMap<ProductId, f64> = BTreeMap::new();
        for one in self.movements.iter().filter(|one| one.kind == MovementKind::Issue) {
            if made.iter().any(|made| made.slip == one.slip) {
                *sums.entry(one.product).or_default() -= one.change.base_units();
            }
        }
        let each = sums.into_iter().filter(|(_, sum)| *sum > 0.0 && units > 0.0);
        each.map(|(product, sum)| Ingredient { product, per_unit: sum / units }).collect()
    }
}

fn unplanned(taken: &Movement, day: impl Fn(DateTime<Utc>) -> NaiveDate) -> Unplanned {
    Unplanned { on: day(taken.done_at), amount: -taken.change }
}

/// A recipe is what it was the last times (our own judgement).
const LAST_TIMES: usize = 3;

/// The mean of the days since the first time, and how weeks scatter about it.
struct Rate {
    per_day: f64,
    variance_per_day: f64,
    days: f64,
}

/// Adds to the use of each product what is taken out besides: for preparations as much as what is made of it will be used, and else as
/// it was taken before.
pub(super) fn add(question: &Question, usages: &mut [Usage]) {
    for (asked, usage) in question.products.iter().zip(usages.iter_mut()) {
        let prepared = asked.prepared.values().flatten();
        usage.learnt_from.taken = recent(question, asked.taken.iter().chain(prepared)).count();
        add_rate(question, &asked.taken, usage);
    }
    let mut explained = BTreeSet::new();
    for place in makers_first(question) {
        for ingredient in &question.products[place].made_of {
            let of_it = question.position(ingredient.product).filter(|of_it| *of_it != place);
            if of_it.is_some_and(|of_it| add_made(usages, place, of_it, ingredient.per_unit)) {
                explained.insert((ingredient.product, question.products[place].product));
            }
        }
    }
    for (asked, usage) in question.products.iter().zip(usages) {
        let others = asked.prepared.iter().filter(|(made, _)| !explained.contains(&(asked.product, **made)));
        others.for_each(|(_, taken)| add_rate(question, taken, usage));
    }
}

/// Adds what a product takes of an ingredient as it is used; whether it is used at all.
fn add_made(usages: &mut [Usage], made: usize, ingredient: usize, per_unit: f64) -> bool {
    let days: Vec<f64> = usages[made].days.iter().map(UseByCause::total).collect();
    let variances = usages[made].variance_until.clone();
    let of_it = &mut usages[ingredient];
    for ((day, variance), (used, of_made)) in
        of_it.days.iter_mut().zip(&mut of_it.variance_until).zip(days.iter().zip(variances))
    {
        day.taken += per_unit * used;
        *variance += per_unit * per_unit * of_made;
    }
    days.iter().sum::<f64>() > 0.0
}

/// The products that are made on site, each before those that it is made of. What goes in a circle is taken as it comes.
fn makers_first(question: &Question) -> Vec<usize> {
    fn visit(question: &Question, place: usize, seen: &mut Vec<bool>, after: &mut Vec<usize>) {
        if std::mem::replace(&mut seen[place], true) {
            return;
        }
        for ingredient in &question.products[place].made_of {
            if let Some(of_it) = question.position(ingredient.product) {
                visit(question, of_it, seen, after);
            }
        }
        after.push(place);
    }
    let (mut seen, mut after) = (vec![false; question.products.len()], Vec::new());
    (0..question.products.len()).for_each(|place| visit(question, place, &mut seen, &mut after));
    after.retain(|place| !question.products[*place].made_of.is_empty());
    after.reverse();
    after
}

fn recent<'a>(
    question: &'a Question,
    taken: impl IntoIterator<Item = &'a Unplanned>,
) -> impl Iterator<Item = &'a Unplanned> {
    taken.into_iter().filter(|one| (1..=RECENT_DAYS).contains(&-question.offset(one.on)))
}

fn add_rate(question: &Question, taken: &[Unplanned], usage: &mut Usage) {
    let sums = recent(question, taken).map(|one| (-question.offset(one.on), one.amount.base_units()));
    let Some(rate) = Rate::of(&sums.collect::<Vec<_>>()) else { return };
    for (place, (day, variance)) in usage.days.iter_mut().zip(&mut usage.variance_until).enumerate() {
        day.taken += rate.per_day;
        *variance += rate.variance(place as f64 + 1.0);
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
