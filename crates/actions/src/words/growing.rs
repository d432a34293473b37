//! Crops, programmes, cycles, where they stand and what they drink from.

use chrono::NaiveDate;
use fillmark_domain::growing::{
    Crop, Cycle, CycleId, Feed, Placement, Programme, ProgrammeRevision, Step, is_keepable, share_a_day,
};
use fillmark_domain::people::Act;
use fillmark_domain::{Faults, Id, Kept};
use fillmark_store::{BusinessScope, Holder, Record, SiteScope, Stamp, Tx, plan, records};

use super::span;
use crate::{Managed, Refusal};

/// No site grows more of one planting.
const MOST_PLANTS: f64 = 100_000_000.0;

impl Managed for Crop {
    const MANAGED_BY: Act = Act::ManageBusiness;
    const HELD_BY: &'static [Holder] = &[
        Holder { word: "cycle", table: "cycles", column: "crop_id" },
        Holder { word: "programme", table: "programmes", column: "crop_id" },
    ];
}

impl Managed for Programme {
    const MANAGED_BY: Act = Act::ManageBusiness;
    const HELD_BY: &'static [Holder] = &[Holder { word: "cycle", table: "cycles", column: "programme_id" }];
}

impl Managed for ProgrammeRevision {
    const MANAGED_BY: Act = Act::ManageBusiness;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        faults.unless(!self.steps.is_empty(), "/steps", "empty", "expected at least one step");
        for (at, step) in self.steps.iter().enumerate() {
            faults.within(&format!("/steps/{at}"), step_faults(step));
        }
        faults
    }

    /// A cycle whose programme has no revision left would be fed nothing.
    async fn needed_by(
        tx: &Tx,
        scope: BusinessScope,
        id: Id<ProgrammeRevision>,
    ) -> Result<Option<&'static str>, Refusal> {
        let Some(revision) = records::find(tx, scope, id).await? else { return Ok(None) };
        let programme = revision.content.programme.uuid();
        tx.take_turn(&format!("revisions of {programme}")).await?;
        let values = vec![programme.into()];
        let all = records::find_many::<ProgrammeRevision>(tx, scope, "programme_id", values).await?;
        let another = all.iter().any(|kept| kept.id != id && kept.archived_at.is_none());
        let mut held = false;
        for holder in Programme::HELD_BY {
            held |= records::is_held(tx, scope, *holder, programme).await?;
        }
        Ok((held && !another).then_some("a cycle"))
    }
}

fn step_faults(step: &Step) -> Faults {
    let mut faults = Faults::default();
    faults.range("/days", step.days.into(), 1.0, 1000.0);
    faults.range("/strength", step.strength, 0.0, 1.2);
    faults.range("/top_up_strength", step.top_up_strength, 0.0, 1.2);
    if let Some(days) = step.change_every_days {
        faults.range("/change_every_days", days.into(), 1.0, 365.0);
    }
    for (at, dose) in step.doses.iter().enumerate() {
        faults.range(&format!("/doses/{at}/per_litre"), dose.per_litre, 0.0, 100.0);
        let once = step.doses[..at].iter().all(|other| other.product != dose.product);
        faults.unless(once, &format!("/doses/{at}/product_id"), "twice", "expected one dose a product");
    }
    faults
}

impl Managed for Cycle {
    const MANAGED_BY: Act = Act::Manage;
    const HELD_BY: &'static [Holder] = &[
        Holder { word: "feed", table: "feeds", column: "cycle_id" },
        Holder { word: "placement", table: "placements", column: "cycle_id" },
    ];

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        faults.range("/plants", self.plants.into(), 1.0, MOST_PLANTS);
        let dates = [Some(self.starts_on), self.ends_on].into_iter().flatten();
        let keepable = dates.chain(self.stages.iter().map(|stage| stage.from)).all(is_keepable);
        faults.unless(keepable, "/starts_on", "out_of_range", "expected dates of the years 2000 to 2100");
        faults.take("/stages", "out_of_order", self.check());
        faults
    }
}

