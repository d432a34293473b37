//! What each tank feeds day by day, as the site's plan has it.

use std::collections::{BTreeMap, HashMap};

use chrono::NaiveDate;
use fillmark_domain::growing::Step;
use fillmark_domain::places::Tank;
use fillmark_domain::plan::{Led, SitePlan};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Days, Kept, Metric};

use super::question::{Dose, FedDay};

/// EC that one mL (or g) of each product in one litre adds, mS/cm at 25 °C.
pub type EcRises = HashMap<ProductId, f64>;

/// The days on which something drinks from a tank that is in use.
pub fn fed_days(
    plan: &SitePlan,
    tank: &Kept<Tank>,
    days: Days,
    rises: &EcRises,
) -> BTreeMap<NaiveDate, FedDay> {
    let source_ec = plan.source_ec(&tank.content);
    days.each()
        .filter(|day| plan.in_use(tank.id, *day))
        .filter_map(|day| {
            Some((
                day,
                fed_day(plan, plan.led(tank.id, day)?, plan.plants(tank.id, day), source_ec, day, rises)?,
            ))
        })
        .collect()
}

/// The first of these days on which plants stand at a tank in use in a stage that their programme has no step for.
pub fn without_step_on(
    plan: &SitePlan,
    tank: &Kept<Tank>,
    mut days: impl Iterator<Item = NaiveDate>,
) -> Option<NaiveDate> {
    days.find(|day| {
        plan.in_use(tank.id, *day) && plan.led(tank.id, *day).is_some_and(|led| led.step.is_none())
    })
}

fn fed_day(
    plan: &SitePlan,
    led: Led<'_>,
    plants: u32,
    source_ec: f64,
    day: NaiveDate,
    rises: &EcRises,
) -> Option<FedDay> {
    let cycle = &led.cycle.content;
    let step = led.step?;
    let ec_aim = aim(step, source_ec, rises);
    let changed = plan.tank(led.feed.tank).is_some_and(|tank| tank.content.mode.is_changed());
    Some(FedDay {
        stage: cycle.stage_on(day)?.stage,
        cycle_start: cycle.starts_on,
        cycle_end: cycle.ends_on.unwrap_or_else(|| planned_end(plan, led, day)),
        plants: plants.into(),
        ec_aim,
        source_ec,
        doses: doses(step, ec_aim - source_ec, rises),
        top_up_share: step.top_up_share(),
        change_every_days: step
            .change_every_days
            .filter(|_| changed)
            .and_then(|days| u16::try_from(days).ok()),
    })
}

/// The EC aimed at: the band's, or where there is none what the doses make of the water.
fn aim(step: &Step, source_ec: f64, rises: &EcRises) -> f64 {
    step.band(Metric::Ec).map_or_else(|| source_ec + rise(step, rises).0, |band| band.aim)
}

/// The EC that a step's doses add, and whether every product's share in it is known.
fn rise(step: &Step, rises: &EcRises) -> (f64, bool) {
    let each = step.doses_given().map(|dose| rises.get(&dose.product).map(|rise| rise * dose.per_litre));
    each.fold((0.0, true), |(sum, known), rise| (sum + rise.unwrap_or(0.0), known && rise.is_some()))
}

/// The doses give the proportions, the aim fixes the amount; where it cannot be reckoned they stand as written.
fn doses(step: &Step, wanted: f64, rises: &EcRises) -> Vec<Dose> {
    let (raised, known) = rise(step, rises);
    let scale = if known && raised > 0.0 && wanted > 0.0 { wanted / raised } else { 1.0 };
    step.doses_given().map(|dose| Dose { product: dose.product, per_l: dose.per_litre * scale }).collect()
}

/// A cycle whose end nobody wrote down lasts as long as its programme's steps, and at least until the day asked about.
fn planned_end(plan: &SitePlan, led: Led<'_>, day: NaiveDate) -> NaiveDate {
    let cycle = &led.cycle.content;
    let steps = plan.steps(cycle.programme, plan.begins(day));
    let days: u32 = steps.iter().map(|step| step.days).sum();
    let end = cycle.starts_on.checked_add_days(chrono::Days::new(days.into()));
    end.unwrap_or(day).max(day)
}
