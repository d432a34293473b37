//! Advice on bringing what is in a tank back into its bands.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_advice::solution::correct::{
    ABOVE_MARK, CorrectAsked, Correction, EcAdvice, PhAdvice, Reason, Shown, correct,
};
use fillmark_advice::solution::record::{Litres, TankRecord, What};
use fillmark_advice::solution::step::{Chemistry, StepAsked, ph_step};
use fillmark_advice::solution::turnover::Moves;
use fillmark_advice::solution::waste::{Drain, DrainAsked, LEACHING, drain};
use fillmark_domain::entries::{AdviceKind, AdviceOutcome, AdvisedStep, BandThen, SamplePoint};
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, TankId, TankMode};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Band, Metric};

use super::facts::Facts;
use super::uptake::early;
use super::{KeptAdvice, Made, WATER_C, give, meters, unknown_tank};
use crate::{App, Caller, Refusal};

/// A tank to be corrected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CorrectionWanted {
    /// Which.
    pub tank: TankId,
    /// Whether it is filled to the mark at the same time.
    pub topping_up: bool,
}

/// Advises how to bring a tank back into its bands, and keeps the advice.
/// # Errors
/// When the caller may not, there is no such tank, or no band of EC is in force for it.
pub async fn advise_correction(
    app: &App,
    caller: &Caller,
    site: SiteId,
    wanted: &CorrectionWanted,
) -> Result<KeptAdvice, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    let stamp = app.stamp(caller);

    let tx = app.store.look().await?;
    let facts = Facts::load(app, &tx, scope, wanted.tank, stamp.at).await.map_err(unknown_tank)?;
    if let TankMode::StockTank { .. } = facts.tank.content.mode {
        let told = "a stock tank is made afresh, not corrected: ask for a fill";
        return Err(Refusal::Conflict(told.into()));
    }
    let asked = asked(&facts, wanted.topping_up, stamp.at)?;
    let made = correct(&asked);
    let cautions = meters::cautions(&tx, scope, &facts, &asked).await?;
    let (steps, of_ph) = steps(&facts, &asked, &made);
    let outcome = match steps.is_empty() && of_ph.is_some() {
        true => AdviceOutcome::NeedsProduct,
        false => made.outcome(),
    };
    tx.commit().await?;

    let mut reasons = reasons(&made, &facts);
    reasons.extend(facts.told_of_readings(&asked));
    reasons.extend(of_ph);
    if facts.tank.content.mode == TankMode::RunToWaste {
        reasons.extend(drained(&facts.record, stamp.at).told());
    }
    if matches!(made.ec, EcAdvice::TopUp { .. } | EcAdvice::Strengthen { .. }) {
        reasons.extend(facts.tellers(&asked.parts));
    }
    // Of a part of the doses that are reckoned nothing is expected but that it is measured.
    let ec_expected = made.ec_expected.filter(|_| !made.reasons.contains(&Reason::MayPassBand));
    let (kind, litres) = (AdviceKind::Correction, asked.litres.litres);
    give(app, scope, &stamp, &facts, Made { kind, outcome, litres, steps, ec_expected, reasons, cautions })
        .await
}

fn asked(facts: &Facts, topping_up: bool, at: DateTime<Utc>) -> Result<CorrectAsked, Refusal> {
    let (record, litres) = (&facts.record, facts.litres());
    let parts = facts.parts().unwrap_or_default();
    let why_early = match facts.tank.content.mode.is_changed() {
        true => early(facts, at),
        false => Vec::new(),
    };
    let acid = facts.acid();
    let stirred = record.events.iter().rfind(|event| !matches!(event.what, What::Read { .. }));
    Ok(CorrectAsked {
        fill_mark_l: record.fill_mark_l,
        litres,
        room_l: (record.fill_mark_l - litres.litres).max(0.0) + ABOVE_MARK * record.fill_mark_l,
        ec: latest(record, Metric::Ec, at),
        ph: latest(record, Metric::Ph, at),
        stirred_at: stirred.map(|event| event.at),
        water: facts.water(),
        water_c: WATER_C,
        titration: acid.and_then(|acid| facts.adjuster(acid.product)?.titration.clone()),
        acid,
        ec_band: facts.ec_band().map(then)?,
        ph_band: facts.band(Metric::Ph).map(then),
        rise: facts.rise(&parts),
        parts,
        topping_up,
        top_up_share: facts.top_up_share(),
        early: why_early,
    })
}

