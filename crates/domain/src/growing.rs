//! What is grown, and how it is fed.

use chrono::{DateTime, Datelike, Days as ChronoDays, NaiveDate, Utc};

use crate::people::PersonId;
use crate::places::{RoomId, TankId};
use crate::stock::ProductId;
use crate::{Band, Id, Kept, Stage};

/// The id of a crop.
pub type CropId = Id<Crop>;
/// The id of a feeding programme.
pub type ProgrammeId = Id<Programme>;
/// The id of a cycle.
pub type CycleId = Id<Cycle>;

/// A species or cultivar.
#[derive(Debug, Clone, PartialEq)]
pub struct Crop {
    /// Unique in the business.
    pub name: String,
    /// Botanical or common name of the species.
    pub species: Option<String>,
}

/// How a crop is fed, by ordered steps; the steps stand in its revisions.
#[derive(Debug, Clone, PartialEq)]
pub struct Programme {
    /// Unique in the business.
    pub name: String,
    /// The crop it is for.
    pub crop: CropId,
}

/// The steps of a programme from an instant on. Never edited: a later revision takes over.
#[derive(Debug, Clone, PartialEq)]
pub struct ProgrammeRevision {
    /// The programme.
    pub programme: ProgrammeId,
    /// In force from here until the next revision's instant.
    pub effective_at: DateTime<Utc>,
    /// In order.
    pub steps: Vec<Step>,
}

/// One step of a programme.
#[derive(Debug, Clone, PartialEq)]
pub struct Step {
    /// The stage it belongs to.
    pub stage: Stage,
    /// How long it lasts; the last of a stage stretches until the next stage.
    pub days: u32,
    /// Doses at full strength.
    pub doses: Vec<Dose>,
    /// Part of full strength, 0 to 1.2.
    pub strength: f64,
    /// Bands of the solution and the air.
    pub bands: Vec<Band>,
    /// Days between tank changes; none where the tank is not changed by plan.
    pub change_every_days: Option<u32>,
    /// Strength of top-ups as a part of full strength.
    pub top_up_strength: f64,
}

impl Step {
    /// Strength of a top-up over that of a change. A step that gives nothing at a change has no strength to take a part of.
    pub fn top_up_share(&self) -> f64 {
        if self.strength > 0.0 { self.top_up_strength / self.strength } else { 1.0 }
    }
}

/// How much of a product goes into a litre at full strength.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// The product.
    pub product: ProductId,
    /// mL/L or g/L.
    pub per_litre: f64,
}

/// From when a cycle is in a stage: the plan until the day comes, then what happened.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StageDate {
    /// The stage.
    pub stage: Stage,
    /// Its first day.
    pub from: NaiveDate,
}

/// One planting of a crop.
#[derive(Debug, Clone, PartialEq)]
pub struct Cycle {
    /// Unique among the site's cycles that are not archived.
    pub name: String,
    /// The crop.
    pub crop: CropId,
    /// How it is fed.
    pub programme: ProgrammeId,
    /// Plants set.
    pub plants: u32,
    /// First day.
    pub starts_on: NaiveDate,
    /// Last day, planned or real; open when unknown.
    pub ends_on: Option<NaiveDate>,
    /// The stages in order, the first from the first day.
    pub stages: Vec<StageDate>,
}

/// Where a cycle stands: transplanting ends one placement and starts another.
#[derive(Debug, Clone, PartialEq)]
pub struct Placement {
    /// The cycle.
    pub cycle: CycleId,
    /// The room.
    pub room: RoomId,
    /// First day.
    pub from: NaiveDate,
    /// Last day, open when unknown.
    pub until: Option<NaiveDate>,
    /// Plants of the cycle standing there.
    pub plants: u32,
}

/// Joins a tank and a cycle.
#[derive(Debug, Clone, PartialEq)]
pub struct Feed {
    /// The tank.
    pub tank: TankId,
    /// The cycle that drinks from it.
    pub cycle: CycleId,
    /// First day.
    pub from: NaiveDate,
    /// Last day, open when unknown.
    pub until: Option<NaiveDate>,
    /// Whether this cycle leads the tank's programme.
    pub leads: bool,
    /// Plants of the cycle that drink from this tank.
    pub plants: u32,
}

