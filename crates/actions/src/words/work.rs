//! Qualifications, shifts, absences, check plans.

use fillmark_domain::growing::is_keepable;
use fillmark_domain::local::local_day;
use fillmark_domain::people::Act;
use fillmark_domain::work::{Absence, CheckPlan, Held, Qualification, Shift, overlaps};
use fillmark_domain::{Faults, Id, Kept};
use fillmark_store::{Holder, SiteScope, Stamp, Tx, accounts, plan, records};

use crate::work::planning;
use crate::{Managed, Refusal};

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

    /// Shifts at other sites are not seen from here.
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
        // One of the day before may last past midnight, and this one may too.
        let days = [self.day.pred_opt(), Some(self.day), self.day.succ_opt()];
        let days = days.into_iter().flatten().map(Into::into).collect();
        let others = records::find_many::<Shift>(tx, scope, "day_on", days).await?;
        let others = others.into_iter().filter(|kept| kept.archived_at.is_none() && Some(kept.id) != id);
        let others: Vec<Shift> = others.map(|kept| kept.content).collect();
        let apart = !overlaps(self, &others, site.content.time_zone);
        faults.unless(
            apart,
            "/starts_local",
            "overlaps",
            "expected a time in which the person has no other shift",
        );
        let holds = self.holds_its_break(site.content.time_zone);
        faults.unless(holds, "/break_starts_local", "outside", "expected a break within the shift");
        Ok(faults)
    }
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
