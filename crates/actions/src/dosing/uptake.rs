//! What plants take from a tank, and what left it besides.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_advice::solution::balance::Reckoned;
use fillmark_advice::solution::turnover::{EarlyChange, TURNOVER_LIMIT, early_change, turnover};
use fillmark_advice::solution::uptake::{Drinkers, Drinking, Loss, Rate, losses, peers, stage_led, uptake};
use fillmark_domain::Stage;
use fillmark_domain::people::Act;
use fillmark_domain::places::{SiteId, TankId};
use fillmark_store::{SiteScope, Tx};

use super::facts::{Facts, MEMORY};
use super::history;
use crate::{App, Caller, Refusal};

/// What plants take from a tank.
#[derive(Debug, Clone)]
pub struct TankUptake {
    /// Which tank.
    pub tank: TankId,
    /// Since when: as many plants drank, in the same stage.
    pub from: DateTime<Utc>,
    /// Until when.
    pub until: DateTime<Utc>,
    /// The stage that leads the tank, where one does.
    pub stage: Option<Stage>,
    /// Plants that drink from it.
    pub plants: u32,
    /// Tanks of the same room and stage, to which its figures are drawn.
    pub peers: Vec<TankId>,
    /// L a day; none without plants.
    pub water_l: Option<Rate>,
    /// mS/cm times L a day; none without plants, or where the feed's EC is not known.
    pub nutrient: Option<Rate>,
    /// EC at which plants take up, mS/cm; none where it cannot be told.
    pub ec_ms_cm: Option<Reckoned>,
    /// EC of what they are fed, mS/cm.
    pub feed_ec_ms_cm: Option<f64>,
    /// How often the fill was drunk and filled up again; none of a tank that is not changed.
    pub turnover: Option<f64>,
    /// Why it should be changed before its day.
    pub early: Vec<EarlyChange>,
    /// Water that no plant took.
    pub losses: Vec<Loss>,
    /// What the figures rest on.
    pub reasons: Vec<String>,
    /// What to keep in mind.
    pub cautions: Vec<String>,
}

/// What plants took from a tank in so many days, and what left it besides.
/// # Errors
/// When the caller may not see it or the tank is not there.
pub async fn read_uptake(
    app: &App,
    caller: &Caller,
    site: SiteId,
    tank: TankId,
    days: u16,
) -> Result<TankUptake, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let at = app.now();
    let span = (at - TimeDelta::days(days.into()), at);
    let tx = app.store.look().await?;
    let facts = Facts::load_since(app, &tx, scope, tank, span).await?;
    of_tank(&tx, scope, &facts, span).await
}

pub(super) async fn of_tank(
    tx: &Tx,
    scope: SiteScope,
    facts: &Facts,
    span: (DateTime<Utc>, DateTime<Utc>),
) -> Result<TankUptake, Refusal> {
    let (tank, plan, rises) = (facts.tank.id, &facts.plan, facts.rises());
    let today = plan.day(span.1);
    let own = Drinking::of(plan, &facts.tank, &facts.record, &rises, span);
    let mut beside = Vec::new();
    let peers = peers(plan, tank, today);
    for peer in &peers {
        let record = history::record(tx, scope, peer, span).await?;
        beside.push(Drinking::of(plan, peer, &record, &rises, span));
    }
    let beside: Vec<Drinkers<'_>> = beside.iter().map(Drinking::drinkers).collect();
    let usual = uptake(own.drinkers(), &beside);
    let (fed, drinks) = (own.feed_ec_ms_cm, own.plants > 0);
    let plants = f64::from(own.plants);
    let changed = facts.tank.content.mode.is_changed();
    let told = drinks.then(|| usual.told()).into_iter();
    let compared = fed.filter(|_| drinks).and_then(|fed| usual.told_beside(fed));
    Ok(TankUptake {
        tank,
        from: own.since,
        until: span.1,
        stage: stage_led(plan, tank, today),
        plants: own.plants,
        peers: peers.iter().map(|peer| peer.id).collect(),
        water_l: drinks.then(|| usual.water_l.of_plants(plants)),
        nutrient: fed.filter(|_| drinks).map(|_| usual.nutrient.of_plants(plants)),
        ec_ms_cm: fed.filter(|_| drinks).and_then(|_| usual.ec_ms_cm()),
        feed_ec_ms_cm: fed,
        turnover: changed.then(|| turnover(&facts.record, &lost(facts, span.1))),
        early: if changed { early(facts, span.1) } else { Vec::new() },
        losses: losses(own.drinkers(), &usual),
        reasons: told.chain(compared).collect(),
        cautions: cautions(&own, changed),
    })
}

/// Why a tank should be changed before its day, by its own records.
pub(super) fn early(facts: &Facts, at: DateTime<Utc>) -> Vec<EarlyChange> {
    let (record, moves) = (&facts.record, facts.moves());
    let by_filling_up = early_change(record, &moves, &[], TURNOVER_LIMIT);
    if by_filling_up.is_empty() {
        return by_filling_up;
    }
    early_change(record, &moves, &lost(facts, at), TURNOVER_LIMIT)
}

/// What left a tank that no plant took, as far back as is learnt from and whatever span is asked about: a turnover is of the
/// fill.
fn lost(facts: &Facts, at: DateTime<Utc>) -> Vec<Loss> {
    let span = (at - MEMORY, at);
    let own = Drinking::of(&facts.plan, &facts.tank, &facts.record, &facts.rises(), span);
    losses(own.drinkers(), &uptake(own.drinkers(), &[]))
}

fn cautions(own: &Drinking, changed: bool) -> Vec<String> {
    let untold = own.spans.iter().any(|span| span.brought.is_none());
    let all = [
        (own.plants == 0, "No plants are recorded to drink from the tank: all that left it is told as lost."),
        (
            own.spans.is_empty(),
            "No two readings of the EC with known litres lie in this time: read the volume with the EC, or enter what is topped up.",
        ),
        (untold, "Nothing tells what EC one of the products adds, so some spans tell the water alone."),
        (!changed, "What a tank feeds to waste counts as left: only part of it was drunk."),
    ];
    all.into_iter().filter(|(so, _)| *so).map(|(_, caution)| caution.to_owned()).collect()
}
