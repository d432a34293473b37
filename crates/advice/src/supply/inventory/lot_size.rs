//! How much at a time: the lot at which ordering and holding cost the least together.

/// What decides a lot.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LotCosts {
    use_per_year: f64,
    per_order: f64,
    holding: f64,
}

/// A lot that is made on site while it is used.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct MadeLot {
    /// The lot.
    pub lot: f64,
    /// Years from one lot to the next.
    pub cycle_years: f64,
    /// Years in which a lot is being made.
    pub making_years: f64,
    /// The most that is held.
    pub most_held: f64,
    /// Setting up and holding, a year.
    pub cost_per_year: f64,
}

impl LotCosts {
    /// Use a year, cost of an order whatever it holds, and cost of holding one unit for a year; none unless all are above
    /// nought, since what costs nothing to order or to hold has no best lot.
    pub fn new(use_per_year: f64, per_order: f64, holding: f64) -> Option<LotCosts> {
        let all = [use_per_year, per_order, holding];
        all.iter().all(|figure| figure.is_finite() && *figure > 0.0).then_some(LotCosts {
            use_per_year,
            per_order,
            holding,
        })
    }

    /// The lot √(2·D·K/h), at which ordering costs as much as holding: F. W. Harris, "How Many Parts to Make at Once",
    /// Factory 10 (1913) 135–136, 152.
    pub fn lot(&self) -> f64 {
        (2.0 * self.use_per_year * self.per_order / self.holding).sqrt()
    }

    /// Ordering and holding with lots of this size, a year.
    pub fn cost_per_year(&self, lot: f64) -> f64 {
        self.use_per_year / lot * self.per_order + lot / 2.0 * self.holding
    }

    /// Orders a year with lots of this size.
    pub fn orders_per_year(&self, lot: f64) -> f64 {
        self.use_per_year / lot
    }

    /// The best lot of what is made on site at so much a year: what is used meanwhile is never held (E. W. Taft, Iron Age 101
    /// (1918) 1410–1412; from memory). None where it is used up as fast as it is made.
    pub fn made_lot(&self, made_per_year: f64) -> Option<MadeLot> {
        let kept = 1.0 - self.use_per_year / made_per_year;
        let making = LotCosts::new(self.use_per_year, self.per_order, self.holding * kept)?;
        let lot = making.lot();
        Some(MadeLot {
            lot,
            cycle_years: lot / self.use_per_year,
            making_years: lot / made_per_year,
            most_held: lot * kept,
            cost_per_year: making.cost_per_year(lot),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, INVENTORY, cases};
    use proptest::prelude::*;

    fn costs(case: &Case) -> LotCosts {
        LotCosts::new(case.number("D"), case.number("K"), case.number("h")).unwrap()
    }

    #[test]
    fn lots_agree_with_textbooks() {
        for case in cases(INVENTORY, "eoq") {
            let costs = costs(&case);
            case.close("Q", costs.lot());
            case.close("orders_per_year", costs.orders_per_year(costs.lot()));
            case.close("order_plus_holding_cost", costs.cost_per_year(costs.lot()));
        }
        for case in cases(INVENTORY, "eoq_cost") {
            case.close("order_plus_holding_cost", costs(&case).cost_per_year(case.number("Q")));
        }
    }

    #[test]
    fn lots_made_on_site_agree_with_textbooks() {
        for case in cases(INVENTORY, "epq") {
            let found = costs(&case).made_lot(case.number("P")).unwrap();
            case.close("Q", found.lot);
            case.close("cycle_time_years", found.cycle_years);
            case.close("uptime_years", found.making_years);
            case.close("max_inventory", found.most_held);
            case.close("order_plus_holding_cost", found.cost_per_year);
        }
    }

    #[test]
    fn what_costs_nothing_to_hold_has_no_best_lot() {
        assert_eq!(LotCosts::new(100.0, 5.0, 0.0), None);
        assert_eq!(LotCosts::new(100.0, 5.0, 1.0).unwrap().made_lot(100.0), None);
    }

    proptest! {
        #[test]
        fn no_other_lot_costs_less(used in 1.0_f64..1e5, order in 0.1_f64..1e3, held in 0.01_f64..100.0, by in 0.1_f64..10.0) {
            let costs = LotCosts::new(used, order, held).unwrap();
            let best = costs.cost_per_year(costs.lot());
            prop_assert!(costs.cost_per_year(costs.lot() * by) >= best * (1.0 - 1e-12));
        }
    }
}
