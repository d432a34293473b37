//! Qualifications, shifts, absences, check plans.

use fillmark_domain::growing::is_keepable;
use fillmark_domain::people::Act;
use fillmark_domain::work::{Absence, CheckPlan, Held, Qualification, Shift};
use fillmark_domain::{Faults, Kept};
use fillmark_store::{Holder, SiteScope, Stamp, Tx};

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
