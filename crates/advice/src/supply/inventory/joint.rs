//! Products ordered together from one supplier: a cost for the order, and one for each product on it.

/// A product on a joint order.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct JointItem {
    /// Value used a year.
    pub value_per_year: f64,
    /// What it costs to have it on an order.
    pub line_cost: f64,
}

/// Products that share orders.
#[derive(Debug, Clone, PartialEq)]
pub struct Joint {
    /// What an order costs, whatever is on it.
    pub order_cost: f64,
    /// Cost of holding a value for a year, as a share of it.
    pub holding_share: f64,
    /// The products.
    pub items: Vec<JointItem>,
}

/// Who joins which orders.
#[derive(Debug, Clone, PartialEq)]
pub struct JointPlan {
    /// Each product is on every so manieth order.
    pub multiples: Vec<u32>,
    /// Years from one order to the next.
    pub cycle_years: f64,
    /// Ordering and holding, a year.
    pub cost_per_year: f64,
}

impl Joint {
    /// Orders at the best distance when each product is on every so manieth of them: with F = A + Σ a/m and H = r·Σ v·m, the
    /// cycle is √(2F/H) years and the cost √(2FH) a year. What is left unsaid is on every order.
    pub fn plan(&self, multiples: &[u32]) -> JointPlan {
        let multiples: Vec<u32> =
            (0..self.items.len()).map(|place| multiples.get(place).copied().unwrap_or(1).max(1)).collect();
        let of = || self.items.iter().zip(multiples.iter().map(|multiple| f64::from(*multiple)));
        let lines: f64 = of().map(|(item, multiple)| item.line_cost / multiple).sum();
        let values: f64 = of().map(|(item, multiple)| item.value_per_year * multiple).sum();
        let (fixed, held) = (self.order_cost + lines, self.holding_share * values);
        JointPlan {
            multiples,
            cycle_years: (2.0 * fixed / held).sqrt(),
            cost_per_year: (2.0 * fixed * held).sqrt(),
        }
    }

    /// Multiples by one formula: the product with the least line cost for its value is on every order, the others by the root
    /// of how they compare with it, rounded (E. A. Silver, Management Science 22 (1976) 1351–1361).
    pub fn plan_quickly(&self) -> JointPlan {
        let weight = |item: &JointItem| item.line_cost / item.value_per_year;
        let base = self
            .items
            .iter()
            .enumerate()
            .min_by(|(_, one), (_, other)| weight(one).total_cmp(&weight(other)));
        let Some((place, base)) = base else { return self.plan(&[]) };
        let scale = base.value_per_year / (self.order_cost + base.line_cost);
        let multiple = |(at, item): (usize, &JointItem)| {
            let nearest = ((weight(item) * scale).sqrt() + 0.5).floor();
            if at == place { 1 } else { nearest.max(1.0) as u32 }
        };
        let multiples: Vec<u32> = self.items.iter().enumerate().map(multiple).collect();
        self.plan(&multiples)
    }

    /// The multiples that cost the least, none above a limit and at least one product on every order. For a given cycle each
    /// product has its best multiple, whatever the others have; so all best ones are met by walking through the cycles at which
    /// one of them changes. Of plans that cost the same, the one with the lower multiples first.
    pub fn cheapest_plan(&self, at_most: u32) -> JointPlan {
        let mut best = self.plan(&[]);
        for base in 0..self.items.len() {
            for scale in self.between_changes(at_most) {
                let mut multiples: Vec<u32> =
                    self.items.iter().map(|item| best_multiple(item, scale, at_most)).collect();
                multiples[base] = 1;
                let plan = self.plan(&multiples);
                let less = best.cost_per_year - plan.cost_per_year;
                let rounding = 1e-12 * best.cost_per_year;
                if less > rounding || (less > -rounding && plan.multiples < best.multiples) {
                    best = plan;
                }
            }
        }
        best
    }

    /// Values of 2/(r·T²), one between each two at which a best multiple changes.
    fn between_changes(&self, at_most: u32) -> Vec<f64> {
        let of_item = |item: &JointItem| {
            let ratio = item.value_per_year / item.line_cost;
            (1..at_most).map(move |multiple| f64::from(multiple) * f64::from(multiple + 1) * ratio)
        };
        let mut changes: Vec<f64> =
            self.items.iter().filter(|item| item.line_cost > 0.0).flat_map(of_item).collect();
        changes.sort_by(f64::total_cmp);
        let inner = changes.windows(2).map(|two| f64::midpoint(two[0], two[1]));
        let outer = changes.last().map(|last| last * 2.0 + 1.0);
        inner.chain(outer).collect()
    }
}

/// The least multiple m with m·(m + 1) ≥ (a/v)·2/(r·T²): beyond it, being on fewer orders saves less than holding more costs.
fn best_multiple(item: &JointItem, scale: f64, at_most: u32) -> u32 {
    let enough = |multiple: &u32| {
        let multiple = f64::from(*multiple);
        multiple * (multiple + 1.0) * item.value_per_year >= item.line_cost * scale
    };
    (1..at_most).find(enough).unwrap_or(at_most.max(1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, INVENTORY, cases};
    use proptest::prelude::*;

    fn joint(case: &Case) -> Joint {
        let of = |(value_per_year, line_cost)| JointItem { value_per_year, line_cost };
        Joint {
            order_cost: case.number("A"),
            holding_share: case.number("r"),
            items: case.numbers("Dv").into_iter().zip(case.numbers("a")).map(of).collect(),
        }
    }

    #[track_caller]
    fn check(case: &Case, plan: &JointPlan) {
        case.close_each("m", |place| f64::from(plan.multiples[place]));
        case.close("T_years", plan.cycle_years);
        case.close("cost_per_year", plan.cost_per_year);
    }

    #[test]
    fn joint_orders_agree_with_an_enumeration() {
        cases(INVENTORY, "joint_multiples").iter().for_each(|case| check(case, &joint(case).plan_quickly()));
        cases(INVENTORY, "joint_optimal").iter().for_each(|case| check(case, &joint(case).cheapest_plan(12)));
    }

    #[test]
    fn without_products_there_is_nothing_to_plan() {
        let nothing = Joint { order_cost: 10.0, holding_share: 0.2, items: Vec::new() };
        assert!(nothing.plan_quickly().multiples.is_empty());
        assert!(nothing.cheapest_plan(12).multiples.is_empty());
    }

    proptest! {
        #[test]
        fn no_other_multiples_cost_less(
            items in proptest::collection::vec((1.0_f64..5_000.0, 0.0_f64..20.0), 1..4), order_cost in 0.0_f64..50.0,
        ) {
            let of = |(value_per_year, line_cost): &(f64, f64)| JointItem { value_per_year: *value_per_year, line_cost: *line_cost };
            let joint = Joint { order_cost, holding_share: 0.25, items: items.iter().map(of).collect() };
            let best = joint.cheapest_plan(5);
            for code in 0..125_u32 {
                let multiples = [1 + code % 5, 1 + code / 5 % 5, 1 + code / 25];
                let other = joint.plan(&multiples[..items.len()]);
                if other.multiples.contains(&1) {
                    prop_assert!(best.cost_per_year <= other.cost_per_year * (1.0 + 1e-9), "{best:?} {other:?}");
                }
            }
        }
    }
}