/// A reading that is older says what was in the tank, not what is (our own judgement).
const LASTS: TimeDelta = TimeDelta::hours(12);

/// The latest reading of what is in the tank.
fn latest(record: &TankRecord, wanted: Metric, now: DateTime<Utc>) -> Option<Shown> {
    let young = record.events.iter().rev().take_while(|event| now - event.at <= LASTS);
    young.into_iter().find_map(|event| match event.what {
        What::Read { metric, point: SamplePoint::Tank | SamplePoint::Feed, value, meter, .. }
            if metric == wanted =>
        {
            Some(Shown { value, at: event.at, meter })
        }
        _ => None,
    })
}

/// What drained of the feed of the last day.
fn drained(record: &TankRecord, now: DateTime<Utc>) -> Drain {
    let shown = |wanted: Metric, at: SamplePoint| {
        record.events.iter().rev().find_map(|event| match event.what {
            What::Read { metric, point, value, .. }
                if metric == wanted && point == at && now - event.at <= TimeDelta::days(1) =>
            {
                Some(value)
            }
            _ => None,
        })
    };
    drain(&DrainAsked {
        fed_l: shown(Metric::Volume, SamplePoint::Feed),
        drained_l: shown(Metric::Volume, SamplePoint::Drain),
        feed_ec_ms_cm: shown(Metric::Ec, SamplePoint::Feed),
        drain_ec_ms_cm: shown(Metric::Ec, SamplePoint::Drain),
        uptake_ec_ms_cm: None,
        wanted: LEACHING,
    })
}

fn then(band: Band) -> BandThen {
    BandThen { low: band.low, aim: band.aim, high: band.high }
}

fn reasons(made: &Correction, facts: &Facts) -> Vec<String> {
    let each = made.reasons.iter().map(|reason| reason.told(|product| facts.name(product)));
    std::iter::once(made.told().to_owned()).chain(each).collect()
}

/// What to do, and what there is to say of the pH.
fn steps(facts: &Facts, asked: &CorrectAsked, made: &Correction) -> (Vec<AdvisedStep>, Option<String>) {
    let mut steps = made.advised(|product| facts.is_liquid(product));
    let way = match made.ph {
        PhAdvice::Lower => Moves::Down,
        PhAdvice::Raise => Moves::Up,
        PhAdvice::Leave | PhAdvice::Measure => return (steps, None),
    };
    let (Some(shown), Some(band)) = (asked.ph, facts.band(Metric::Ph)) else { return (steps, None) };
    let Some(product) = facts.mover(way) else {
        let told =
            "The pH is out of its band, and no product of a known kind that moves it this way is on record.";
        return (steps, Some(told.to_owned()));
    };
    let (step, told) = ph(facts, product, shown.value, band, asked.litres);
    // Where no amount is told, small steps are, and each is measured.
    steps.extend(step.into_iter().chain([AdvisedStep::Measure(Metric::Ph)]));
    (steps, Some(told))
}

fn ph(
    facts: &Facts,
    product: ProductId,
    ph: f64,
    band: Band,
    litres: Litres,
) -> (Option<AdvisedStep>, String) {
    let response = facts.response(product);
    let adjuster = facts.adjuster(product);
    let predicted = |from: f64, to: f64| adjuster?.units_l(from, to);
    let chemistry = adjuster
        .filter(|adjuster| adjuster.titration.is_some())
        .map(|adjuster| Chemistry { predicted: &predicted, meq_per_unit: adjuster.meq_per_unit() });
    let asked = StepAsked { ph, band, litres, response: response.as_ref(), chemistry };
    let step = ph_step(&asked);
    (
        step.advised((product, facts.is_liquid(product)), band, step.to_aim(&asked)),
        step.told(&facts.name(product), response.as_ref()),
    )
}
