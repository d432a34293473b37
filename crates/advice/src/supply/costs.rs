//! What concentrate costs: what was poured, at what was paid for it.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{Datelike, NaiveDate};
use fillmark_domain::entries::{Addition, Poured};
use fillmark_domain::growing::spans;
use fillmark_domain::places::{RoomId, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{Offer, Order, ProductId};
use fillmark_domain::{Currency, Days, Id, Kept};

use super::{Ingredient, TakenOut};

/// What was paid, or asked, for a product.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PricePaid {
    /// Of which product.
    pub product: ProductId,
    /// When it was ordered; none of an offer as it stands.
    pub on: Option<NaiveDate>,
    /// On which offer.
    pub offer: Id<Offer>,
    /// Minor units for one mL (or g).
    pub minor_per_unit: f64,
}

/// The prices of orders that were placed, in a currency, the earliest first; then what offers ask now.
pub fn prices(orders: &[Kept<Order>], offers: &[Kept<Offer>], currency: Currency) -> Vec<PricePaid> {
    let mut paid: Vec<PricePaid> = Vec::new();
    for order in orders {
        let Some(on) = order.content.state.placed_on() else { continue };
        let lines = order
            .content
            .lines
            .iter()
            .filter(|line| line.price.currency == currency && line.pack.is_positive());
        paid.extend(lines.map(|line| PricePaid {
            product: line.product,
            on: Some(on),
            offer: line.offer,
            minor_per_unit: line.price.minor as f64 / line.pack.base_units(),
        }));
    }
    paid.sort_by_key(|price| (price.on, price.product, price.offer));
    let asked = offers.iter().filter(|offer| offer.content.price.currency == currency);
    paid.extend(asked.map(|offer| PricePaid {
        product: offer.content.product,
        on: None,
        offer: offer.id,
        minor_per_unit: offer.content.price_per_unit(),
    }));
    paid
}

/// What a unit poured on a day is reckoned at: what was paid last before it, else first after it, else the least that is asked.
fn price_on(prices: &[PricePaid], product: ProductId, on: NaiveDate) -> Option<f64> {
    let of_it = || prices.iter().filter(|price| price.product == product);
    let before = of_it().rfind(|price| price.on.is_some_and(|paid| paid <= on));
    let after = || of_it().find(|price| price.on.is_some());
    let asked = || {
        of_it()
            .filter(|price| price.on.is_none())
            .min_by(|one, other| one.minor_per_unit.total_cmp(&other.minor_per_unit))
    };
    before.or_else(after).or_else(asked).map(|price| price.minor_per_unit)
}

/// What a unit of a product that is made on site is reckoned at: what its parts are. Solutions of solutions are followed so far; nobody
/// makes them deeper.
fn price_made(
    prices: &[PricePaid],
    taken: &TakenOut,
    (product, on): (ProductId, NaiveDate),
    deep: u32,
) -> Option<f64> {
    let parts = taken.made_of(product);
    let part = |part: &Ingredient| {
        let bought = price_on(prices, part.product, on);
        let made = || price_made(prices, taken, (part.product, on), deep.checked_sub(1)?);
        Some(part.per_unit * bought.or_else(made)?)
    };
    (!parts.is_empty()).then(|| parts.iter().map(part).sum()).flatten()
}

/// How deep solutions of solutions are followed.
const DEEPEST: u32 = 4;

/// What was poured in a span of days, and what it cost, minor units.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Costs {
    /// By month: its first day.
    pub months: BTreeMap<NaiveDate, f64>,
    /// By tank.
    pub tanks: BTreeMap<TankId, f64>,
    /// By room, as the tank's shares go; what feeds none is in none.
    pub rooms: BTreeMap<RoomId, f64>,
    /// By product: the amount, mL or g, and its cost where it has a price.
    pub products: BTreeMap<ProductId, (f64, Option<f64>)>,
    /// Products that were poured and have no price: they are in no sum.
    pub unpriced: BTreeSet<ProductId>,
}

impl Costs {
    /// All of it, minor units.
    pub fn total(&self) -> f64 {
        self.months.values().sum()
    }
}

