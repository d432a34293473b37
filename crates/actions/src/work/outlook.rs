//! Looking over many days: whether those to come are covered, and whether work was shared fairly.

use std::collections::BTreeSet;

use chrono::{Days as ChronoDays, NaiveDate};
use fillmark_advice::rounds::{
    Attended, Coverage, DayAhead, Expected, WeekOfWork, Worker, coverage, fairness, looked_at_from,
    minutes_there, monday,
};
use fillmark_domain::Days;
use fillmark_domain::growing::is_keepable;
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::SiteId;
use fillmark_domain::plan::SitePlan;
use fillmark_domain::work::{Absence, Check, CheckPlan, Held, Place, Shift, Span};
use fillmark_store::{SiteScope, Tx, plan, records};

use super::changes;
use super::day::{Staff, absences, held, shifts, worked};
use super::rounds::Names;
use crate::{App, Caller, Refusal};

/// Days are looked ahead or back at most so far at once.
const MOST_DAYS: i64 = 92;
/// Days ahead where none are named: four weeks with today.
const USUAL_DAYS: u64 = 27;

/// How days are covered, with the names of what is short.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Covered {
    /// Day by day.
    pub days: Vec<Coverage>,
    /// Names of qualifications.
    pub names: Names,
}

/// How work was shared, with the names of people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shares {
    /// Week by week and by person.
    pub weeks: Vec<WeekOfWork>,
    /// Names of people.
    pub names: Names,
}

/// Which days of those to come lack people or a qualification: from check plans, tank changes of the programme, shifts and
/// absences. Four weeks from today where none are named.
/// # Errors
/// When the caller may not see it, or the days cannot be taken.
pub async fn read_coverage(
    app: &App,
    caller: &Caller,
    site: SiteId,
    from: Option<NaiveDate>,
    until: Option<NaiveDate>,
) -> Result<Covered, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let (tx, now) = (app.store.look().await?, app.now());
    let plan = plan::site_plan_since(&tx, site, now).await?.ok_or(Refusal::NotFound)?;
    let from = from.unwrap_or_else(|| plan.day(now));
    let days = span(from, until.unwrap_or_else(|| later(from, USUAL_DAYS)))?;
    let mut checks = changes::expected(&tx, site, now, days.until).await?;
    for kept in records::all::<CheckPlan>(&tx, site).await? {
        match kept.content.checks(kept.id, plan.zone, days) {
            Ok(made) => checks.extend(made),
            Err(error) => {
                let error = &error as &dyn std::error::Error;
                tracing::error!(error, plan = %kept.id, "a plan makes no checks");
            }
        }
    }
    checks.retain(|check| is_done_there(&plan, check));
    let there = There::load(&tx, site, &plan, Days { from: earlier(days.from), ..days }).await?;
    let ahead: Vec<DayAhead> = days
        .each()
        .map(|date| DayAhead {
            date,
            hours: Span { from: plan.begins(date), until: plan.begins(later(date, 1)) },
            // A shift of the day before may reach into it.
            workers: there.workers(&plan, &[earlier(date), date], &there.staff.on(plan.zone, date)),
            expected: checks.iter().filter(|check| check.date == date).filter_map(Expected::of).collect(),
        })
        .collect();
    Ok(Covered { days: coverage(&ahead), names: Names::load(&tx, site).await? })
}

