//! Additions that are asked back.

use chrono::TimeDelta;
use fillmark_domain::Amount;
use fillmark_domain::entries::{
    AdditionReason, Advised, BesideAddition, Measured, Poured, SAME_ADDITION, Unusual, doubts_of_addition,
    doubts_of_water, fill_of, same_addition,
};
use fillmark_domain::places::Tank;
use fillmark_domain::stock::{Product, ProductId, ProductKind};
use fillmark_store::words::label_revisions;
use fillmark_store::{SiteScope, Stamp, Tx, additions as kept_additions, advice, plan, records};

use super::AdditionEntry;
use crate::Refusal;
use crate::work::zone_of;

/// What a tank was given longer ago was given in another season, to other plants; common practice, no source.
const LATELY: TimeDelta = TimeDelta::days(90);

/// Asks back, unless confirmed, more than the tank can hold or is given, and what somebody else has entered already.
pub(super) async fn ask_back(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    entry: &AdditionEntry,
    measured: Measured,
) -> Result<(), Refusal> {
    if entry.confirmed {
        return Ok(());
    }
    match measured {
        Measured::Water { litres } => {
            let tank = records::find::<Tank>(tx, scope, entry.tank).await?.ok_or(Refusal::NotFound)?;
            let lately = given(tx, scope, entry, None).await?;
            let lately: Vec<f64> = lately.iter().filter_map(Poured::water_l).collect();
            let doubt = doubts_of_water(entry.amount, litres, tank.content.fill_mark_l, &lately);
            Refusal::unless_confirmed("/amount", "looks_mis_keyed", doubt)?;
        }
        Measured::Product { product, amount, base } => {
            let doubt = doubts_of_addition(amount, base, &beside(tx, scope, entry, product).await?);
            let field = if doubt == Some(Unusual::NotAdvised) { "/advice_id" } else { "/amount" };
            Refusal::unless_confirmed(field, "looks_mis_keyed", doubt)?;
        }
    }
    let near = (entry.recorded_at - SAME_ADDITION, entry.recorded_at + SAME_ADDITION);
    let product = measured.product();
    let others = kept_additions::by_others(tx, scope, stamp.by, entry.tank, product, near).await?;
    let Some(same) = same_addition(&others, entry.client_id, measured) else { return Ok(()) };
    Refusal::unless_confirmed("/amount", "entered_before", Some(same.told(zone_of(tx, scope).await?)))
}

/// What the tank was given of a product for the same reason; where it was given nothing, what a fill of it takes by its
/// programme, or else by the label.
async fn beside(
    tx: &Tx,
    scope: SiteScope,
    entry: &AdditionEntry,
    product: ProductId,
) -> Result<BesideAddition, Refusal> {
    let at = entry.recorded_at;
    let lately = given(tx, scope, entry, Some(product)).await?;
    let lately: Vec<Amount> = lately.iter().filter_map(Poured::amount).collect();
    let advised = advised(tx, scope, entry, product).await?;
    let in_parts = entry.reason == AdditionReason::Ph;
    if !lately.is_empty() {
        return Ok(BesideAddition { advised, lately, in_parts, ..BesideAddition::default() });
    }
    let plan = plan::site_plan_since(tx, scope, at).await?.ok_or(Refusal::NotFound)?;
    let step = plan.led_at(entry.tank, at).and_then(|led| led.step);
    let dosed = step.and_then(|step| step.doses.iter().find(|dose| dose.product == product));
    let per_litre = match dosed {
        Some(dose) => Some(dose.per_litre),
        None => {
            let label = label_revisions::in_force(tx, scope.in_business(), product, at).await?;
            label.and_then(|label| label.content.full_strength_per_l)
        }
    };
    let tank = plan.tank(entry.tank).map(|tank| &tank.content);
    let fill = tank.zip(per_litre).map(|(tank, per_litre)| fill_of(tank, per_litre));
    let found = records::find::<Product>(tx, scope.in_business(), product).await?;
    let moves_ph = found.is_some_and(|found| found.content.kind == ProductKind::PhAdjuster);
    let ph_of_l = tank.filter(|tank| moves_ph && tank.mode.is_changed()).map(|tank| tank.fill_mark_l);
    Ok(BesideAddition { advised, in_parts, ph_of_l, lately, fill })
}

/// What the tank was given lately of a product, or of water, for the same reason.
async fn given(
    tx: &Tx,
    scope: SiteScope,
    entry: &AdditionEntry,
    product: Option<ProductId>,
) -> Result<Vec<Poured>, Refusal> {
    let span = (entry.recorded_at - LATELY, entry.recorded_at);
    Ok(kept_additions::given(tx, scope, entry.tank, (product, entry.reason), span).await?)
}

/// What the advice which an addition followed says of the product.
async fn advised(
    tx: &Tx,
    scope: SiteScope,
    entry: &AdditionEntry,
    product: ProductId,
) -> Result<Advised, Refusal> {
    let Some(id) = entry.advice else { return Ok(Advised::Nothing) };
    let needs = advice::find(tx, scope, id).await?.map(|advice| advice.needs()).unwrap_or_default();
    let named = needs.iter().find(|need| need.product == product);
    Ok(match named {
        Some(need) => Advised::Amount(need.amount),
        None if needs.is_empty() => Advised::Nothing,
        None => Advised::Others,
    })
}
