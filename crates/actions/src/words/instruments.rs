//! Meters, calibrations, and what people decide about tank changes.

use chrono::Days;
use fillmark_domain::entries::{Calibration, ChangePlan, Meter, has_passed_at_a_desk};
use fillmark_domain::people::Act;
use fillmark_domain::{Faults, Id, Kept};
use fillmark_store::{Holder, SiteScope, Stamp, Tx, plan, records};

use super::keepable;
use crate::work::changes;
use crate::{Managed, Refusal};

impl Managed for Meter {
    const MANAGED_BY: Act = Act::Manage;
    const HELD_BY: &'static [Holder] =
        &[Holder { word: "check plan", table: "check_plans", column: "meter_id" }];
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

    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: SiteScope,
        _: Option<Id<Calibration>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?;
        let done_on = self.calibrated_at.with_timezone(&site.content.time_zone).date_naive();
        let in_order = self.next_due_on.is_none_or(|due_on| done_on <= due_on);
        let detail = format!("expected {done_on}, the day of the calibration, or a day after it");
        faults.unless(in_order, "/next_due_on", "out_of_order", detail);
        Ok(faults)
    }

    /// One that was passed is due again by the meter's interval, unless a day is stated.
    async fn completed(mut self, tx: &Tx, scope: SiteScope) -> Result<Self, Refusal> {
        if self.next_due_on.is_none() && self.passed {
            let meter = records::find::<Meter>(tx, scope, self.meter).await?;
            let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?;
            let done_on = self.calibrated_at.with_timezone(&site.content.time_zone).date_naive();
            let days = meter.and_then(|kept| kept.content.calibrate_every_days);
            self.next_due_on = days.and_then(|days| done_on.checked_add_days(Days::new(days.into())));
        }
        Ok(self)
    }

    /// Now is known at an instant only, so this is asked after the keeping: refused, nothing of it is kept.
    async fn follow(
        _: &Tx,
        _: SiteScope,
        stamp: &Stamp<'_>,
        kept: &Kept<Calibration>,
    ) -> Result<(), Refusal> {
        if has_passed_at_a_desk(kept.content.calibrated_at, stamp.at) || kept.archived_at.is_some() {
            return Ok(());
        }
        Err(Refusal::invalid("/calibrated_at", "in_the_future", "expected an instant that has passed"))
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
