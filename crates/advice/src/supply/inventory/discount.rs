//! Lots where the price falls with the quantity. Both rules: G. Hadley and T. M. Whitin, "Analysis of Inventory Systems",
//! Prentice-Hall 1963, the sections on quantity discounts.

/// A price from a quantity on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PriceBreak {
    /// The least quantity at this price; the first break starts at nought.
    pub from: f64,
    /// Price of a unit.
    pub price: f64,
}

/// A lot at the price of one break.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PricedLot {
    /// Price of a unit.
    pub price: f64,
    /// The best lot at it.
    pub lot: f64,
    /// Whether the lot lies where the price holds.
    pub feasible: bool,
    /// Buying, ordering and holding, a year.
    pub cost_per_year: f64,
}

/// The best lot, and what it was compared with.
#[derive(Debug, Clone, PartialEq)]
pub struct Discounted {
    /// The one that costs the least of those whose price holds.
    pub best: PricedLot,
    /// A lot for each price, in the order of the breaks.
    pub candidates: Vec<PricedLot>,
}

/// The price of the break a lot is in holds for all of it: the least of each price's best lot, or its break where that is
/// below it. Holding costs a share of the price a year. `None` without a break that a lot fits.
pub fn all_units(
    use_per_year: f64,
    per_order: f64,
    holding_share: f64,
    breaks: &[PriceBreak],
) -> Option<Discounted> {
    let candidates = breaks.iter().enumerate().filter_map(|(place, at)| {
        let lot = (2.0 * use_per_year * per_order / (holding_share * at.price)).sqrt().max(at.from);
        let held = holding_share * at.price * lot / 2.0;
        let cost_per_year = use_per_year * at.price + per_order * use_per_year / lot + held;
        let fits = lot < end(breaks, place);
        fits.then_some(PricedLot { price: at.price, lot, feasible: true, cost_per_year })
    });
    cheapest(candidates.collect())
}

/// Each price holds only for the units from its break on: what the earlier ones cost more is like a further cost of the order,
/// and a lot below its break is no candidate.
pub fn incremental(
    use_per_year: f64,
    per_order: f64,
    holding_share: f64,
    breaks: &[PriceBreak],
) -> Option<Discounted> {
    let mut paid_before = 0.0;
    let candidates = breaks.iter().enumerate().map(|(place, at)| {
        if let Some(earlier) = place.checked_sub(1).map(|earlier| breaks[earlier]) {
            paid_before += earlier.price * (at.from - earlier.from);
        }
        let more = paid_before - at.from * at.price;
        let fixed = per_order + more;
        let lot = (2.0 * use_per_year * fixed / (holding_share * at.price)).sqrt();
        let held = holding_share * (more + at.price * lot) / 2.0;
        PricedLot {
            price: at.price,
            lot,
            feasible: at.from <= lot && lot < end(breaks, place),
            cost_per_year: use_per_year * at.price + fixed * use_per_year / lot + held,
        }
    });
    cheapest(candidates.collect())
}

fn end(breaks: &[PriceBreak], place: usize) -> f64 {
    breaks.get(place + 1).map_or(f64::INFINITY, |next| next.from)
}

/// Of two that cost the same the smaller lot, which is the earlier: it binds less money and spoils later.
fn cheapest(candidates: Vec<PricedLot>) -> Option<Discounted> {
    let feasible = candidates.iter().filter(|lot| lot.feasible);
    let best = *feasible.min_by(|one, other| one.cost_per_year.total_cmp(&other.cost_per_year))?;
    Some(Discounted { best, candidates })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, INVENTORY, cases};

    type Rule = fn(f64, f64, f64, &[PriceBreak]) -> Option<Discounted>;

    #[track_caller]
    fn check(case: &Case, rule: Rule) {
        let of = |(from, price)| PriceBreak { from, price };
        let breaks: Vec<PriceBreak> =
            case.numbers("breaks").into_iter().zip(case.numbers("prices")).map(of).collect();
        let found = rule(case.number("D"), case.number("K"), case.number("i"), &breaks).unwrap();
        case.close("Q", found.best.lot);
        case.close("price", found.best.price);
        case.close("total_cost", found.best.cost_per_year);
        let expected = case.expected["candidates"].as_array().cloned().unwrap_or_default();
        for (one, found) in expected.iter().zip(&found.candidates) {
            assert!((one["Q"].as_f64().unwrap() - found.lot).abs() < 1e-6, "{}", case.id);
            assert_eq!(one["feasible"].as_bool().unwrap_or(true), found.feasible, "{}", case.id);
        }
    }

    #[test]
    fn lots_at_falling_prices_agree_with_textbooks() {
        cases(INVENTORY, "eoq_all_units").iter().for_each(|case| check(case, all_units));
        cases(INVENTORY, "eoq_incremental").iter().for_each(|case| check(case, incremental));
    }

    #[test]
    fn without_a_price_there_is_no_lot() {
        assert_eq!(all_units(100.0, 5.0, 0.2, &[]), None);
        assert_eq!(incremental(100.0, 5.0, 0.2, &[]), None);
    }
}
