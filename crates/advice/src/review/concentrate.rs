//! What a cycle took of bought product.

use std::collections::HashMap;

use chrono::NaiveDate;
use fillmark_domain::entries::{Addition, Poured};
use fillmark_domain::growing::{CycleId, spans};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{Offer, ProductId};
use fillmark_domain::{Base, places::TankId};

/// What one mL (or g) of each product costs, in minor units of the site's currency.
pub type UnitPrices = HashMap<ProductId, f64>;

/// What a unit of each product costs by the cheapest of these offers.
pub fn cheapest<'a>(offers: impl IntoIterator<Item = &'a Offer>) -> UnitPrices {
    let mut prices = UnitPrices::new();
    for offer in offers {
        let price = offer.price_per_unit();
        let lowest = prices.entry(offer.product).or_insert(price);
        *lowest = lowest.min(price);
    }
    prices
}

/// What was poured for a cycle.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Concentrate {
    /// Liquid product, L.
    pub litres: f64,
    /// What it and the solids cost, minor units; nothing when a product that was poured has no price.
    pub cost_minor: Option<f64>,
}

/// What was poured into the tanks a cycle drank from while it drank. Where several cycles drank from a tank, each is
/// charged by its plants.
pub fn poured_for(
    plan: &SitePlan,
    cycle: CycleId,
    additions: &[Addition],
    prices: &UnitPrices,
) -> Concentrate {
    let mut sum = Concentrate { litres: 0.0, cost_minor: Some(0.0) };
    for addition in additions {
        let Poured::Product { product, amount, base, .. } = &addition.poured else { continue };
        let share = share(plan, cycle, addition.tank, plan.day(addition.recorded_at));
        if share > 0.0 {
            let units = amount.base_units() * share;
            if *base == Base::Volume {
                sum.litres += units / 1000.0;
            }
            let cost = prices.get(product).map(|price| price * units);
            sum.cost_minor = sum.cost_minor.zip(cost).map(|(sum, cost)| sum + cost);
        }
    }
    sum
}

/// The share of a tank's plants on a day that are a cycle's.
fn share(plan: &SitePlan, cycle: CycleId, tank: TankId, on: NaiveDate) -> f64 {
    let drinking = plan.feeds.iter().filter(|feed| feed.tank == tank && spans(feed.from, feed.until, on));
    let (mut ours, mut all) = (0, 0);
    for feed in drinking {
        all += feed.plants;
        if feed.cycle == cycle {
            ours += feed.plants;
        }
    }
    if all == 0 { 0.0 } else { f64::from(ours) / f64::from(all) }
}

#[cfg(test)]
mod tests {
    use super::*;
    use fillmark_domain::{Amount, Currency, Id, Money};
    use uuid::Uuid;

    #[test]
    fn a_product_costs_what_its_cheapest_offer_asks_for_a_unit() {
        let product = Id::new(Uuid::from_u128(1));
        let offer = |litres: i64, minor| Offer {
            supplier: Id::new(Uuid::from_u128(2)),
            product,
            pack: Amount::from_thousandths(litres * 1_000_000),
            base: Base::Volume,
            price: Money::new(minor, Currency::from_code("EUR").unwrap()),
            minimum_packs: 1,
        };
        let offers = [offer(1, 1_500), offer(5, 5_000), offer(2, 2_500)];
        assert_eq!(cheapest(&offers), UnitPrices::from([(product, 1.0)]));
    }
}
