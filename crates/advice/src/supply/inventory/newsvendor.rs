//! One order for one season: what expires before it can be ordered again. The critical ratio: P. M. Morse and G. E. Kimball,
//! "Methods of Operations Research", MIT Press 1951 (from memory).

use crate::supply::inventory::Use;
use crate::supply::normal::{loss_beyond, normal_density, normal_tail_inverse};

/// Room for the rounding of a sum of chances.
const ROUNDING: f64 = 1e-12;

/// What a unit too few or too many costs.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Newsvendor {
    /// What is lost with each unit that is missing.
    pub cost_of_short: f64,
    /// What is lost with each unit that is left over.
    pub cost_of_left: f64,
}

/// The order that loses the least in the mean.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct OneOrder {
    /// How much.
    pub lot: f64,
    /// What is missing in the mean.
    pub expected_short: f64,
    /// What is left over in the mean.
    pub expected_left: f64,
    /// What it earns in the mean, each unit used earning what a missing one loses.
    pub expected_profit: f64,
}

impl Newsvendor {
    /// The chance of enough at which one unit more loses as much as it saves.
    pub fn critical_ratio(&self) -> f64 {
        self.cost_of_short / (self.cost_of_short + self.cost_of_left)
    }

    /// The order for a use that is normally distributed; none unless both costs are above nought.
    pub fn order_for(&self, used: Use) -> Option<OneOrder> {
        let z = normal_tail_inverse(1.0 - self.critical_ratio())?;
        let lot = used.mean + z * used.sd;
        let expected_short = loss_beyond(lot, used.mean, used.sd);
        let spread = (self.cost_of_short + self.cost_of_left) * used.sd * normal_density(z);
        Some(OneOrder {
            lot,
            expected_short,
            expected_left: lot - used.mean + expected_short,
            expected_profit: self.cost_of_short * used.mean - spread,
        })
    }

    /// The order for uses with their chances: the least of them that is enough with the critical ratio; none where the chances
    /// do not reach it.
    pub fn order_among(&self, uses: &[(f64, f64)]) -> Option<f64> {
        let mut uses = uses.to_vec();
        uses.sort_by(|one, other| one.0.total_cmp(&other.0));
        let mut enough = 0.0;
        let reaches = |(used, chance): (f64, f64)| {
            enough += chance;
            (enough >= self.critical_ratio() - ROUNDING).then_some(used)
        };
        uses.into_iter().find_map(reaches)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, INVENTORY, cases};

    fn costs(case: &Case) -> Newsvendor {
        Newsvendor { cost_of_short: case.number("cu"), cost_of_left: case.number("co") }
    }

    #[test]
    fn orders_for_one_season_agree_with_textbooks() {
        for case in cases(INVENTORY, "newsvendor_normal") {
            let used = Use { mean: case.number("mean"), sd: case.number("sd") };
            let found = costs(&case).order_for(used).unwrap();
            case.close("critical_ratio", costs(&case).critical_ratio());
            case.close("Q", found.lot);
            case.close("expected_short", found.expected_short);
            case.close("expected_left", found.expected_left);
            case.close("expected_profit", found.expected_profit);
        }
        for case in cases(INVENTORY, "newsvendor_discrete") {
            let uses: Vec<(f64, f64)> =
                case.numbers("values").into_iter().zip(case.numbers("probs")).collect();
            case.close("Q", costs(&case).order_among(&uses).unwrap());
        }
    }

    #[test]
    fn what_costs_nothing_to_have_left_has_no_best_order() {
        let costs = Newsvendor { cost_of_short: 1.0, cost_of_left: 0.0 };
        assert_eq!(costs.order_for(Use { mean: 5.0, sd: 1.0 }), None);
        assert_eq!(costs.order_among(&[(1.0, 0.5)]), None);
    }
}
