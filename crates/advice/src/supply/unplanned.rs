//! Losses: what is used without a plan.

use super::question::{ProductAsked, Question};

/// Losses of a product as a rate.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Losses {
    /// Expected a day, mL (or g).
    pub(super) per_day: f64,
    /// Variance a day: losses come seldom and whole.
    variance_per_day: f64,
    /// How many are on record.
    pub(super) count: usize,
    days: f64,
}

impl Losses {
    /// The losses on record spread over the days recorded. More found than the ledger held sets off what was
    /// found missing, since both are the same jug read twice; the rate is never below none.
    pub(super) fn learn(question: &Question, product: &ProductAsked, recorded_days: f64) -> Losses {
        let sizes: Vec<f64> = product
            .unplanned
            .iter()
            .filter(|loss| loss.on < question.today)
            .map(|loss| loss.amount.base_units())
            .collect();
        let days = recorded_days.max(1.0);
        Losses {
            per_day: (sizes.iter().sum::<f64>() / days).max(0.0),
            variance_per_day: sizes.iter().map(|size| size * size).sum::<f64>() / days,
            count: sizes.len(),
            days,
        }
    }

    /// Variance of the losses of so many days: of a compound Poisson process, and of its rate, which is known
    /// only as well as the days on record tell.
    pub(super) fn variance(&self, days: f64) -> f64 {
        self.variance_per_day * days * (1.0 + days / self.days.max(1.0))
    }
}