/// Minutes of checks and those that nobody likes, per person and week, beside what would have been fair over four weeks. The
/// last four weeks where none are named.
/// # Errors
/// When the caller may not see it, or the days cannot be taken.
pub async fn read_fairness(
    app: &App,
    caller: &Caller,
    site: SiteId,
    from: Option<NaiveDate>,
    until: Option<NaiveDate>,
) -> Result<Shares, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let (tx, now) = (app.store.look().await?, app.now());
    let plan = plan::site_plan_since(&tx, site, now).await?.ok_or(Refusal::NotFound)?;
    let until = until.unwrap_or_else(|| plan.day(now));
    let days = span(from.unwrap_or_else(|| looked_at_from(monday(until))), until)?;
    let (first, last) = (monday(days.from), monday(days.until));
    let all = Days { from: looked_at_from(first), until: later(last, 6) };
    let instants = (plan.begins(all.from), plan.begins(later(all.until, 1)));
    let done = worked(&tx, site, &plan, instants).await?;
    // Nobody has worked yet what is to come.
    let known = Days { until: all.until.min(plan.day(now)), ..all };
    let there = There::load(&tx, site, &plan, known).await?;
    let attended: Vec<Attended> = known
        .each()
        .map(|day| (day, there.workers(&plan, &[day], &there.staff.ever_on(plan.zone, day))))
        .flat_map(|(day, workers)| workers.into_iter().map(move |worker| (day, worker)))
        .map(|(day, worker)| Attended { person: worker.person, day, minutes: minutes_there(&worker) })
        .collect();
    let mut weeks = fairness(&done, &attended, (first, last), |at| plan.day(at));
    // How much colleagues work is between them and whoever manages.
    if caller.may(Act::Manage, site.id()).is_err() {
        weeks.retain(|week| caller.person() == Some(week.person));
    }
    Ok(Shares { weeks, names: Names::load(&tx, site).await? })
}

/// Who is there on days.
struct There {
    shifts: Vec<Shift>,
    absences: Vec<Absence>,
    held: Vec<Held>,
    staff: Staff,
}

impl There {
    async fn load(tx: &Tx, site: SiteScope, plan: &SitePlan, days: Days) -> Result<There, Refusal> {
        let shifts = shifts(tx, site, days).await?;
        let people = shifts.iter().map(|shift| shift.person).collect();
        let instants = (plan.begins(days.from), plan.begins(later(days.until, 2)));
        Ok(There {
            shifts,
            absences: absences(tx, site, &people, instants).await?,
            held: held(tx, site).await?,
            staff: Staff::load(tx, site).await?,
        })
    }

    /// Whose shifts belong to some days, of these people.
    fn workers(&self, plan: &SitePlan, days: &[NaiveDate], people: &BTreeSet<PersonId>) -> Vec<Worker> {
        let of_day = || self.shifts.iter().filter(|shift| days.contains(&shift.day));
        let there: BTreeSet<PersonId> =
            of_day().map(|shift| shift.person).filter(|person| people.contains(person)).collect();
        let worker = |person: PersonId| Worker {
            shifts: of_day()
                .filter(|shift| shift.person == person)
                .filter_map(|shift| shift.span(plan.zone).ok())
                .collect(),
            absences: self
                .absences
                .iter()
                .filter(|away| away.person == person)
                .map(|away| away.span)
                .collect(),
            held: self.held.iter().filter(|held| held.person == person).copied().collect(),
            breaks: of_day()
                .filter(|shift| shift.person == person)
                .filter_map(|shift| shift.rests(plan.zone))
                .collect(),
            ..Worker::new(person)
        };
        there.into_iter().map(worker).collect()
    }
}

/// At a tank that is out of use nothing is done.
fn is_done_there(plan: &SitePlan, check: &Check) -> bool {
    match check.place {
        Place::Tank(tank) => plan.in_use(tank, check.date),
        Place::Room(_) => true,
    }
}

fn span(from: NaiveDate, until: NaiveDate) -> Result<Days, Refusal> {
    if !is_keepable(from) {
        return Err(Refusal::invalid("/from_on", "out_of_range", "expected a day of the years 2000 to 2100"));
    }
    if until < from || !is_keepable(until) || (until - from).num_days() >= MOST_DAYS {
        let expected = format!("expected a day on or after from_on, at most {} days later", MOST_DAYS - 1);
        return Err(Refusal::invalid("/until_on", "out_of_range", expected));
    }
    Ok(Days { from, until })
}

fn earlier(day: NaiveDate) -> NaiveDate {
    day.pred_opt().unwrap_or(day)
}

fn later(day: NaiveDate, days: u64) -> NaiveDate {
    day.checked_add_days(ChronoDays::new(days)).unwrap_or(day)
}
