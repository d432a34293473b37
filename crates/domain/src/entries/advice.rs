//! Advice as it was given: what to do to a tank, in which order, and why. Nothing is applied by itself: it becomes an
//! addition only when a person records one.

use chrono::{DateTime, Utc};

use crate::code::coded;
use crate::people::PersonId;
use crate::places::TankId;
use crate::stock::ProductId;
use crate::{Amount, Base, Metric};

coded! {
    /// What advice is for.
    AdviceKind {
        /// Filling a tank afresh.
        Fill = "fill",
        /// Bringing what is in a tank back into its bands.
        Correction = "correction",
    }
}

coded! {
    /// What advice comes to, in a word.
    AdviceOutcome {
        /// Everything is as it should be: leave it.
        Leave = "leave",
        /// Do the steps, one after the other.
        FollowSteps = "follow_steps",
        /// Nothing can be told before it is measured.
        MeasureFirst = "measure_first",
        /// Correcting it is not worth it: change the tank, with advice for a fill.
        MakeFreshFill = "make_fresh_fill",
        /// This water has as much EC as is wanted, or more: it takes another water, or one mixed with purer.
        NeedsOtherWater = "needs_other_water",
        /// Something is off, and no product on record is known to mend it.
        NeedsProduct = "needs_product",
    }
}

/// Advice that was given.
#[derive(Debug, Clone, PartialEq)]
pub struct Advice {
    /// For which tank.
    pub tank: TankId,
    /// What for.
    pub kind: AdviceKind,
    /// When.
    pub made_at: DateTime<Utc>,
    /// Who asked.
    pub asked_by: Option<PersonId>,
    /// What it comes to.
    pub outcome: AdviceOutcome,
    /// For how much solution, L.
    pub litres: f64,
    /// What to do, one after the other.
    pub steps: Vec<AdvisedStep>,
    /// EC to expect after the doses, mS/cm.
    pub ec_expected: Option<Expectation>,
    /// What the store cupboard lacks for it.
    pub lacking: Vec<Lacking>,
    /// Why it is advised.
    pub reasons: Vec<String>,
    /// What to beware of.
    pub cautions: Vec<String>,
}

/// A figure with the interval that holds it nine times of ten.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expectation {
    /// The likeliest.
    pub value: f64,
    /// Lower end.
    pub low: f64,
    /// Upper end.
    pub high: f64,
}

/// One thing to do.
#[derive(Debug, Clone, PartialEq)]
pub enum AdvisedStep {
    /// Let so many litres go.
    Drain(f64),
    /// Fill in so many litres of water.
    Water(f64),
    /// Pour in a product, and let it mix.
    Dose(Portion),
    /// Pour in a product that moves the pH in parts, and measure after each.
    Adjust {
        /// The first part.
        first: Portion,
        /// What is expected in all; the rest only after measuring.
        expected: Amount,
        /// The pH it is for.
        to_ph: f64,
    },
    /// Mix, and measure.
    Measure(Metric),
}

/// So much of a product.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Portion {
    /// Which.
    pub product: ProductId,
    /// How much.
    pub amount: Amount,
    /// What it is counted in.
    pub base: Base,
}

/// A product of which less is there than the advice needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Lacking {
    /// What is needed in all.
    pub needed: Portion,
    /// What is there and may be used.
    pub held: Amount,
}

impl Advice {
    /// What of each product it needs, each product once.
    pub fn needs(&self) -> Vec<Portion> {
        let mut needs: Vec<Portion> = Vec::new();
        for portion in self.steps.iter().filter_map(AdvisedStep::portion) {
            match needs.iter_mut().find(|need| need.product == portion.product) {
                Some(need) => need.amount = need.amount + portion.amount,
                None => needs.push(portion),
            }
        }
        needs
    }
}

impl AdvisedStep {
    /// The product that moves the pH, where one goes in for it.
    pub fn adjusts(&self) -> Option<ProductId> {
        if let AdvisedStep::Adjust { first, .. } = self { Some(first.product) } else { None }
    }

    /// All of the product that the step is expected to take.
    fn portion(&self) -> Option<Portion> {
        match self {
            AdvisedStep::Dose(portion) => Some(*portion),
            AdvisedStep::Adjust { first, expected, .. } => Some(Portion { amount: *expected, ..*first }),
            AdvisedStep::Drain(_) | AdvisedStep::Water(_) | AdvisedStep::Measure(_) => None,
        }
    }
}
