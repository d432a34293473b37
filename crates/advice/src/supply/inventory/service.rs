//! Stock that keeps a promise: by the chance of no stock-out, or by the share of use that is served from stock.

use std::convert::Infallible;

use crate::root;
use crate::supply::normal::{chance_at_most, loss_beyond, normal_loss_inverse, quantile};

/// Spreads of use from its mean beyond which nothing changes any more.
const FAR_SPREADS: f64 = 10.0;

/// Use over some time, taken as normally distributed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Use {
    /// Mean.
    pub mean: f64,
    /// Standard deviation.
    pub sd: f64,
}

/// Days that a delivery takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadDays {
    /// Mean, days.
    pub mean: f64,
    /// Standard deviation, days.
    pub sd: f64,
}

impl LeadDays {
    /// The days that an order must last for when the next one may only be placed so many days later.
    #[must_use]
    pub fn and_review(self, review_days: f64) -> LeadDays {
        LeadDays { mean: self.mean + review_days, sd: self.sd }
    }
}

impl Use {
    /// Use of one day over days that vary too, each independent of the others: var = `E[L]·var(D) + E[D]²·var(L)`.
    #[must_use]
    pub fn over(self, days: LeadDays) -> Use {
        let variance = days.mean * self.sd.powi(2) + self.mean.powi(2) * days.sd.powi(2);
        Use { mean: days.mean * self.mean, sd: variance.sqrt() }
    }

    /// Stock beyond the mean use that is not used up with this chance.
    pub fn safety_stock(&self, service_level: f64) -> f64 {
        quantile(service_level) * self.sd
    }

    /// The level that is not used up with this chance: the reorder point for use over the lead time, the order-up-to level
    /// for use over the lead time and the review period.
    pub fn level_for(&self, service_level: f64) -> f64 {
        self.mean + self.safety_stock(service_level)
    }

    /// Chance that a level is not used up.
    pub fn service_level_of(&self, level: f64) -> f64 {
        chance_at_most(level, self.mean, self.sd)
    }

    /// What a level falls short of the use in the mean.
    pub fn expected_short(&self, level: f64) -> f64 {
        loss_beyond(level, self.mean, self.sd)
    }

    /// Share of use served from stock when a lot is ordered at this level: 1 − short/lot. For lots that are large against the
    /// spread; smaller ones are told too low, since what is short at the end of a lot may have been short at its start.
    pub fn fill_rate_of_large_lots(&self, reorder_point: f64, lot: f64) -> f64 {
        1.0 - self.expected_short(reorder_point) / lot
    }

    /// Share of use served from stock, for lots of any size (S. Axsäter, "Inventory Control", Springer 2015, chapter 5).
    pub fn fill_rate(&self, reorder_point: f64, lot: f64) -> f64 {
        1.0 - (self.expected_short(reorder_point) - self.expected_short(reorder_point + lot)) / lot
    }

    /// The level to order a large lot at for this fill rate; none for a fill rate of 1, which no level reaches.
    pub fn reorder_point_of_large_lots(&self, lot: f64, fill_rate: f64) -> Option<f64> {
        let short = lot * (1.0 - fill_rate);
        if self.sd <= 0.0 {
            return (short > 0.0).then_some(self.mean - short);
        }
        Some(self.mean + normal_loss_inverse(short / self.sd)? * self.sd)
    }

    /// The level to order a lot at for this fill rate; none for one that is not between 0 and 1, which no level has.
    pub fn reorder_point(&self, lot: f64, fill_rate: f64) -> Option<f64> {
        if !(0.0 < fill_rate && fill_rate < 1.0 && lot > 0.0) {
            return None;
        }
        let lacking = |level| Ok::<f64, Infallible>(fill_rate - self.fill_rate(level, lot));
        let far = FAR_SPREADS * self.sd;
        let Ok(found) = root::falling(lacking, self.mean - lot - far, self.mean + far);
        found
    }
}

