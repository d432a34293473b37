//! Lot and level together, where each unit that is missing costs something.

use crate::supply::inventory::{LotCosts, Use};
use crate::supply::normal::{loss_beyond, normal_tail_inverse};

/// Rounds after which lot and level stand still; textbook cases take four.
const ROUNDS: usize = 200;
/// A change of lot and level together that counts as none.
const STILL: f64 = 1e-10;

/// When to order, and how much.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PenaltyPolicy {
    /// The lot.
    pub lot: f64,
    /// The level at which it is ordered.
    pub reorder_point: f64,
    /// What is missing in the mean before a lot comes in.
    pub expected_short: f64,
    /// Chance that nothing is.
    pub service_level: f64,
    /// Share of use served from stock.
    pub fill_rate: f64,
}

/// Lot and level that cost the least together, each computed from the other until they stand still: G. Hadley and T. M. Whitin,
/// "Analysis of Inventory Systems", Prentice-Hall 1963. The chance of missing something is lot·h/(p·D); none where that is not
/// below 1: then a missing unit costs less than holding it, and no level is worth it.
pub fn with_penalty(
    use_per_year: f64,
    per_order: f64,
    holding: f64,
    penalty: f64,
    over_lead_time: Use,
) -> Option<PenaltyPolicy> {
    let mut lot = LotCosts::new(use_per_year, per_order, holding)?.lot();
    let mut level: Option<f64> = None;
    for _ in 0..ROUNDS {
        let risk = lot * holding / (penalty * use_per_year);
        let next = over_lead_time.mean + normal_tail_inverse(risk)? * over_lead_time.sd;
        let short = loss_beyond(next, over_lead_time.mean, over_lead_time.sd);
        let next_lot = LotCosts::new(use_per_year, per_order + penalty * short, holding)?.lot();
        let moved = level.map(|level| (next_lot - lot).abs() + (next - level).abs());
        (lot, level) = (next_lot, Some(next));
        if moved.is_some_and(|moved| moved < STILL) {
            break;
        }
    }
    let reorder_point = level?;
    let expected_short = loss_beyond(reorder_point, over_lead_time.mean, over_lead_time.sd);
    Some(PenaltyPolicy {
        lot,
        reorder_point,
        expected_short,
        service_level: 1.0 - lot * holding / (penalty * use_per_year),
        fill_rate: 1.0 - expected_short / lot,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{INVENTORY, cases};

    #[test]
    fn lot_and_level_agree_with_textbooks() {
        for case in cases(INVENTORY, "qr_penalty") {
            let [used, order, held, penalty] = ["D", "K", "h", "p"].map(|name| case.number(name));
            let over = Use { mean: case.number("mean_ltd"), sd: case.number("sigma_L") };
            let found = with_penalty(used, order, held, penalty, over).unwrap();
            case.close("Q", found.lot);
            case.close("R", found.reorder_point);
            // Computed with scipy 1.17.1.
            assert!((found.fill_rate - 0.995_900_073_490_171_7).abs() < 1e-9, "{found:?}");
            assert!((found.service_level - 0.955_690_505_009_697).abs() < 1e-9, "{found:?}");
        }
    }

    #[test]
    fn where_a_missing_unit_costs_less_than_holding_it_no_level_is_worth_it() {
        assert_eq!(with_penalty(200.0, 50.0, 2.0, 0.5, Use { mean: 100.0, sd: 25.0 }), None);
    }
}
