//! Stock against tanks: what was drawn of a product in a month, and what the tanks show of it.

use std::collections::BTreeMap;

use chrono::{DateTime, Datelike, Utc};
use chrono_tz::Tz;
use fillmark_domain::Id;
use fillmark_domain::entries::Addition;
use fillmark_domain::stock::ProductId;

use super::{Checked, Dosed, Rise, Verdict};
use crate::solution::balance::{Reckoned, Rises, spread_of};
use crate::solution::uptake::SURE;

/// Readings that tell a dose no better than this part of it tell nothing, and the record stands (our own judgement).
const TELLS: f64 = 0.5;

/// Where no reading tells of more than this part, the record is held against itself (our own judgement).
const MOST_UNOBSERVED: f64 = 0.5;

/// Doses are measured out to this part (common practice, no source), each for itself.
const MEASURED_TO: f64 = 0.05;

/// An amount drawn from stock.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Drawn {
    /// Of which product.
    pub product: ProductId,
    /// When.
    pub at: DateTime<Utc>,
    /// mL or g.
    pub amount: f64,
}

/// A product in a month of the site.
#[derive(Debug, Clone, PartialEq)]
pub struct Month {
    /// Which product.
    pub product: ProductId,
    /// The year.
    pub year: i32,
    /// The month, 1 to 12.
    pub month: u32,
    /// Drawn from stock, mL or g.
    pub drawn: f64,
    /// Poured, as the tanks show it, mL or g.
    pub shown: Reckoned,
    /// Part of it that no reading tells, taken from the record, mL or g.
    pub unobserved: f64,
    /// What to make of it.
    pub verdict: MonthVerdict,
    /// The additions whose readings do not agree with the record.
    pub look_at: Vec<Id<Addition>>,
}

/// Whether a month closes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MonthVerdict {
    /// It does, as far as readings can tell.
    Closes,
    /// Of most of it no reading tells.
    NotObserved,
    /// More was drawn than reached the tanks: spilt, drawn in another unit, or used where no record says.
    MoreDrawn,
    /// More reached the tanks than was drawn: taken from stock without a record.
    MoreShown,
}

/// Sums up to a month.
#[derive(Default)]
struct Sums {
    drawn: f64,
    shown: f64,
    variance: f64,
    unobserved: f64,
    look_at: Vec<Id<Addition>>,
}

/// What was drawn of each product in each month beside what the tanks show; checks of all tanks that are fed from the stock.
pub fn months(drawn: &[Drawn], checks: &[Checked], rises: &Rises, zone: Tz) -> Vec<Month> {
    let mut sums: BTreeMap<(ProductId, i32, u32), Sums> = BTreeMap::new();
    let key = |product: ProductId, at: DateTime<Utc>| {
        let local = at.with_timezone(&zone);
        (product, local.year(), local.month())
    };
    for one in drawn {
        sums.entry(key(one.product, one.at)).or_default().drawn += one.amount;
    }
    for check in checks {
        for dose in &check.poured {
            let (product, shown) = shown(check, dose);
            let of_it = sums.entry(key(product, check.at)).or_default();
            let amount = shown.unwrap_or(Reckoned { value: dose.amount, spread: 0.0 });
            of_it.shown += amount.value;
            of_it.variance += amount.spread.powi(2) + (MEASURED_TO * amount.value).powi(2);
            of_it.unobserved += if shown.is_none() { dose.amount } else { 0.0 };
            if check.verdict.wants_a_look() {
                sums.entry(key(dose.product, check.at)).or_default().look_at.push(dose.id);
            }
        }
    }
    sums.into_iter().map(|((product, year, month), sums)| sums.closed(product, year, month, rises)).collect()
}

/// How much of a dose the readings show, and of which product; nothing where they tell nothing. What differs without a named
/// cause is shared among the doses of a group by what they should have brought.
fn shown(check: &Checked, dose: &Dosed) -> (ProductId, Option<Reckoned>) {
    let exactly = |amount: f64| Some(Reckoned { value: amount, spread: 0.0 });
    match &check.verdict {
        Verdict::UnitSlip { whose, factor } => {
            let factor = whose.is_of(dose.id).map(|is| if is { *factor } else { 1.0 });
            (dose.product, factor.and_then(|factor| exactly(factor * dose.amount)))
        }
        Verdict::NotPoured { whose } => {
            let factor = whose.is_of(dose.id).map(|is| if is { 0.0 } else { 1.0 });
            (dose.product, factor.and_then(|factor| exactly(factor * dose.amount)))
        }
        Verdict::WrongProduct { whose, poured } => match whose.is_of(dose.id) {
            Some(true) => (*poured, exactly(dose.amount)),
            Some(false) => (dose.product, exactly(dose.amount)),
            None => (dose.product, None),
        },
        Verdict::MeterOut { .. } | Verdict::MeterOrProducts { .. } => (dose.product, None),
        Verdict::Agrees
        | Verdict::NotObserved
        | Verdict::RiseUnknown(_)
        | Verdict::EarlierLabel(_)
        | Verdict::UnrecordedAddition { .. }
        | Verdict::UnrecordedWater { .. }
        | Verdict::Unexplained => (dose.product, check.rise.and_then(|rise| shared(rise, dose.amount))),
    }
}

fn shared(rise: Rise, amount: f64) -> Option<Reckoned> {
    let part = rise.spread / rise.by_products;
    let factor = (1.0 + rise.difference() / rise.by_products).max(0.0);
    (rise.by_products > 0.0 && part <= TELLS)
        .then_some(Reckoned { value: amount * factor, spread: part * amount })
}

impl Sums {
    /// What is not known of a product's rise is off the same way in all of its doses.
    fn closed(self, product: ProductId, year: i32, month: u32, rises: &Rises) -> Month {
        let telling = rises.get(&product).filter(|rise| rise.value > 0.0);
        let of_rise = telling.map_or(0.0, |rise| spread_of(rise) / rise.value);
        let spread = self.variance.sqrt().hypot(of_rise * (self.shown - self.unobserved));
        let off = self.drawn - self.shown;
        let verdict = if off > SURE * spread {
            MonthVerdict::MoreDrawn
        } else if off < -SURE * spread {
            MonthVerdict::MoreShown
        } else if self.unobserved > MOST_UNOBSERVED * self.shown {
            MonthVerdict::NotObserved
        } else {
            MonthVerdict::Closes
        };
        let shown = Reckoned { value: self.shown, spread };
        let (drawn, unobserved, look_at) = (self.drawn, self.unobserved, self.look_at);
        Month { product, year, month, drawn, shown, unobserved, verdict, look_at }
    }
}
