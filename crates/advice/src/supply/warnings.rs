//! What of a forecast and of orders somebody must be told without asking.

use chrono::{Days, NaiveDate};
use fillmark_domain::stock::{LotId, Offer, Order, Product, ProductId, Supplier, WriteOff};
use fillmark_domain::work::AlertKind;
use fillmark_domain::{Amount, Base, Coded, Id, Money};
use uuid::Uuid;

use super::{Caution, Forecast, LeadTime, OrderBy, ProductForecast};

/// Days before the day to order by on which it is told (our own judgement): a weekend lies between.
const ORDER_SOON_DAYS: u64 = 3;

/// Within so many days a stock-out is told that no order mends (our own judgement).
const OUT_SOON_DAYS: u64 = 28;

/// A preparation that may run out within so many days is to be made (our own judgement).
const MAKE_SOON_DAYS: u64 = 7;

/// So many days before a lot expires it is told what will be left of it (our own judgement): early enough to use it up.
const EXPIRY_SOON_DAYS: u64 = 60;

/// Less than this part of a day's use left over at expiry is not told (our own judgement).
const LEFT_OVER_DAYS: f64 = 1.0;

/// A price this much above the last one is told (our own judgement).
const PRICE_JUMP: f64 = 0.15;

/// An order that takes longer than its mean and so many standard deviations is later than the supplier's spread: one of twenty of
/// a normal spread.
const LATE_SPREADS: f64 = 1.64;

/// Something to be told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Warning {
    /// What it is about.
    pub kind: AlertKind,
    /// The product, lot, offer or order.
    pub about: Uuid,
    /// What a person reads.
    pub text: String,
}

/// The kinds that are told of supply: one that is not told any more is over.
pub const SUPPLY_ALERTS: [AlertKind; 5] = [
    AlertKind::OrderByNear,
    AlertKind::StockOutNear,
    AlertKind::Expiry,
    AlertKind::PriceJump,
    AlertKind::SupplierLate,
];

/// What a forecast warns of. `named` gives a product's name and what it is counted in, `numbered` the number printed on a lot.
pub fn of_forecast(
    forecast: &Forecast,
    today: NaiveDate,
    named: impl Fn(ProductId) -> (String, Base),
    numbered: impl Fn(LotId) -> String,
) -> Vec<Warning> {
    let mut warnings = Vec::new();
    for product in &forecast.products {
        let (name, base) = named(product.product);
        warnings.extend(order_soon(product, &name, today));
        warnings.extend(out_soon(product, &name, today));
        let left = left_over(product, today);
        warnings.extend(left.map(|lot| {
            let amount = format!("{:.0} {}", lot.amount.base_units(), base.unit().code());
            let last = lot.on.pred_opt().unwrap_or(lot.on);
            let number = numbered(lot.lot);
            let text = match last < today {
                true => format!("{name}: lot {number} has expired, and {amount} of it are left: it is not used any more."),
                false => format!(
                    "{name}: {amount} of lot {number} are expected to be left when it expires; its last day is {last}."
                ),
            };
            about(AlertKind::Expiry, lot.lot, text)
        }));
    }
    warnings
}

fn within(on: NaiveDate, today: NaiveDate, days: u64) -> bool {
    today.checked_add_days(Days::new(days)).is_some_and(|limit| on <= limit)
}

fn about<W>(kind: AlertKind, about: Id<W>, text: String) -> Warning {
    Warning { kind, about: about.uuid(), text }
}

fn order_soon(product: &ProductForecast, name: &str, today: NaiveDate) -> Option<Warning> {
    let purchase = product.purchase.as_ref()?;
    let OrderBy::On(by) = purchase.order_by else { return None };
    let packs = purchase.pack_count();
    let text = format!("{name}: order {packs} packs by {by}, or it may run out before they come.");
    // A pack that would expire before it is used is not ordered.
    (packs > 0 && within(by, today, ORDER_SOON_DAYS))
        .then(|| about(AlertKind::OrderByNear, product.product, text))
}

fn out_soon(product: &ProductForecast, name: &str, today: NaiveDate) -> Option<Warning> {
    let may_run_out_on = product.may_run_out_on?;
    let gap = product.cautions.contains(&Caution::GapUntilItComes { from: may_run_out_on });
    let text = match &product.purchase {
        Some(purchase) if matches!(purchase.order_by, OrderBy::Late(_)) && purchase.pack_count() > 0 => {
            format!(
                "{name}: it may run out from {may_run_out_on} on, with a chance of {:.0} % before an order of {} comes.",
                purchase.chance_of_running_out * 100.0,
                purchase.order_by.date()
            )
        }
        _ if gap && within(may_run_out_on, today, OUT_SOON_DAYS) => {
            format!(
                "{name}: it may run out from {may_run_out_on} on, before what is under way comes. Ask the supplier."
            )
        }
        None if product.cautions.contains(&Caution::NoOffer)
            && within(may_run_out_on, today, OUT_SOON_DAYS) =>
        {
            format!("{name}: it may run out from {may_run_out_on} on, and nobody offers it.")
        }
        None if product.cautions.contains(&Caution::MakeBefore { on: may_run_out_on })
            && within(may_run_out_on, today, MAKE_SOON_DAYS) =>
        {
            format!("{name}: it may run out from {may_run_out_on} on; make more of it before.")
        }
        _ => return None,
    };
    Some(about(AlertKind::StockOutNear, product.product, text))
}

