//! Advice on bringing what is in a tank back into its bands.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_advice::solution::correct::{ABOVE_MARK, CorrectAsked, CorrectPart, Correction, Shown, correct};
use fillmark_advice::solution::gathered::Entered;
use fillmark_advice::solution::record::{TankRecord, What};
use fillmark_advice::solution::turnover::{Moves, TURNOVER_LIMIT, early_change};
use fillmark_domain::entries::{Advice, AdviceKind, BandThen, Expectation, SamplePoint, Spot};
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, TankId};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Band, Metric};
use fillmark_store::{SiteScope, Tx, additions, advice, readings, tank_changes};

use super::KeptAdvice;
use super::facts::Facts;
use crate::{App, Caller, Refusal};

/// A tank to be corrected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CorrectionWanted {
    /// Which.
    pub tank: TankId,
    /// Whether it is filled to the mark at the same time.
    pub topping_up: bool,
}

/// Records older than this teach nothing about what is in the tank now.
const MEMORY: TimeDelta = TimeDelta::days(120);

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

    let tx = app.store.begin().await?;
    let facts = Facts::load(&tx, scope, wanted.tank, stamp.at).await?;
    let entered = entered(&tx, scope, wanted.tank, stamp.at - MEMORY, stamp.at).await?;
    let record = entered.record(facts.tank.content.fill_mark_l);
    let asked = asked(&facts, &record, wanted.topping_up, stamp.at)?;
    let made = correct(&asked);
    let mut given = Advice {
        tank: wanted.tank,
        kind: AdviceKind::Correction,
        made_at: stamp.at,
        asked_by: stamp.by,
        litres: asked.litres.litres,
        steps: made.advised(|product| facts.is_liquid(product)),
        ec_expected: made.ec_expected.map(|ec| Expectation { value: ec.value, low: ec.low, high: ec.high }),
        lacking: Vec::new(),
        reasons: reasons(&made, &facts),
        cautions: Vec::new(),
    };
    given.lacking = facts.lacking(&given);
    given.cautions = facts.cautions(&given);
    let id = advice::keep(&tx, scope, &stamp, &given).await?;
    tx.commit().await?;

    Ok((id, given))
}

/// What was entered of a tank in a span of time and stands.
pub(super) async fn entered(
    tx: &Tx,
    scope: SiteScope,
    tank: TankId,
    from: DateTime<Utc>,
    before: DateTime<Utc>,
) -> Result<Entered, Refusal> {
    Ok(Entered {
        readings: readings::standing(tx, scope, &[Spot::Tank(tank)], from, before).await?,
        additions: additions::of_tank(tx, scope, tank, (from, before)).await?,
        changes: tank_changes::of_tank(tx, scope, tank, (from, before)).await?,
    })
}

fn asked(
    facts: &Facts,
    record: &TankRecord,
    topping_up: bool,
    at: DateTime<Utc>,
) -> Result<CorrectAsked, Refusal> {
    let (mark_l, litres) = (record.fill_mark_l, record.litres_before(at));
    let changed = facts.tank.content.mode.is_changed();
    let moves: BTreeMap<ProductId, Moves> = facts.moves();
    Ok(CorrectAsked {
        fill_mark_l: mark_l,
        litres,
        room_l: (mark_l - litres.litres).max(0.0) + ABOVE_MARK * mark_l,
        ec: latest(record, Metric::Ec),
        ph: latest(record, Metric::Ph),
        stirred_at: record
            .events
            .iter()
            .rfind(|event| !matches!(event.what, What::Read { .. }))
            .map(|event| event.at),
        water_ec_ms_cm: facts.water().ec_ms_cm,
        ec_band: facts.ec_band().map(then)?,
        ph_band: facts.band(Metric::Ph).map(then),
        parts: facts.parts().unwrap_or_default().into_iter().map(part).collect(),
        topping_up,
        early: if changed { early_change(record, &moves, TURNOVER_LIMIT) } else { Vec::new() },
    })
}

fn latest(record: &TankRecord, wanted: Metric) -> Option<Shown> {
    record.events.iter().rev().find_map(|event| match event.what {
        What::Read { metric, point: SamplePoint::Tank, value, .. } if metric == wanted => {
            Some(Shown { value, at: event.at })
        }
        _ => None,
    })
}

fn then(band: Band) -> BandThen {
    BandThen { low: band.low, aim: band.aim, high: band.high }
}

fn part(part: fillmark_advice::solution::fill::Part) -> CorrectPart {
    CorrectPart {
        product: part.product,
        mixing_rank: part.mixing_rank,
        per_litre: part.per_litre,
        liquid: part.liquid,
        ec_rise: part.ec_rise,
    }
}

fn reasons(made: &Correction, facts: &Facts) -> Vec<String> {
    let each = made.reasons.iter().map(|reason| reason.told(|product| facts.name(product)));
    std::iter::once(made.told().to_owned()).chain(each).collect()
}
