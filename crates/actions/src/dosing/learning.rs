//! What is learnt or expected of the products that go into a tank.

use chrono::{DateTime, Utc};
use fillmark_advice::solution::learn::PhResponse;
use fillmark_advice::solution::learnt::Learnt;
use fillmark_advice::solution::turnover::Moves;
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, TankId};
use fillmark_domain::stock::ProductId;

use super::facts::{ENOUGH, Facts};
use crate::{App, Caller, Refusal};

/// What is known of the products that go into a tank.
#[derive(Debug, Clone)]
pub struct Learning {
    /// Which tank.
    pub tank: TankId,
    /// When this was so.
    pub at: DateTime<Utc>,
    /// EC that one mL or g in a litre adds, mS/cm, by product in the order of their ids.
    pub rises: Vec<(ProductId, Learnt)>,
    /// The products of the step in force and how much of each goes into a litre, mL or g, with what they add together where
    /// that is known; none where no step leads the tank.
    pub mixture: Option<Mixture>,
    /// How the pH answers.
    pub ph: Vec<AdjusterLearnt>,
    /// What the figures rest on.
    pub reasons: Vec<String>,
    /// What to keep in mind.
    pub cautions: Vec<String>,
}

/// Products dosed together.
#[derive(Debug, Clone)]
pub struct Mixture {
    /// mL or g of each for a litre.
    pub parts: Vec<(ProductId, f64)>,
    /// EC that they add to it, mS/cm; none where a product does not say what it adds.
    pub rise: Option<Learnt>,
}

/// A product that moves the pH.
#[derive(Debug, Clone)]
pub struct AdjusterLearnt {
    /// Which.
    pub product: ProductId,
    /// Where its label says that it moves the pH.
    pub moves: Option<Moves>,
    /// How much of it a move takes; none where neither chemistry nor records tell.
    pub response: Option<PhResponse>,
}

/// What is known of the products that go into a tank.
/// # Errors
/// When the caller may not see it or the tank is not there.
pub async fn read_learning(
    app: &App,
    caller: &Caller,
    site: SiteId,
    tank: TankId,
) -> Result<Learning, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let at = app.now();
    let tx = app.store.look().await?;
    let facts = Facts::load(app, &tx, scope, tank, at).await?;
    let parts = facts.parts().unwrap_or_default();
    let mut reasons = facts.tellers(&parts);
    reasons.extend(facts.told_neighbours());
    let mixture = (!parts.is_empty()).then(|| Mixture {
        parts: parts.iter().map(|part| (part.product, part.per_litre)).collect(),
        rise: facts.rise(&parts).ok(),
    });
    let moves = facts.moves();
    let adjuster = |product| AdjusterLearnt {
        product,
        moves: moves.get(&product).copied(),
        response: facts.response(product),
    };
    Ok(Learning {
        tank,
        at,
        rises: facts.rises().into_iter().collect(),
        mixture,
        ph: facts.adjusters().into_iter().map(adjuster).collect(),
        reasons,
        cautions: vec![PRIOR.to_owned(), format!("{TOLD_APART} Fewer than {ENOUGH} additions say little.")],
    })
}

const PRIOR: &str =
    "A figure with a prior share near 1 is what a label or chemistry says: nothing of it was measured here.";
const TOLD_APART: &str = "Products that are always poured together are told apart by their labels alone.";
