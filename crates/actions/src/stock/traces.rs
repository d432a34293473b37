//! Where a lot went: tanks, cycles and harvests that it reached; and back, from a harvest to the lots that its cycle may have drunk.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, NaiveDate, NaiveTime, TimeDelta, Utc};
use fillmark_advice::supply::{
    Drank, Drunk, Handled, LotTrace, drank, fed_since, handled, lots_drunk, picked, trace_lot,
};
use fillmark_domain::entries::{Addition, TankChange};
use fillmark_domain::growing::{Cycle, CycleId, Feed, Harvest};
use fillmark_domain::people::Act;
use fillmark_domain::places::{Site, SiteId, Tank, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{Lot, LotId};
use fillmark_domain::{Id, Kept};
use fillmark_store::preparations::Made;
use fillmark_store::{
    SiteScope, Tx, entries, holdings, movements, plan, preparations, readings, records, transfers,
};

use uuid::Uuid;

use crate::{App, Caller, Refusal};

/// What was in a tank when a cycle came to it went in this long before at most (our own judgement): a tank that is not drained whole
/// for a year is none that is changed.
const IN_THE_TANK: TimeDelta = TimeDelta::days(365);

/// Where a lot went at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct LotReach {
    /// The lot, those made of it, and the tanks they reached.
    pub trace: LotTrace,
    /// The cycles that drank of it.
    pub drank: Vec<Drank>,
    /// What was picked of them since.
    pub harvests: Vec<(Id<Harvest>, Harvest)>,
    /// The sites that hold or held some of it, or of what was made of it, or that it is on its way to, as far as the caller may see them;
    /// each has a trace of its own once it has arrived.
    pub sites: BTreeSet<SiteId>,
    /// How many such sites the caller may not see.
    pub unseen_sites: usize,
    /// What lots, tanks, cycles and sites are called, by id.
    pub names: BTreeMap<Uuid, String>,
}

/// Follows a lot through a site.
/// # Errors
/// When the caller may not see it, or the site never had such a lot, nor what was made of it.
pub async fn trace(app: &App, caller: &Caller, site: SiteId, lot: LotId) -> Result<LotReach, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let kept = records::find::<Lot>(&tx, scope.in_business(), lot).await?.ok_or(Refusal::NotFound)?;
    let business = scope.in_business();
    let made = preparations::all_made(&tx, business).await?;
    let lots = trace_lot(lot, &handled(made.iter().map(of_made), &[], &[], &[])).lots;
    let mut sites = holdings::sites_of(&tx, business, &lots).await?;
    if !sites.contains(&site) {
        return Err(Refusal::NotFound);
    }
    sites.extend(transfers::bound_for(&tx, business, &lots).await?);
    let (sites, unseen): (BTreeSet<SiteId>, BTreeSet<SiteId>) =
        sites.into_iter().partition(|site| caller.may(Act::Read, *site).is_ok());
    // It may have been poured long before anybody entered it: people write the label that they see.
    let first = movements::first_of_lots(&tx, scope, &lots).await?;
    let since = first.map_or(kept.created_at, |first| first.min(kept.created_at));
    let records = Records::load(&tx, scope, &made, (since, app.now())).await?;
    let trace = trace_lot(lot, &records.handled);
    let today = records.plan.day(app.now());
    let drank = drank(&trace.exposures, &records.feeds, today, |at| records.plan.day(at));
    let harvests = picked(&drank, &records.harvests, |at| records.plan.day(at));
    let cycles = drank.iter().map(|one| one.cycle).collect();
    let lots: Vec<LotId> = trace.lots.iter().copied().collect();
    let tanks = trace.exposures.iter().map(|one| one.tank).collect();
    let mut names = records.names(&tx, scope, &lots, cycles, tanks).await?;
    let ids = sites.iter().map(|site| site.uuid().into()).collect();
    let named = records::find_many::<Site>(&tx, business, "id", ids).await?;
    names.extend(named.into_iter().map(|kept| (kept.id.uuid(), kept.content.name)));
    Ok(LotReach { trace, drank, harvests, sites, unseen_sites: unseen.len(), names })
}

/// What a harvest's cycle may have drunk, by lot.
#[derive(Debug, Clone, PartialEq)]
pub struct HarvestOrigin {
    /// The harvest.
    pub harvest: Harvest,
    /// The lots, each with where and from when.
    pub lots: BTreeMap<LotId, Vec<Drunk>>,
    /// What lots, tanks and cycles are called, by id.
    pub names: BTreeMap<Uuid, String>,
}