/// Share of use served from stock when every so many days an order fills up to a level, delivered a fixed number of days
/// later: what is short over lead time and review, less what was short already when the order before came in.
pub fn fill_rate_of_review(of_a_day: Use, lead_days: f64, review_days: f64, order_up_to: f64) -> f64 {
    let short_after = |days| of_a_day.over(LeadDays { mean: days, sd: 0.0 }).expected_short(order_up_to);
    let used = of_a_day.mean * review_days;
    1.0 - (short_after(lead_days + review_days) - short_after(lead_days)) / used
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, INVENTORY, cases};
    use proptest::prelude::*;

    fn over_lead_time(case: &Case) -> Use {
        Use { mean: case.number("mean_ltd"), sd: case.number("sigma_L") }
    }

    fn of_a_day(case: &Case) -> Use {
        Use { mean: case.number("mean_demand"), sd: case.number("sd_demand") }
    }

    #[test]
    fn use_over_a_lead_time_that_varies_agrees_with_textbooks() {
        for case in cases(INVENTORY, "lead_time_sd") {
            let days = LeadDays { mean: case.number("mean_lead"), sd: case.number("sd_lead") };
            let found = of_a_day(&case).over(days);
            case.close("mean_ltd", found.mean);
            case.close("sigma_L", found.sd);
        }
    }

    #[test]
    fn levels_for_a_service_level_agree_with_textbooks() {
        for case in cases(INVENTORY, "safety_stock_csl") {
            case.close("safety_stock", over_lead_time(&case).safety_stock(case.number("csl")));
            case.close("reorder_point", over_lead_time(&case).level_for(case.number("csl")));
        }
        for case in cases(INVENTORY, "periodic_review") {
            let lead = LeadDays { mean: case.number("lead"), sd: case.number("sd_lead") };
            let found = of_a_day(&case).over(lead.and_review(case.number("review")));
            case.close("mean_protection", found.mean);
            case.close("sigma_protection", found.sd);
            case.close("safety_stock", found.safety_stock(case.number("csl")));
            case.close("order_up_to", found.level_for(case.number("csl")));
        }
    }

    #[test]
    fn fill_rates_agree_with_textbooks() {
        for case in cases(INVENTORY, "fill_rate_exact") {
            let found = over_lead_time(&case).fill_rate(case.number("rop"), case.number("Q"));
            case.close("fill_rate", found);
        }
        for case in cases(INVENTORY, "periodic_review_fill") {
            let [lead, review, up_to] = ["lead", "review", "order_up_to"].map(|name| case.number(name));
            case.close("fill_rate", fill_rate_of_review(of_a_day(&case), lead, review, up_to));
        }
    }

    #[test]
    fn levels_for_a_fill_rate_agree_with_textbooks() {
        for case in cases(INVENTORY, "rop_for_fill_rate") {
            check_level(&case, Use::reorder_point_of_large_lots);
        }
        for case in cases(INVENTORY, "rop_for_fill_rate_exact") {
            check_level(&case, Use::reorder_point);
        }
    }

    #[track_caller]
    fn check_level(case: &Case, level: fn(&Use, f64, f64) -> Option<f64>) {
        let used = over_lead_time(case);
        let found = level(&used, case.number("Q"), case.number("fill_rate")).unwrap();
        case.close("k", (found - used.mean) / used.sd);
        case.close("reorder_point", found);
        case.close("safety_stock", found - used.mean);
    }

    #[test]
    fn a_promise_of_everything_has_no_level() {
        let used = Use { mean: 5.0, sd: 1.0 };
        assert_eq!(used.reorder_point(10.0, 1.0), None);
        assert_eq!(used.reorder_point_of_large_lots(10.0, 1.0), None);
    }

    #[test]
    fn use_without_spread_is_served_up_to_its_level() {
        let used = Use { mean: 5.0, sd: 0.0 };
        assert_eq!((used.fill_rate(3.0, 10.0), used.service_level_of(4.9)), (0.8, 0.0));
        assert_eq!(used.reorder_point_of_large_lots(10.0, 0.75), Some(2.5));
        assert!((used.reorder_point(10.0, 0.8).unwrap() - 3.0).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn the_level_for_a_fill_rate_has_it_and_large_lots_come_near(
            mean in 0.0_f64..500.0, sd in 0.1_f64..200.0, lot in 1.0_f64..2_000.0, fill_rate in 0.5_f64..0.999,
        ) {
            let used = Use { mean, sd };
            let level = used.reorder_point(lot, fill_rate).unwrap();
            prop_assert!((used.fill_rate(level, lot) - fill_rate).abs() < 1e-9);
            prop_assert!(used.fill_rate_of_large_lots(level, lot) <= fill_rate + 1e-9);
        }
    }
}
