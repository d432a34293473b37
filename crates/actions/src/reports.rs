//! The report of a room: what was due, done, in band, corrected, changed and harvested in a period.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_advice::review::{
    CycleRecords, CycleYield, DayReviewed, RoomCompliance, RoomRecords, changes_due, cheapest, cycle_yields,
    days_of_changes, room_compliance, stood_in, tanks_of,
};
use fillmark_domain::entries::{Addition, Calibration, Spot, TankChange};
use fillmark_domain::growing::{CycleId, Harvest};
use fillmark_domain::people::Act;
use fillmark_domain::places::{RoomId, SiteId, TankId};
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::Offer;
use fillmark_domain::work::{Place, Span};
use fillmark_domain::{Days, Kept};
use fillmark_store::additions::KeptAddition;
use fillmark_store::checks::KeptCheck;
use fillmark_store::harvests::KeptHarvest;
use fillmark_store::readings::KeptReading;
use fillmark_store::tank_changes::KeptChange;
use fillmark_store::{SiteScope, Tx, checks, entries, plan, readings, records, tank_changes};

use crate::{App, Caller, Refusal, reviews};

/// Longer between two readings nobody knows what was: a day and a half, so that a daily round may be late.
const LONGEST_GAP: TimeDelta = TimeDelta::hours(36);
/// The longest period a report may span.
const LONGEST_PERIOD_DAYS: i64 = 731;
/// An island that moved across the date line has skipped one.
const NO_SUCH_DAYS: &str = "expected a day that the calendar of the site has";

/// A room's report.
#[derive(Debug, Clone)]
pub struct RoomReport {
    /// The room.
    pub room: RoomId,
    /// Its name.
    pub room_name: String,
    /// The names of the site's tanks.
    pub tank_names: HashMap<TankId, String>,
    /// From the first local day to the last.
    pub days: Days,
    /// When it was made.
    pub made_at: DateTime<Utc>,
    /// The last entry of the site's journal then.
    pub journal_id: Option<uuid::Uuid>,
    /// The figures.
    pub compliance: RoomCompliance,
    /// The days and their reviews.
    pub reviewed: Vec<DayReviewed>,
    /// Checks that were late or missed.
    pub troubled_checks: Vec<KeptCheck>,
    /// Tank changes done.
    pub changes: Vec<KeptChange>,
    /// Calibrations of the site's meters.
    pub calibrations: Vec<Kept<Calibration>>,
    /// Readings of the period that superseded others.
    pub corrections: Vec<KeptReading>,
    /// Harvests from the room.
    pub harvests: Vec<KeptHarvest>,
    /// The yields of the cycles that were picked, wherever else they stood.
    pub yields: Vec<CycleYield>,
}

/// Makes a room's report over local days.
/// # Errors
/// When the caller may not see it, the room is not there, or the days are out of order or too many.
pub async fn room(
    app: &App,
    caller: &Caller,
    site: SiteId,
    room: RoomId,
    days: Days,
) -> Result<RoomReport, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let count = (days.until - days.from).num_days();
    if !(0..LONGEST_PERIOD_DAYS).contains(&count) {
        return Err(Refusal::invalid(
            "/until_on",
            "out_of_order",
            format!("expected 1 to {LONGEST_PERIOD_DAYS} days from from_on"),
        ));
    }

    let tx = app.store.look().await?;
    let plan = plan::site_plan(&tx, scope).await?.ok_or(Refusal::NotFound)?;
    let kept = records::find(&tx, scope, room).await?.ok_or(Refusal::NotFound)?;
    let sheet = Sheet::load(&tx, scope, &plan, room, days).await?;
    let made_at = app.now();
    let compliance = room_compliance(&sheet.records(&plan, made_at));
    let yields = sheet.yields(&tx, scope, &plan).await?;
    let reviewed = reviews::days_of(&tx, scope, &plan, Some(room), days).await?;
    let journal_id = fillmark_store::journal::last(&tx, scope).await?;
    Ok(RoomReport {
        room,
        room_name: kept.content.name,
        tank_names: plan.tanks.iter().map(|tank| (tank.id, tank.content.name.clone())).collect(),
        days,
        made_at,
        journal_id,
        compliance,
        reviewed,
        troubled_checks: sheet.checks.iter().filter(|kept| kept.check.is_troubled()).cloned().collect(),
        corrections: sheet
            .readings
            .iter()
            .filter(|(_, reading)| reading.supersedes.is_some() && sheet.period.holds(reading.recorded_at))
            .cloned()
            .collect(),
        changes: sheet
            .changes
            .into_iter()
            .filter(|(_, change)| sheet.period.holds(change.recorded_at))
            .collect(),
        calibrations: sheet
            .calibrations
            .into_iter()
            .filter(|kept| sheet.period.holds(kept.content.calibrated_at))
            .collect(),
        harvests: sheet.harvests,
        yields,
    })
}

/// The records a report is made from.
struct Sheet {
    days: Days,
    period: Span,
    tanks: Vec<TankId>,
    readings: Vec<KeptReading>,
    additions: Vec<KeptAddition>,
    changes: Vec<KeptChange>,
    last_before: HashMap<TankId, NaiveDate>,
    checks: Vec<KeptCheck>,
    calibrations: Vec<Kept<Calibration>>,
    harvests: Vec<KeptHarvest>,
}