/// One picking of a cycle.
#[derive(Debug, Clone, PartialEq)]
pub struct Harvest {
    /// Made by the client that entered it.
    pub client_id: uuid::Uuid,
    /// The cycle.
    pub cycle: CycleId,
    /// The room it was picked in.
    pub room: Option<RoomId>,
    /// When.
    pub harvested_at: DateTime<Utc>,
    /// When the server got it.
    pub received_at: DateTime<Utc>,
    /// Saleable mass, kg.
    pub saleable_kg: f64,
    /// Rejected mass, kg.
    pub rejected_kg: f64,
    /// Pieces or bunches, where counted.
    pub pieces: Option<u32>,
    /// The grade in the grower's own words.
    pub grade: Option<String>,
    /// Soluble solids, °Bx, if measured.
    pub brix: Option<f64>,
    /// Who picked.
    pub done_by: Option<PersonId>,
    /// Who typed it.
    pub entered_by: Option<PersonId>,
    /// The harvest it takes back, and why: then every mass is an opposite.
    pub reverses: Option<(Id<Harvest>, String)>,
    /// The harvest that took it back.
    pub reversed: Option<Id<Harvest>>,
}

/// Whether a span of days with an open end holds a day.
pub fn spans(from: NaiveDate, until: Option<NaiveDate>, on: NaiveDate) -> bool {
    from <= on && until.is_none_or(|until| on <= until)
}

/// Whether two spans of days with open ends have a day in common.
pub fn share_a_day(one: (NaiveDate, Option<NaiveDate>), other: (NaiveDate, Option<NaiveDate>)) -> bool {
    spans(one.0, one.1, other.0) || spans(other.0, other.1, one.0)
}

impl Kept<Cycle> {
    /// Whether what names the cycle for a span of days is in use on a day: the cycle is running, and so is the span.
    pub fn uses(&self, from: NaiveDate, until: Option<NaiveDate>, on: NaiveDate) -> bool {
        let cycle = &self.content;
        self.archived_at.is_none() && spans(from, until, on) && spans(cycle.starts_on, cycle.ends_on, on)
    }
}

impl Cycle {
    /// The stage a cycle is in on a day and that stage's first day; none before its start and after its end.
    pub fn stage_on(&self, on: NaiveDate) -> Option<StageDate> {
        if !spans(self.starts_on, self.ends_on, on) {
            return None;
        }
        self.stages.iter().copied().filter(|stage| stage.from <= on).max_by_key(|stage| stage.from)
    }
}

/// The step in force for a cycle on a day: days count from the stage's real start, the stage's last step
/// stretches, an early switch drops what is left of the stage before.
pub fn step_on<'a>(steps: &'a [Step], cycle: &Cycle, on: NaiveDate) -> Option<&'a Step> {
    let stage = cycle.stage_on(on)?;
    let mut begins = stage.from;
    let mut found = None;
    for step in steps.iter().filter(|step| step.stage == stage.stage) {
        if begins > on {
            break;
        }
        found = Some(step);
        begins = begins.checked_add_days(ChronoDays::new(u64::from(step.days)))?;
    }
    found
}

/// Whether one programme gives a product from an instant on: by its revision in force then, or by one to come.
pub fn gives_from(revisions: &[&ProgrammeRevision], product: ProductId, at: DateTime<Utc>) -> bool {
    let begun = revisions.iter().map(|revision| revision.effective_at).filter(|begins| *begins <= at);
    let in_force = begun.max();
    let doses = |step: &Step| step.doses.iter().any(|dose| dose.product == product);
    let still =
        revisions.iter().filter(|revision| in_force.is_none_or(|since| since <= revision.effective_at));
    still.flat_map(|revision| &revision.steps).any(doses)
}

impl Step {
    /// The band of a metric, if the step has one.
    pub fn band(&self, metric: crate::Metric) -> Option<&Band> {
        self.bands.iter().find(|band| band.metric == metric)
    }

    /// What the step gives of each product, mL/L or g/L.
    pub fn doses_given(&self) -> impl Iterator<Item = Dose> + '_ {
        self.doses
            .iter()
            .map(|dose| Dose { product: dose.product, per_litre: dose.per_litre * self.strength })
    }
}

/// What a cycle or a programme can be refused for.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotACycle {
    /// No stage begins on the first day.
    #[error("expected the first stage to begin on {starts_on}")]
    NoFirstStage {
        /// The cycle's first day.
        starts_on: NaiveDate,
    },
    /// Stages out of order.
    #[error("expected each stage to begin after the one before it, found {from}")]
    StagesOutOfOrder {
        /// The date that is out of order.
        from: NaiveDate,
    },
    /// The end lies before the start.
    #[error("expected the end on or after {starts_on}")]
    EndsBeforeStart {
        /// The cycle's first day.
        starts_on: NaiveDate,
    },
}

impl Cycle {
    /// Whether dates and stages are in order.
    /// # Errors
    /// [`NotACycle`] names the first thing that is not.
    pub fn check(&self) -> Result<(), NotACycle> {
        if self.stages.first().is_none_or(|first| first.from != self.starts_on) {
            return Err(NotACycle::NoFirstStage { starts_on: self.starts_on });
        }
        if let Some(pair) = self.stages.windows(2).find(|pair| pair[1].from <= pair[0].from) {
            return Err(NotACycle::StagesOutOfOrder { from: pair[1].from });
        }
        if self.ends_on.is_some_and(|end| end < self.starts_on) {
            return Err(NotACycle::EndsBeforeStart { starts_on: self.starts_on });
        }
        Ok(())
    }
}

