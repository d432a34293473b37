//! Meters, calibrations, and what people decide about tank changes.

use fillmark_domain::entries::{Calibration, ChangePlan, Meter};
use fillmark_domain::people::Act;
use fillmark_domain::{Faults, Kept};
use fillmark_store::{SiteScope, Stamp, Tx};

use super::keepable;
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
        if let Some(offset) = self.offset {
            faults.range("/offset", offset, -1000.0, 1000.0);
        }
        keepable(self.next_due_on, "/next_due_on", &mut faults);
        faults
    }
}

impl Managed for ChangePlan {
    const MANAGED_BY: Act = Act::Manage;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        keepable(Some(self.on), "/on_day", &mut faults);
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