/// The lots of which a person should know that some of them will be left.
fn left_over(product: &ProductForecast, today: NaiveDate) -> impl Iterator<Item = &WriteOff> {
    let days = product.days.len().max(1);
    let a_day = product.expected_use(days) / days as f64;
    product.spoils.iter().filter(move |lot| {
        within(lot.on, today, EXPIRY_SOON_DAYS) && lot.amount.base_units() > LEFT_OVER_DAYS * a_day
    })
}

/// An order that is out.
#[derive(Debug, Clone, Copy)]
pub struct OrderOut<'a> {
    /// Its id.
    pub id: Id<Order>,
    /// From whom.
    pub supplier: &'a Supplier,
    /// When it was placed.
    pub placed_on: NaiveDate,
    /// When it should come, as its supplier said last.
    pub expected_on: NaiveDate,
    /// How long the supplier takes.
    pub lead_time: LeadTime,
}

/// What orders that are out warn of.
pub fn of_orders(out: &[OrderOut<'_>], today: NaiveDate) -> Vec<Warning> {
    let late = out.iter().filter(|order| {
        let waited = (today - order.placed_on).num_days() as f64;
        let spread = order.lead_time.mean_days + LATE_SPREADS * order.lead_time.sd_days;
        order.expected_on < today && waited > spread
    });
    late.map(|order| {
        let text = format!(
            "{}: what was ordered on {} has not all come, {} days later; {:.0} days, give or take {:.0}, are reckoned with. Ask the supplier.",
            order.supplier.name,
            order.placed_on,
            (today - order.placed_on).num_days(),
            order.lead_time.mean_days,
            order.lead_time.sd_days
        );
        about(AlertKind::SupplierLate, order.id, text)
    })
    .collect()
}

/// A price and the one before it.
#[derive(Debug, Clone, Copy)]
pub struct PriceStep<'a> {
    /// Of which offer.
    pub offer: Id<Offer>,
    /// Of which product.
    pub product: &'a Product,
    /// What a pack holds.
    pub pack: Amount,
    /// Whose offer it is.
    pub supplier: &'a str,
    /// What a pack cost when it was last ordered.
    pub before: Money,
    /// What it costs now.
    pub now: Money,
}

/// What prices warn of.
pub fn of_prices(steps: &[PriceStep<'_>]) -> Vec<Warning> {
    let rise = |step: &PriceStep<'_>| step.now.minor as f64 / step.before.minor as f64 - 1.0;
    let jumped = steps.iter().filter(|step| {
        step.before.currency == step.now.currency && step.before.minor > 0 && rise(step) > PRICE_JUMP
    });
    jumped
        .map(|step| {
            let text = format!(
                "{}: a pack of {} {} from {} costs {}, {:.0} % more than the {} when it was last ordered.",
                step.product.name,
                step.pack,
                step.product.base.unit().code(),
                step.supplier,
                step.now,
                rise(step) * 100.0,
                step.before
            );
            about(AlertKind::PriceJump, step.offer, text)
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use fillmark_domain::Currency;
    use fillmark_domain::stock::ProductKind;

    use super::*;

    #[track_caller]
    fn check(before: (i64, &str), now: (i64, &str), told: usize) {
        let money = |(minor, code)| Money::new(minor, Currency::from_code(code).unwrap());
        let product = Product {
            name: "Grow A".into(),
            base: Base::Volume,
            kind: ProductKind::Concentrate,
            mixing_rank: 20,
            goes_with: Vec::new(),
            hazards: String::new(),
            storage: String::new(),
        };
        let step = PriceStep {
            offer: Id::new(Uuid::nil()),
            product: &product,
            pack: Amount::rounded(5_000.0),
            supplier: "Veldman",
            before: money(before),
            now: money(now),
        };
        let warnings = of_prices(&[step]);
        assert_eq!(warnings.len(), told, "{before:?} {now:?}");
        assert!(
            warnings.iter().all(|one| one.text.starts_with("Grow A: a pack of 5000 mL from Veldman costs "))
        );
    }

    #[test]
    fn a_price_that_rose_much_is_told() {
        check((1_000, "EUR"), (1_150, "EUR"), 0);
        check((1_000, "EUR"), (1_160, "EUR"), 1);
        check((1_000, "EUR"), (800, "EUR"), 0);
        check((1_000, "EUR"), (2_000, "USD"), 0);
        check((0, "EUR"), (2_000, "EUR"), 0);
    }
}