/// Whether a date is one that Fillmark keeps: years 2000 to 2100.
pub fn is_keepable(date: NaiveDate) -> bool {
    (2000..=2100).contains(&date.year())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check_share(strength: f64, top_up_strength: f64, share: f64) {
        let step = Step { top_up_strength, ..step(Stage::Vegetative, 7, strength) };
        assert_eq!(step.top_up_share(), share);
    }

    #[test]
    fn top_ups_are_a_part_of_what_a_change_gives() {
        check_share(0.8, 0.4, 0.5);
        check_share(0.5, 1.0, 2.0);
        check_share(1.0, 0.0, 0.0);
        check_share(0.0, 1.0, 1.0);
    }

    fn day(text: &str) -> NaiveDate {
        text.parse().unwrap()
    }

    fn step(stage: Stage, days: u32, strength: f64) -> Step {
        Step {
            stage,
            days,
            doses: vec![],
            strength,
            bands: vec![],
            change_every_days: Some(14),
            top_up_strength: strength,
        }
    }

    fn basil() -> Cycle {
        Cycle {
            name: "basil 12".into(),
            crop: CropId::new(uuid::Uuid::nil()),
            programme: ProgrammeId::new(uuid::Uuid::nil()),
            plants: 200,
            starts_on: day("2026-03-01"),
            ends_on: Some(day("2026-04-30")),
            stages: vec![
                StageDate { stage: Stage::Propagation, from: day("2026-03-01") },
                StageDate { stage: Stage::Vegetative, from: day("2026-03-11") },
            ],
        }
    }

    #[track_caller]
    fn check(on: &str, strength: Option<f64>) {
        let steps = [
            step(Stage::Propagation, 14, 0.25),
            step(Stage::Vegetative, 7, 0.5),
            step(Stage::Vegetative, 7, 0.8),
        ];
        assert_eq!(step_on(&steps, &basil(), day(on)).map(|step| step.strength), strength, "{on}");
    }

    #[test]
    fn days_count_from_the_real_start_of_the_stage_and_the_last_step_stretches() {
        check("2026-02-28", None);
        check("2026-03-01", Some(0.25));
        check("2026-03-10", Some(0.25)); // four days of propagation are dropped: the switch was early
        check("2026-03-11", Some(0.5));
        check("2026-03-17", Some(0.5));
        check("2026-03-18", Some(0.8));
        check("2026-04-30", Some(0.8)); // stretched far beyond its seven days
        check("2026-05-01", None);
    }

    /// Revisions by the day from which they are in force, and whether they give the product.
    #[track_caller]
    fn check_gives(revisions: &[(&str, bool)], at: &str, gives: bool) {
        let product = ProductId::new(uuid::Uuid::nil());
        let revision = |(from, gives): &(&str, bool)| {
            let dose = gives.then_some(Dose { product, per_litre: 2.0 });
            let doses = dose.into_iter().collect();
            ProgrammeRevision {
                programme: ProgrammeId::new(uuid::Uuid::nil()),
                effective_at: day(from).and_hms_opt(0, 0, 0).unwrap().and_utc(),
                steps: vec![Step { doses, ..step(Stage::Vegetative, 7, 1.0) }],
            }
        };
        let revisions: Vec<ProgrammeRevision> = revisions.iter().map(revision).collect();
        let noon = day(at).and_hms_opt(12, 0, 0).unwrap().and_utc();
        assert_eq!(gives_from(&revisions.iter().collect::<Vec<_>>(), product, noon), gives, "{at}");
    }

    #[test]
    fn what_a_programme_gave_once_it_gives_until_a_revision_without_it_is_in_force() {
        let dropped = [("2026-02-01", true), ("2026-03-01", false)];
        check_gives(&dropped, "2026-01-15", true);
        check_gives(&dropped, "2026-02-28", true);
        check_gives(&dropped, "2026-03-01", false);
        check_gives(&[("2026-02-01", false), ("2026-03-01", true)], "2026-02-15", true);
        check_gives(&[], "2026-02-15", false);
    }

    #[test]
    fn a_cycle_whose_stages_are_out_of_order_is_refused() {
        let mut cycle = basil();
        cycle.stages[1].from = day("2026-03-01");
        assert!(matches!(cycle.check(), Err(NotACycle::StagesOutOfOrder { .. })));
        cycle.stages.clear();
        assert!(matches!(cycle.check(), Err(NotACycle::NoFirstStage { .. })));
    }
}
