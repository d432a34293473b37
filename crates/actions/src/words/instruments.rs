//! Meters, calibrations, and what people decide about tank changes.

use fillmark_domain::entries::{Calibration, ChangePlan, Meter};
use fillmark_domain::growing::is_keepable;
use fillmark_domain::people::Act;
use fillmark_domain::{Faults, Kept};
use fillmark_store::{SiteScope, Stamp, Tx};

use crate::work::changes;
use crate::{Managed, Refusal};

impl Managed for Meter {
    const MANAGED_BY: Act = Act::Manage;
}

impl Managed for Calibration {
    const MANAGED_BY: Act = Act::EnterWork;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        if let Some(slope) = self.slope_percent {
            faults.range("/slope_percent", slope, 0.0, 200.0);
        }
        let kept = "expected a date of the years 2000 to 2100";
        faults.unless(self.next_due_on.is_none_or(is_keepable), "/next_due_on", "out_of_range", kept);
        if let Some(offset) = self.offset {
            faults.range("/offset", offset, -1000.0, 1000.0);
        }
        faults
    }
}

impl Managed for ChangePlan {
    const MANAGED_BY: Act = Act::Manage;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        faults.unless(
            is_keepable(self.on),
            "/on_day",
            "out_of_range",
            "expected a date of the years 2000 to 2100",
        );
        faults
    }

    /// A change that was moved or skipped takes its check along.
    async fn follow(
        tx: &Tx,
        scope: SiteScope,
        stamp: &Stamp<'_>,
        _: &Kept<ChangePlan>,
    ) -> Result<(), Refusal> {
        changes::remake(tx, scope, stamp).await
    }
}
