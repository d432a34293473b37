//! The check plans that a site usually begins with: told, and made of what it has.

use chrono_tz::Tz;
use fillmark_domain::Kept;
use fillmark_domain::entries::Meter;
use fillmark_domain::people::Act;
use fillmark_domain::places::{Room, SiteId, Tank};
use fillmark_domain::plan::Changes;
use fillmark_domain::work::CheckPlan;
use fillmark_domain::work::template::{Template, TemplateKind, beside, is_there, templates};
use fillmark_store::{SiteScope, Tx, plan, records};

use super::{local_day, planning};
use crate::{App, Caller, Refusal};

/// A plan that a site usually has, beside what it has.
#[derive(Debug, Clone, PartialEq)]
pub struct Offered {
    /// The template.
    pub template: Template,
    /// Whether plans do the same already.
    pub is_there: bool,
    /// The names of plans of which only a person can tell whether they do.
    pub beside: Vec<String>,
}

/// What a site usually has, and what it has of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Usual {
    /// Each template.
    pub templates: Vec<Offered>,
    /// Tanks whose solution is changed from time to time, and whether that comes due.
    pub changes: Vec<(Kept<Tank>, Changes)>,
    /// The zone of the site.
    pub zone: Tz,
}

/// The templates for a site as it is.
/// # Errors
/// When the caller may not read them.
pub async fn read(app: &App, caller: &Caller, site: SiteId) -> Result<Usual, Refusal> {
    let site = caller.may(Act::Read, site)?;
    load(&app.store.look().await?, app, site).await
}

/// Makes the plans of these kinds, of all where none is named; what is there already is left as it is. With the zone of the site.
/// # Errors
/// When the caller may not, or somebody makes one of the same name meanwhile.
pub async fn make(
    app: &App,
    caller: &Caller,
    site: SiteId,
    kinds: &[TemplateKind],
) -> Result<(Vec<Kept<CheckPlan>>, Tz), Refusal> {
    let site = caller.may(Act::Manage, site)?;
    let stamp = app.stamp(caller);

    let tx = app.store.begin().await?;
    tx.take_turn(&format!("templates of {}", site.id().uuid())).await?;
    let mut made = Vec::new();
    let usual = load(&tx, app, site).await?;
    for Offered { template, is_there, .. } in usual.templates {
        if is_there || !(kinds.is_empty() || kinds.contains(&template.kind)) {
            continue;
        }
        let kept = records::create(&tx, site, &stamp, &template.plan).await?;
        planning::remake(&tx, site, &stamp, &kept).await?;
        made.push(kept);
    }
    tx.commit().await?;

    Ok((made, usual.zone))
}

async fn load(tx: &Tx, app: &App, site: SiteScope) -> Result<Usual, Refusal> {
    let (rooms, tanks) = (records::all::<Room>(tx, site).await?, records::all::<Tank>(tx, site).await?);
    let meters = records::all::<Meter>(tx, site).await?;
    let plans: Vec<CheckPlan> =
        records::all::<CheckPlan>(tx, site).await?.into_iter().map(|kept| kept.content).collect();
    let here = plan::site(tx, site).await?.ok_or(Refusal::NotFound)?.content;
    let today = local_day(here.time_zone, app.now());
    let usual = templates(&rooms, &tanks, &meters, &plans, &here.working_week, today);
    let offered = |template: &Template| Offered {
        is_there: is_there(template, &plans),
        beside: beside(template, &plans, &usual).map(|plan| plan.name.clone()).collect(),
        template: template.clone(),
    };
    let planned = plan::site_plan_since(tx, site, app.now()).await?.ok_or(Refusal::NotFound)?;
    let changes =
        tanks.into_iter().filter_map(|tank| planned.changes(&tank, today).map(|found| (tank, found)));
    let changes = changes.collect();
    let templates = usual.iter().map(offered).collect();
    Ok(Usual { templates, changes, zone: here.time_zone })
}
