//! What chemistry expects, remembered: labels, steps and waters change seldom, and advice is asked for all day.

use std::collections::HashMap;
use std::sync::{Arc, Mutex, PoisonError};

use fillmark_advice::solution::fill::SourceWater;
use fillmark_advice::solution::prior::{Dosed, Priors, priors};
use fillmark_domain::Base;
use fillmark_domain::stock::{LabelRevision, ProductId};

/// More than these are not remembered.
const MOST: usize = 1_000;

/// What was expected before, by all that it was found from.
#[derive(Debug, Default)]
pub(crate) struct Expected(Mutex<HashMap<String, Arc<Priors>>>);

impl Expected {
    /// What is expected of products dosed together into a water, and of all labels that tell an acid or alkali.
    pub(super) fn of(
        &self,
        products: &[Dosed<'_>],
        labels: &HashMap<ProductId, LabelRevision>,
        base: impl Fn(ProductId) -> Base,
        water: SourceWater,
    ) -> Arc<Priors> {
        let labels = labels.values().filter(|label| label.reagent.is_some());
        let mut adjusters: Vec<(&LabelRevision, Base)> =
            labels.map(|label| (label, base(label.product))).collect();
        adjusters.sort_by_key(|(label, _)| label.product);
        let from = format!("{products:?} {adjusters:?} {water:?}");
        if let Some(found) = self.lock().get(&from) {
            return found.clone();
        }
        let found = Arc::new(priors(products, adjusters.into_iter(), water));
        let mut known = self.lock();
        if known.len() >= MOST {
            known.clear();
        }
        known.insert(from, found.clone());
        found
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, HashMap<String, Arc<Priors>>> {
        // Nothing is done under the lock that could leave it half way.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