/// What additions of a span of days cost. What was made on site, as `taken` tells, costs what its parts do.
pub fn costs(
    additions: &[Addition],
    (prices, taken): (&[PricePaid], &TakenOut),
    plan: &SitePlan,
    days: Days,
) -> Costs {
    let mut costs = Costs::default();
    let mut known: BTreeMap<(ProductId, NaiveDate), Option<f64>> = BTreeMap::new();
    for addition in additions {
        let on = plan.day(addition.recorded_at);
        let Poured::Product { product, amount, .. } = &addition.poured else { continue };
        if !days.hold(on) {
            continue;
        }
        let units = amount.base_units();
        let price = *known.entry((*product, on)).or_insert_with(|| {
            let made = || price_made(prices, taken, (*product, on), DEEPEST);
            price_on(prices, *product, on).or_else(made)
        });
        let (sum, cost) = costs.products.entry(*product).or_insert((0.0, price.map(|_| 0.0)));
        *sum += units;
        let Some(minor) = price.map(|price| price * units) else {
            costs.unpriced.insert(*product);
            continue;
        };
        *cost = Some(cost.unwrap_or_default() + minor);
        let month = on.with_day(1).unwrap_or(on);
        *costs.months.entry(month).or_default() += minor;
        *costs.tanks.entry(addition.tank).or_default() += minor;
        for (room, share) in shares(plan, addition.tank, on) {
            *costs.rooms.entry(room).or_default() += minor * share;
        }
    }
    costs
}

/// The rooms that a tank feeds on a day, each with its part of the whole.
fn shares(plan: &SitePlan, tank: TankId, on: NaiveDate) -> impl Iterator<Item = (RoomId, f64)> {
    let fed = plan.tank_rooms.iter().filter(move |fed| fed.tank == tank && spans(fed.from, fed.until, on));
    let fed: Vec<(RoomId, f64)> = fed.map(|fed| (fed.room, fed.share)).collect();
    let all: f64 = fed.iter().map(|(_, share)| share).sum();
    fed.into_iter().filter(move |_| all > 0.0).map(move |(room, share)| (room, share / all))
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;
    use fillmark_domain::stock::{Movement, MovementKind};
    use fillmark_domain::{Amount, Base, Id};
    use uuid::Uuid;

    use super::*;

    fn day(number: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2031, 3, number).unwrap()
    }

    fn id<W>(number: u128) -> Id<W> {
        Id::new(Uuid::from_u128(number))
    }

    fn price(product: u128, on: Option<u32>, minor_per_unit: f64) -> PricePaid {
        PricePaid { product: id(product), on: on.map(day), offer: id(1), minor_per_unit }
    }

    /// By hand: 1.4 kg of a salt at 2 a kilogram make 14 L, so a litre costs 0.2; what is made of a half of that and water, 0.1.
    #[test]
    fn what_is_made_on_site_costs_what_its_parts_do() {
        let moved = |slip: u128, product: u128, kind, units: f64| Movement {
            id: id(slip * 10 + product),
            slip: id(slip),
            product: id(product),
            lot: id(product),
            kind,
            base: Base::Mass,
            change: Amount::rounded(units),
            done_at: DateTime::UNIX_EPOCH,
            reverses: None,
        };
        let taken = TakenOut::new(vec![
            moved(1, 1, MovementKind::Issue, -1_400.0),
            moved(1, 2, MovementKind::Receipt, 14_000.0),
            moved(2, 2, MovementKind::Issue, -500.0),
            moved(2, 3, MovementKind::Receipt, 1_000.0),
        ]);
        let prices = [price(1, Some(5), 2.0)];
        let of = |product: u128| price_made(&prices, &taken, (id(product), day(9)), DEEPEST);
        assert!((of(2).unwrap() - 0.2).abs() < 1e-12 && (of(3).unwrap() - 0.1).abs() < 1e-12);
        assert_eq!((of(1), of(4)), (None, None), "what is bought is not made");
    }

    #[test]
    fn a_unit_costs_what_was_paid_last_before_it() {
        let prices = [
            price(1, Some(5), 1.0),
            price(2, Some(6), 9.0),
            price(1, Some(10), 2.0),
            price(1, None, 3.0),
            price(3, None, 5.0),
            price(3, None, 4.0),
        ];
        let on = |product: u128, on| price_on(&prices, id(product), day(on));
        assert_eq!((on(1, 9), on(1, 10), on(1, 31)), (Some(1.0), Some(2.0), Some(2.0)));
        assert_eq!(on(1, 4), Some(1.0), "nothing was paid before");
        assert_eq!((on(3, 9), on(4, 9)), (Some(4.0), None));
    }
}