impl Sheet {
    async fn load(
        tx: &Tx,
        scope: SiteScope,
        plan: &SitePlan,
        room: RoomId,
        days: Days,
    ) -> Result<Sheet, Refusal> {
        let (from, until) = instants(plan, days);
        let period = Span::new(from, until)
            .map_err(|_| Refusal::invalid("/until_on", "out_of_order", NO_SUCH_DAYS))?;
        let tanks = tanks_of(plan, room, days);
        let spots: Vec<Spot> = tanks.iter().map(|tank| Spot::Tank(*tank)).chain([Spot::Room(room)]).collect();
        let places: Vec<Place> =
            tanks.iter().map(|tank| Place::Tank(*tank)).chain([Place::Room(room)]).collect();
        let ours = |tank: TankId| tanks.contains(&tank);
        let mut additions = entries::standing::<Addition>(tx, scope, from - LONGEST_GAP, until).await?;
        additions.retain(|(_, addition)| ours(addition.tank));
        let (early, late) = instants(plan, days_of_changes(days));
        let mut changes = entries::standing::<TankChange>(tx, scope, early, late).await?;
        changes.retain(|(_, change)| ours(change.tank));
        let last_before = tank_changes::last_full(tx, scope, from).await?;
        let mut harvests = entries::standing::<Harvest>(tx, scope, from, until).await?;
        harvests.retain(|(_, harvest)| {
            harvest.room.map_or_else(|| stood_in(plan, harvest.cycle, room, days), |picked| picked == room)
        });
        let mut calibrations = records::all::<Calibration>(tx, scope).await?;
        calibrations.sort_by_key(|kept| kept.content.calibrated_at);
        Ok(Sheet {
            days,
            period,
            readings: readings::standing(tx, scope, &spots, from - LONGEST_GAP, until).await?,
            checks: checks::due_at_places(tx, scope, &places, from, until).await?,
            tanks,
            additions,
            changes,
            last_before: last_before.into_iter().map(|(tank, last)| (tank, plan.day(last))).collect(),
            calibrations,
            harvests,
        })
    }

    fn records(&self, plan: &SitePlan, made_at: DateTime<Utc>) -> RoomRecords {
        let changes = contents(self.changes.iter().cloned());
        RoomRecords {
            period: Span::new(self.period.from, self.period.until.min(made_at)).unwrap_or(self.period),
            zone: plan.zone,
            today: plan.day(made_at),
            longest_gap: LONGEST_GAP,
            readings: contents(self.readings.iter().cloned()),
            additions: contents(self.additions.iter().cloned()),
            changes_due: changes_due(
                plan,
                &self.tanks,
                &changes,
                &self.last_before,
                self.days,
                plan.day(made_at),
            ),
            changes,
            checks: self.checks.iter().map(|kept| kept.check.clone()).collect(),
            calibrations: self.calibrations.iter().map(|kept| kept.content.clone()).collect(),
        }
    }

    async fn yields(&self, tx: &Tx, scope: SiteScope, plan: &SitePlan) -> Result<Vec<CycleYield>, Refusal> {
        let mut picked: Vec<CycleId> = self.harvests.iter().map(|(_, harvest)| harvest.cycle).collect();
        picked.sort_unstable();
        picked.dedup();
        if picked.is_empty() {
            return Ok(Vec::new());
        }
        let beginning = plan.begins(NaiveDate::from_ymd_opt(2000, 1, 1).unwrap_or_default());
        let offers = records::all::<Offer>(tx, scope).await?;
        let records = CycleRecords {
            until: self.days.until,
            harvests: contents(entries::standing(tx, scope, beginning, self.period.until).await?),
            additions: poured_since_start(tx, scope, plan, &picked, self.period.until).await?,
            prices: cheapest(offers.iter().map(|kept| &kept.content)),
        };
        Ok(cycle_yields(plan, &picked, &records))
    }
}

/// The instants at which local days begin and are over.
fn instants(plan: &SitePlan, days: Days) -> (DateTime<Utc>, DateTime<Utc>) {
    let after = days.until.succ_opt().unwrap_or(days.until);
    (plan.begins(days.from), plan.begins(after))
}

/// What was poured at the site since the first of some cycles started.
async fn poured_since_start(
    tx: &Tx,
    scope: SiteScope,
    plan: &SitePlan,
    cycles: &[CycleId],
    until: DateTime<Utc>,
) -> Result<Vec<Addition>, Refusal> {
    let starts =
        cycles.iter().filter_map(|id| plan.cycles.get(id)).map(|cycle| cycle.content.starts_on).min();
    let Some(first) = starts else { return Ok(Vec::new()) };
    Ok(contents(entries::standing(tx, scope, plan.begins(first), until).await?))
}

fn contents<E>(kept: impl IntoIterator<Item = entries::Kept<E>>) -> Vec<E> {
    kept.into_iter().map(|(_, entry)| entry).collect()
}
