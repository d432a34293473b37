//! What another site can spare of what is to be bought: offered before anybody orders, with that site's own risk counted.

use chrono::NaiveDate;
use fillmark_domain::stock::ProductId;

use super::{Forecast, ProductForecast};

/// A site keeps what covers so many days at its service level (our own judgement): six weeks, as far as its plan is sure.
const KEEPS_DAYS: usize = 42;

/// Less than this part of what is needed is not worth a ride (our own judgement).
const WORTH: f64 = 0.2;

/// What a site can spare for another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spare {
    /// Of which product.
    pub product: ProductId,
    /// What the other needs, mL or g.
    pub needed: f64,
    /// By when it has to be there: the day from which the other may run out.
    pub needed_by: Option<NaiveDate>,
    /// What can be spared of it, mL or g: with it gone the giver still covers its days at its service level.
    pub spare: f64,
}

/// What of the purchases of one site another can spare.
pub fn spare_for(needing: &Forecast, giving: &Forecast) -> Vec<Spare> {
    let mut spares = Vec::new();
    for product in &needing.products {
        let Some(purchase) = &product.purchase else { continue };
        let Some(giver) = giving.products.iter().find(|other| other.product == product.product) else {
            continue;
        };
        let needed = purchase.needed.base_units();
        let spare = spare_of(giver).min(needed);
        if giver.purchase.is_none() && needed > 0.0 && spare >= WORTH * needed {
            let needed_by = product.may_run_out_on;
            spares.push(Spare { product: product.product, needed, needed_by, spare });
        }
    }
    spares
}

/// The least that is left at the service level on any of the days, with nothing counted that is still under way.
fn spare_of(giver: &ProductForecast) -> f64 {
    let coming: f64 = giver.deliveries.iter().map(|delivery| delivery.amount.base_units()).sum();
    let lows = giver.days.iter().take(KEEPS_DAYS).map(|day| day.balance_low);
    (lows.fold(f64::INFINITY, f64::min) - coming).max(0.0)
}
