//! What a cycle took of bought product.

use std::collections::HashMap;

use chrono::NaiveDate;
use fillmark_domain::entries::{Addition, Poured};
use fillmark_domain::growing::{CycleId, spans};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Base, places::TankId};

/// What one mL (or g) of each product costs, in minor units of the site's currency.
pub type UnitPrices = HashMap<ProductId, f64>;

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
