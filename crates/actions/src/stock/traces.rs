//! Where a lot went: tanks, cycles and harvests that it reached; and back, from a harvest to the lots that its cycle may have drunk.

use std::collections::BTreeMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_advice::supply::{Drank, Handled, Handling, LotTrace, drank, lots_drunk, picked, trace_lot};
use fillmark_domain::Id;
use fillmark_domain::entries::{Addition, Poured, TankChange};
use fillmark_domain::growing::{Feed, Harvest};
use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{Lot, LotId};
use fillmark_store::{SiteScope, Tx, entries, holdings, plan, preparations, records};

use crate::{App, Caller, Refusal};

/// A lot may be poured so long before anybody enters it (our own judgement): people write the label that they see.
const TYPED_LATER: TimeDelta = TimeDelta::days(90);

/// Where a lot went at a site.
#[derive(Debug, Clone, PartialEq)]
pub struct LotReach {
    /// The lot, those made of it, and the tanks they reached.
    pub trace: LotTrace,
    /// The cycles that drank of it.
    pub drank: Vec<Drank>,
    /// What was picked of them since.
    pub harvests: Vec<Id<Harvest>>,
    /// The sites that hold or held some of it; each has a trace of its own.
    pub sites: Vec<SiteId>,
}

/// Follows a lot through a site.
/// # Errors
/// When the caller may not see it, or the site never had such a lot.
pub async fn trace(app: &App, caller: &Caller, site: SiteId, lot: LotId) -> Result<LotReach, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let kept = records::find::<Lot>(&tx, scope.in_business(), lot).await?.ok_or(Refusal::NotFound)?;
    let sites = holdings::sites_of(&tx, scope.in_business(), lot).await?;
    if !sites.contains(&site) {
        return Err(Refusal::NotFound);
    }
    let records = Records::load(&tx, scope, kept.created_at - TYPED_LATER, app.now()).await?;
    let trace = trace_lot(lot, &records.handled);
    let drank = drank(&trace.exposures, &records.feeds, |at| records.plan.day(at));
    let harvests = picked(&drank, &records.harvests, |at| records.plan.day(at));
    Ok(LotReach { trace, drank, harvests, sites })
}

/// What a harvest's cycle may have drunk, by lot.
#[derive(Debug, Clone, PartialEq)]
pub struct HarvestOrigin {
    /// The harvest.
    pub harvest: Harvest,
    /// The lots, each with where and from when.
    pub lots: BTreeMap<LotId, Vec<Drank>>,
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
    let records = Records::load(&tx, scope, DateTime::<Utc>::UNIX_EPOCH, harvest.harvested_at).await?;
    let until: NaiveDate = records.plan.day(harvest.harvested_at);
    let day = |at| records.plan.day(at);
    let lots = lots_drunk(harvest.cycle, until, &records.handled, &records.feeds, day);
    Ok(HarvestOrigin { harvest, lots })
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
        from: DateTime<Utc>,
        until: DateTime<Utc>,
    ) -> Result<Records, Refusal> {
        let plan = plan::site_plan_since(tx, scope, from).await?.ok_or(Refusal::NotFound)?;
        let changes = entries::standing::<TankChange>(tx, scope, from, until).await?;
        let additions = entries::standing::<Addition>(tx, scope, from, until).await?;
        let made = preparations::all_made(tx, scope).await?;
        Ok(Records {
            handled: handled(&made, &changes, &additions),
            feeds: plan.feeds.iter().map(|feed| while_it_grows(feed, &plan)).collect(),
            harvests: entries::standing::<Harvest>(tx, scope, from, until).await?,
            plan: SitePlan::clone(&plan),
        })
    }
}

/// People write down minutes: at the same one a solution is made before a tank is drained, and that before it is filled.
fn handled(
    made: &[preparations::Made],
    changes: &[(Id<TankChange>, TankChange)],
    additions: &[(Id<Addition>, Addition)],
) -> Vec<Handled> {
    let made = made.iter().map(|one| (one.at, Handling::Prepared { from: one.from.clone(), into: one.into }));
    let drained = changes.iter().filter(|(_, change)| change.is_full());
    let drained = drained.map(|(_, change)| (change.recorded_at, Handling::Drained { tank: change.tank }));
    let poured = additions.iter().flat_map(|(_, addition)| {
        let lots = match &addition.poured {
            Poured::Product { lots, .. } => lots.as_slice(),
            Poured::Water { .. } => &[],
        };
        lots.iter()
            .map(|(lot, _)| (addition.recorded_at, Handling::Poured { lot: *lot, tank: addition.tank }))
    });
    let all = made.chain(drained).chain(poured).enumerate();
    all.map(|(place, (at, what))| Handled { at, place: place as u64, what }).collect()
}

/// A feed ends with its cycle.
fn while_it_grows(feed: &Feed, plan: &SitePlan) -> Feed {
    let ends_on = plan.cycles.get(&feed.cycle).and_then(|cycle| cycle.content.ends_on);
    let until = match (feed.until, ends_on) {
        (Some(one), Some(other)) => Some(one.min(other)),
        (one, other) => one.or(other),
    };
    Feed { until, ..feed.clone() }
}
