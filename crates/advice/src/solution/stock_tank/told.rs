//! A stock tank as a person who fills it is told it.

use fillmark_domain::Coded;
use fillmark_domain::entries::AdvisedStep;
use fillmark_domain::stock::ProductId;

use super::{FeedAcid, Stock, StockAsked, StockCaution, StockDose, TOLD_FOR_L};
use crate::solution::fill::told::{portion, three_figures};

/// Of what comes first a stock tank holds this much water, so that salts have something to dissolve in (common practice, no
/// source).
const WATER_FIRST: f64 = 0.7;

impl StockAsked {
    fn is_dry(&self, product: ProductId) -> bool {
        self.parts.iter().any(|one| one.part.product == product && !one.part.liquid)
    }
}

impl FeedAcid {
    fn told(self, named: impl Fn(ProductId) -> String) -> String {
        let apart = "It never goes into this tank: by a doser that is made for acid, from a tank of its own, or into the feed, and \
                     by the pH of the feed.";
        match self {
            FeedAcid::Takes(dose) => format!(
                "The water is hard: of {} some {} {} go into each {TOLD_FOR_L:.0} L of feed to bring its pH to {:.1}. {apart}",
                named(dose.product),
                three_figures(dose.expected),
                dose.base.unit().code(),
                dose.to_ph
            ),
            FeedAcid::NoneFor(alkalinity_meq_l) => format!(
                "The water is hard ({alkalinity_meq_l} meq/L of alkalinity), so the feed takes acid, and no acid of known kind and \
                 strength that reaches its pH is on record. {apart}"
            ),
        }
    }
}

impl Stock {
    /// What to do, one after the other: most of the water, the products in their order, and water to the mark.
    pub fn advised(&self, asked: &StockAsked) -> Vec<AdvisedStep> {
        let liquid = |dose: &&StockDose| !asked.is_dry(dose.product);
        let liquids_l: f64 = self.doses.iter().filter(liquid).map(|dose| dose.amount / 1000.0).sum();
        let water_l = (asked.stock_l - liquids_l).max(0.0);
        let first = AdvisedStep::Water(three_figures(WATER_FIRST * water_l));
        let rest = AdvisedStep::Water(three_figures((1.0 - WATER_FIRST) * water_l));
        let dose = self
            .doses
            .iter()
            .map(|dose| AdvisedStep::Dose(portion(dose.product, dose.amount, !asked.is_dry(dose.product))));
        [first].into_iter().chain(dose).chain([rest]).collect()
    }

    /// Why it is so and what stands against it, in sentences. `named` gives a product's name.
    pub fn told(&self, asked: &StockAsked, named: impl Fn(ProductId) -> String) -> Vec<String> {
        let mut told = vec![format!(
            "One part of this stock makes {:.0} parts of feed: {:.0} L of it.",
            asked.ratio,
            asked.ratio * asked.stock_l
        )];
        if self.doses.iter().any(|dose| asked.is_dry(dose.product)) {
            told.push(format!(
                "A salt takes room as it dissolves: the last water goes in only as far as the mark of {:.0} L.",
                asked.stock_l
            ));
        }
        if asked.parts.len() > 1 {
            told.push(
                "Only this product goes into the tank: undiluted, calcium falls out with sulfate or phosphate. The doser draws \
                 the step's other products from tanks of their own, each to its mark and alike."
                    .into(),
            );
        }
        told.extend(self.acid.map(|acid| acid.told(&named)));
        told.extend(self.reasons.iter().map(|reason| reason.told(&named)));
        told.extend(self.cautions.iter().map(|caution| match caution {
            StockCaution::NotSoluble { product, per_litre, salt } => format!(
                "{} is {} by its label and does not dissolve: {per_litre:.0} g in a litre, where water of 20 °C holds {:.0}. Use \
                 a doser of a lower ratio.",
                named(*product),
                salt.name,
                salt.soluble_g_l
            ),
            StockCaution::NearlySaturated { product, salt } => format!(
                "{} is {} by its label and nearly saturates the stock, of which water of 20 °C holds {:.0} g in a litre: a cold \
                 night may bring it out.",
                named(*product),
                salt.name,
                salt.soluble_g_l
            ),
            StockCaution::SolubilityUnknown { product, per_litre } => format!(
                "Nothing on record tells how much of {} dissolves; {per_litre:.0} g go into a litre. Look at its label or data \
                 sheet first.",
                named(*product)
            ),
            StockCaution::Overfull { product, liquid } => format!(
                "{} alone is {liquid:.2} L for each litre of stock: use a doser of a lower ratio.",
                named(*product)
            ),
        }));
        told
    }
}
