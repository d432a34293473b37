//! What to add to a tank: advice that is given, kept as it was given, and applied by nobody but a person.

mod correction;
mod facts;
mod history;
mod learning;
mod meters;
mod open_balances;
mod priors;
mod reconciliation;
mod stock;
mod uptake;

use fillmark_advice::solution::correct::ABOVE_MARK;
use fillmark_advice::solution::fill::{FillAsked, fill};
use fillmark_domain::entries::{Advice, AdviceKind, AdviceOutcome, AdvisedStep, Expectation};
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, TankId, TankMode};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Id, Metric};
use fillmark_store::{SiteScope, Stamp, advice};

pub use self::correction::{CorrectionWanted, advise_correction};
use self::facts::Facts;
pub use self::learning::{AdjusterLearnt, Learning, Mixture, read_learning};
pub use self::open_balances::{watch_balances, watch_balances_at};
pub(crate) use self::priors::Expected;
pub(crate) use self::reconciliation::checks_told;
pub use self::reconciliation::{Reconciliation, read_reconciliation};
pub use self::uptake::{TankUptake, read_uptake};
use crate::{App, Caller, Refusal};

/// Advice with its id.
pub type KeptAdvice = (Id<Advice>, Advice);

/// How a tank is to be filled, where not as the record has it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillWanted {
    /// Which tank.
    pub tank: TankId,
    /// Volume to make, L; to the fill mark, if nothing is said.
    pub litres: Option<f64>,
    /// Temperature of the water, °C; 20, if nothing is said.
    pub temperature_c: Option<f64>,
    /// Of a stock tank: the product of the step that it holds.
    pub product: Option<ProductId>,
}

/// Of tap water that has stood in a room (common practice, no source).
const WATER_C: f64 = 20.0;

/// Of less of a tank nobody makes a fill: it was meant in another unit (our own judgement).
const LEAST_FILL: f64 = 0.01;

/// Advises a fresh fill of a tank, and keeps the advice.
/// # Errors
/// When the caller may not, there is no such tank, or nothing tells what is dosed into it.
pub async fn advise_fill(
    app: &App,
    caller: &Caller,
    site: SiteId,
    wanted: &FillWanted,
) -> Result<KeptAdvice, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let stamp = app.stamp(caller);

    let tx = app.store.look().await?;
    let facts = Facts::load(app, &tx, scope, wanted.tank, stamp.at).await.map_err(unknown_tank)?;
    let mark_l = facts.tank.content.fill_mark_l;
    let litres = wanted.litres.unwrap_or(mark_l);
    if !(mark_l * LEAST_FILL..=mark_l * (1.0 + ABOVE_MARK)).contains(&litres) {
        let least = mark_l * LEAST_FILL;
        let detail =
            format!("expected {least} L at least, and at most what the tank takes, {mark_l} L to its mark");
        return Err(Refusal::invalid("/volume", "out_of_range", detail));
    }
    let (outcome, steps, ec_expected, reasons) = match facts.tank.content.mode {
        TankMode::StockTank { ratio } => {
            let made = stock::make(&facts, litres, ratio, wanted.product)?;
            (made.outcome, made.steps, made.feed_ec, made.reasons)
        }
        _ => filled(&facts, litres, wanted.temperature_c.unwrap_or(WATER_C))?,
    };
    tx.commit().await?;

    let (kind, cautions) = (AdviceKind::Fill, Vec::new());
    give(app, scope, &stamp, &facts, Made { kind, outcome, litres, steps, ec_expected, reasons, cautions })
        .await
}

/// A tank that is named in a body and is not there is a fault of the body.
fn unknown_tank(refusal: Refusal) -> Refusal {
    match refusal {
        Refusal::NotFound => {
            Refusal::invalid("/tank_id", "unknown_id", "expected the id of a tank of the site")
        }
        other => other,
    }
}

/// Advice before it is looked at beside the store cupboard.
struct Made {
    kind: AdviceKind,
    outcome: AdviceOutcome,
    litres: f64,
    steps: Vec<AdvisedStep>,
    ec_expected: Option<Expectation>,
    reasons: Vec<String>,
    cautions: Vec<String>,
}

/// Keeps advice as it is given: with what stands in for what nobody has set, what the cupboard lacks and what to beware of.
async fn give(
    app: &App,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    facts: &Facts,
    made: Made,
) -> Result<KeptAdvice, Refusal> {
    let mut given = Advice {
        tank: facts.tank.id,
        kind: made.kind,
        made_at: stamp.at,
        asked_by: stamp.by,
        outcome: made.outcome,
        litres: made.litres,
        steps: made.steps,
        ec_expected: made.ec_expected,
        lacking: Vec::new(),
        reasons: made.reasons,
        cautions: made.cautions,
    };
    given.reasons.extend(facts.told_of_stand_ins());
    given.reasons.extend(facts.told_of_choice(&given));
    given.reasons.extend(facts.told_of_dry(&given));
    given.lacking = facts.lacking(&given);
    given.cautions.extend(facts.cautions(&given));

    let tx = app.store.begin().await?;
    let id = advice::keep(&tx, scope, stamp, &given).await?;
    tx.commit().await?;

    Ok((id, given))
}

type Filled = (AdviceOutcome, Vec<AdvisedStep>, Option<Expectation>, Vec<String>);

fn filled(facts: &Facts, litres: f64, temperature_c: f64) -> Result<Filled, Refusal> {
    let parts = facts.parts()?;
    let asked = FillAsked {
        litres,
        water: facts.water(),
        ec_aim_ms_cm: facts.ec_band()?.aim,
        ph_aim: facts.band(Metric::Ph).map(|band| band.aim),
        rise: facts.rise(&parts),
        parts,
        acid: facts.acid(),
        temperature_c,
    };
    let made = fill(&asked);
    let why = made.reasons.iter().map(|reason| reason.told(|product| facts.name(product)));
    let reasons = why.chain(facts.tellers(&asked.parts)).collect();
    Ok((made.outcome(), made.advised(&asked.parts), made.ec_expected, reasons))
}

/// Advice as it was given.
/// # Errors
/// When the caller may not see it or it is not there.
pub async fn read_advice(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Advice>,
) -> Result<KeptAdvice, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let found = advice::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    Ok((id, found))
}