/// Follows a harvest back to lots.
/// # Errors
/// When the caller may not see it, or there is no such harvest.
pub async fn trace_back(
    app: &App,
    caller: &Caller,
    site: SiteId,
    harvest: Id<Harvest>,
) -> Result<HarvestOrigin, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let (_, harvest) = entries::find::<Harvest>(&tx, scope, harvest).await?.ok_or(Refusal::NotFound)?;
    let cycle = records::find::<Cycle>(&tx, scope, harvest.cycle).await?.ok_or(Refusal::NotFound)?.content;
    let from = cycle.starts_on.and_time(NaiveTime::MIN).and_utc() - IN_THE_TANK;
    let made = preparations::all_made(&tx, scope.in_business()).await?;
    let records = Records::load(&tx, scope, &made, (from, harvest.harvested_at)).await?;
    let until: NaiveDate = records.plan.day(harvest.harvested_at);
    let day = |at| records.plan.day(at);
    let lots = lots_drunk(harvest.cycle, until, &records.handled, &records.feeds, day);
    let named: Vec<LotId> = lots.keys().copied().collect();
    let tanks = lots.values().flatten().map(|one| one.drank.tank).collect();
    let names = records.names(&tx, scope, &named, BTreeSet::from([harvest.cycle]), tanks).await?;
    Ok(HarvestOrigin { harvest, lots, names })
}

fn of_made(made: &Made) -> (DateTime<Utc>, Vec<LotId>, LotId) {
    (made.at, made.from.clone(), made.into)
}

/// What was done with lots and tanks, and who drank from them.
struct Records {
    handled: Vec<Handled>,
    feeds: Vec<Feed>,
    harvests: Vec<(Id<Harvest>, Harvest)>,
    plan: SitePlan,
}

impl Records {
    async fn load(
        tx: &Tx,
        scope: SiteScope,
        made: &[Made],
        (from, until): (DateTime<Utc>, DateTime<Utc>),
    ) -> Result<Records, Refusal> {
        let plan = plan::site_plan_since(tx, scope, from).await?.ok_or(Refusal::NotFound)?;
        let changes = entries::standing::<TankChange>(tx, scope, from, until).await?;
        let additions = entries::standing::<Addition>(tx, scope, from, until).await?;
        let looks = readings::counters(tx, scope, from, until).await?;
        // A tank that is changed is not filled up as it feeds.
        let feeds = |tank: &&Kept<Tank>| !tank.content.mode.is_changed();
        let holds_l = |id| {
            let tank = plan.tanks.iter().filter(feeds).find(|tank| tank.id == id)?;
            Some(tank.content.fill_mark_l)
        };
        let fed = fed_since(&looks, holds_l);
        Ok(Records {
            handled: handled(made.iter().map(of_made), &changes, &fed, &additions),
            feeds: plan.feeds_while_they_grow(),
            harvests: entries::standing::<Harvest>(tx, scope, from, until).await?,
            plan: SitePlan::clone(&plan),
        })
    }

    /// What is spoken of, by id: lots by their numbers.
    async fn names(
        &self,
        tx: &Tx,
        scope: SiteScope,
        lots: &[LotId],
        cycles: BTreeSet<CycleId>,
        tanks: BTreeSet<TankId>,
    ) -> Result<BTreeMap<Uuid, String>, Refusal> {
        let ids = lots.iter().map(|lot| lot.uuid().into()).collect();
        let lots = records::find_many::<Lot>(tx, scope.in_business(), "id", ids).await?;
        let lots = lots.into_iter().map(|kept| (kept.id.uuid(), kept.content.number));
        let ids = cycles.into_iter().map(|cycle| cycle.uuid().into()).collect();
        let cycles = records::find_many::<Cycle>(tx, scope, "id", ids).await?;
        let cycles = cycles.into_iter().map(|kept| (kept.id.uuid(), kept.content.name));
        let ids = tanks.into_iter().map(|tank| tank.uuid().into()).collect();
        let tanks = records::find_many::<Tank>(tx, scope, "id", ids).await?;
        let tanks = tanks.into_iter().map(|kept| (kept.id.uuid(), kept.content.name));
        Ok(lots.chain(cycles).chain(tanks).collect())
    }
}
