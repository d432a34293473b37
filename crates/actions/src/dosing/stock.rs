//! The stock tank behind a doser: made afresh for the feed that is wanted.

use fillmark_advice::solution::stock_tank::{StockAsked, StockPart, stock};
use fillmark_domain::Metric;
use fillmark_domain::entries::{AdviceOutcome, AdvisedStep, Expectation};
use fillmark_domain::stock::ProductId;

use super::facts::Facts;
use crate::Refusal;

/// What it comes to, what to do, the EC of the feed to expect, and why.
pub(super) struct Made {
    pub(super) outcome: AdviceOutcome,
    pub(super) steps: Vec<AdvisedStep>,
    pub(super) feed_ec: Option<Expectation>,
    pub(super) reasons: Vec<String>,
}

/// What goes into so many litres of stock, of which a doser takes one part to so many of water. A stock tank holds one product
/// of the step: undiluted, calcium falls out with sulfate or phosphate.
pub(super) fn make(
    facts: &Facts,
    stock_l: f64,
    water_parts: f64,
    product: Option<ProductId>,
) -> Result<Made, Refusal> {
    let parts = facts.parts()?;
    let held = match (product, &parts[..]) {
        (Some(product), _) if parts.iter().any(|part| part.product == product) => product,
        (None, [only]) => only.product,
        _ => {
            let detail = "expected which product of the step this stock tank holds: each has a tank of its own, since undiluted \
                          calcium falls out with sulfate or phosphate";
            return Err(Refusal::invalid("/product_id", "needed", detail));
        }
    };
    let rise = facts.rise(&parts);
    let asked = StockAsked {
        ratio: water_parts + 1.0,
        stock_l,
        water: facts.water(),
        acid: facts.acid(),
        ph_aim: facts.band(Metric::Ph).map(|band| band.aim),
        feed_ec_ms_cm: Some(facts.ec_band()?.aim),
        rise,
        parts: parts.into_iter().map(|part| StockPart { salt: facts.salt(part.product), part }).collect(),
    };
    let made = stock(&asked).of(held);
    let outcome = match made.doses.is_empty() {
        true => AdviceOutcome::NeedsOtherWater,
        false => AdviceOutcome::FollowSteps,
    };
    Ok(Made {
        outcome,
        steps: made.advised(&asked),
        feed_ec: made.feed_ec,
        reasons: made.told(&asked, |product| facts.name(product)),
    })
}