impl Managed for Placement {
    const MANAGED_BY: Act = Act::Manage;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        span(self.from, self.until, &mut faults);
        faults.range("/plants", self.plants.into(), 1.0, MOST_PLANTS);
        faults
    }

    /// More plants of a cycle in a room are a change of its placement; twice, they would be counted twice.
    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: SiteScope,
        id: Option<Id<Placement>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        let cycle = self.cycle.uuid();
        tx.take_turn(&format!("placements of {cycle}")).await?;
        let others = records::find_many::<Placement>(tx, scope, "cycle_id", vec![cycle.into()]).await?;
        let again = |other: &Kept<Placement>| {
            other.content.room == self.room
                && Some(other.id) != id
                && other.archived_at.is_none()
                && share_a_day((self.from, self.until), (other.content.from, other.content.until))
        };
        let once = !others.iter().any(again);
        faults.unless(once, "/room_id", "placed_twice", "expected a cycle to stand in a room once at a time");
        Ok(faults)
    }

    async fn follow(
        tx: &Tx,
        scope: SiteScope,
        stamp: &Stamp<'_>,
        kept: &Kept<Placement>,
    ) -> Result<(), Refusal> {
        if kept.archived_at.is_none() {
            return Ok(());
        }
        let Placement { cycle, from, until, .. } = kept.content;
        refuse_in_use(tx, scope, stamp, cycle, (from, until), Placement::WORD).await
    }
}

/// Refuses to put away what a running cycle uses today: it is ended by its last day, and so stays in the record. Today
/// is known at an instant only, so this is asked after the archiving: refused, nothing of the transaction is kept.
async fn refuse_in_use(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    cycle: CycleId,
    (from, until): (NaiveDate, Option<NaiveDate>),
    word: &str,
) -> Result<(), Refusal> {
    let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?;
    let today = stamp.at.with_timezone(&site.content.time_zone).date_naive();
    let cycle = records::find(tx, scope, cycle).await?;
    match cycle.filter(|cycle| cycle.uses(from, until, today)) {
        Some(cycle) => Err(Refusal::Conflict(format!(
            "the running cycle {} still depends on this {word}; end it by until_on first",
            cycle.content.name
        ))),
        None => Ok(()),
    }
}

impl Managed for Feed {
    const MANAGED_BY: Act = Act::Manage;

    fn faults(&self) -> Faults {
        let mut faults = Faults::default();
        span(self.from, self.until, &mut faults);
        faults.range("/plants", self.plants.into(), 0.0, MOST_PLANTS);
        faults
    }

    async fn faults_beside(
        &self,
        tx: &Tx,
        scope: SiteScope,
        id: Option<Id<Feed>>,
    ) -> Result<Faults, Refusal> {
        let mut faults = Faults::default();
        tx.take_turn(&format!("feeds of {}", self.tank.uuid())).await?;
        let others = records::find_many::<Feed>(tx, scope, "tank_id", vec![self.tank.uuid().into()]).await?;
        let leads = |other: &Kept<Feed>| {
            other.content.leads
                && Some(other.id) != id
                && other.archived_at.is_none()
                && share_a_day((self.from, self.until), (other.content.from, other.content.until))
        };
        let cycle = records::find(tx, scope, self.cycle).await?.ok_or(Refusal::NotFound)?.content;
        let detail = format!("expected at most the {} plants of its cycle", cycle.plants);
        faults.unless(self.plants <= cycle.plants, "/plants", "out_of_range", detail);
        let led_twice = self.leads && others.iter().any(leads);
        faults.unless(!led_twice, "/leads", "led_twice", "expected one leading feed of a tank at a time");
        Ok(faults)
    }

    async fn follow(tx: &Tx, scope: SiteScope, stamp: &Stamp<'_>, kept: &Kept<Feed>) -> Result<(), Refusal> {
        if kept.archived_at.is_none() {
            return Ok(());
        }
        let Feed { cycle, from, until, .. } = kept.content;
        refuse_in_use(tx, scope, stamp, cycle, (from, until), Feed::WORD).await
    }
}
