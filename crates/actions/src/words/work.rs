//! Qualifications, shifts, absences, check plans.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use chrono_tz::Tz;
use fillmark_domain::growing::is_keepable;
use fillmark_domain::local::local_day;
use fillmark_domain::people::Act;
use fillmark_domain::places::Closure;
use fillmark_domain::work::{Absence, CheckPlan, Held, Qualification, Shift, Span, overlaps};
use fillmark_domain::{Faults, Id, Kept};
use fillmark_store::{Holder, SiteScope, Stamp, Tx, accounts, plan, records, staff};

use crate::work::planning;
use crate::{Managed, Refusal};

/// A shift that is at once with another belongs to a day at most so many from its own: either may last past midnight, and clocks
/// are at most 26 hours apart.
const REACH_D: i64 = 3;

impl Managed for Qualification {
    const MANAGED_BY: Act = Act::ManageBusiness;
    const HELD_BY: &'static [Holder] =
        &[Holder { word: "check plan", table: "check_plans", column: "qualification_id" }];
}

impl Managed for Held {
    const MANAGED_BY: Act = Act::ManagePeople;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        super::span(self.from, self.until, &mut faults);
        faults
    }
}

impl Managed for Shift {
    const MANAGED_BY: Act = Act::Manage;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        let kept = "expected a date of the years 2000 to 2100";
        faults.unless(is_keepable(self.day), "/day_on", "out_of_range", kept);
        faults
    }

    /// Nobody works twice at once, at whatever sites.
    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: SiteScope,
        id: Option<Id<Shift>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        tx.take_turn(&format!("shifts of {}", self.person.uuid())).await?;
        let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?;
        let day = local_day(site.content.time_zone, self.day);
        let roles = accounts::memberships_of(tx, &[self.person]).await?;
        let works = roles.iter().any(|role| role.content.works(scope.id(), &day));
        let role = "expected somebody with a role at this site, on that day, to do work";
        faults.unless(works, "/person_id", "no_role", role);
        let zone = site.content.time_zone;
        if let Some(expected) = at_once(tx, scope, id, (self, zone)).await? {
            faults.add("/starts_local", "overlaps", expected);
        }
        let closures = records::all::<Closure>(tx, scope).await?;
        let closed = closures.iter().map(|kept| kept.content.days).find(|days| days.hold(self.day));
        if let Some(days) = closed {
            let expected = format!(
                "expected a day on which somebody works: the site is closed from {} to {}",
                days.from, days.until
            );
            faults.add("/day_on", "closed", expected);
        }
        let holds = self.holds_its_break(zone);
        faults.unless(holds, "/break_starts_local", "outside", "expected a break within the shift");
        Ok(faults)
    }
}

/// What is expected of a shift that its person cannot work beside another of theirs. Which other site it is is not told: the
/// caller may not know of it.
async fn at_once(
    tx: &Tx,
    scope: SiteScope,
    id: Option<Id<Shift>>,
    (shift, zone): (&Shift, Tz),
) -> Result<Option<String>, Refusal> {
    let days: Vec<NaiveDate> = (-REACH_D..=REACH_D).map(|days| shift.day + TimeDelta::days(days)).collect();
    let mut others = staff::shifts_of(tx, scope.in_business(), shift.person, &days).await?;
    others.retain(|other| Some(other.id) != id);
    let taken = |is_here: bool| {
        let there = others.iter().filter(|other| (other.site.id == scope.id()) == is_here);
        overlaps((shift, zone), there.map(|other| (&other.shift, other.site.content.time_zone)))
    };
    let told = |(span, place): (Span, &str)| {
        let clock = |at: DateTime<Utc>| at.with_timezone(&zone).format("%Y-%m-%d %H:%M");
        let (from, until) = (clock(span.from), clock(span.until));
        format!(
            "expected a time in which the person has no other shift: they work {place} from {from} until {until}"
        )
    };
    let here = taken(true).map(|span| (span, "here"));
    Ok(here.or_else(|| taken(false).map(|span| (span, "at another site"))).map(told))
}

impl Managed for Absence {
    const MANAGED_BY: Act = Act::Manage;
}

impl Managed for CheckPlan {
    const MANAGED_BY: Act = Act::Manage;

    async fn follow(
        tx: &Tx,
        scope: SiteScope,
        stamp: &Stamp<'_>,
        kept: &Kept<CheckPlan>,
    ) -> Result<(), Refusal> {
        planning::remake(tx, scope, stamp, kept).await
    }
}
