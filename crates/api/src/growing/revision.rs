//! Revisions of feeding programmes.

use fillmark_domain::growing as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Band, Body, Code, Instant, Stage, Stored};

/// A revision as kept.
pub type ProgrammeRevision = Stored<NewProgrammeRevision>;

/// The steps of a programme from an instant on. Never edited: a later revision takes over.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"programme_id": "019a0000-0000-7000-8000-000000000001", "effective_at": "2026-01-01T00:00:00.000Z",
    "steps": [{"stage": "vegetative", "days": 21, "strength": 0.8, "top_up_strength": 0.8, "change_every_days": 14,
        "doses": [{"product_id": "019a0000-0000-7000-8000-000000000002", "per_litre": 2.0}],
        "bands": [{"metric": "ec", "low": 1.0, "aim": 1.4, "high": 1.7}]}]}))]
pub struct NewProgrammeRevision {
    /// The programme.
    pub programme_id: Uuid,
    /// In force from here until the next revision's instant.
    pub effective_at: Instant,
    /// The steps in order.
    #[schema(min_items = 1, max_items = 60)]
    pub steps: Vec<ProgrammeStep>,
}

/// One step of a programme.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeStep {
    /// The stage it belongs to.
    pub stage: Stage,
    /// How long it lasts; the last of a stage stretches until the next stage.
    #[schema(minimum = 1, maximum = 1000)]
    pub days: u32,
    /// Doses at full strength.
    #[schema(max_items = 30)]
    pub doses: Vec<ProgrammeDose>,
    /// Part of full strength.
    #[schema(minimum = 0.0, maximum = 1.2)]
    pub strength: f64,
    /// Bands of the solution and of the air, one a metric.
    #[serde(default)]
    #[schema(max_items = 12)]
    pub bands: Vec<Band>,
    /// Days between tank changes; null where the tank is not changed by plan.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 365)]
    pub change_every_days: Option<u32>,
    /// Strength of top-ups as a part of full strength.
    #[schema(minimum = 0.0, maximum = 1.2)]
    pub top_up_strength: f64,
}

/// How much of a product goes into a litre at full strength.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ProgrammeDose {
    /// The product.
    pub product_id: Uuid,
    /// mL/L, or g/L for a product that is counted in grams.
    #[schema(minimum = 0.0, maximum = 100.0)]
    pub per_litre: f64,
}

impl Body for NewProgrammeRevision {
    type Word = words::ProgrammeRevision;

    fn word(&self) -> Result<words::ProgrammeRevision, Faults> {
        let mut faults = Faults::default();
        let steps =
            self.steps.iter().enumerate().map(|(at, step)| step.word(&format!("/steps/{at}"), &mut faults));
        let revision = words::ProgrammeRevision {
            programme: Id::new(self.programme_id),
            effective_at: self.effective_at.0,
            steps: steps.collect(),
        };
        faults.or(Some(revision))
    }

    fn of(word: &words::ProgrammeRevision) -> Self {
        Self {
            programme_id: word.programme.uuid(),
            effective_at: word.effective_at.into(),
            steps: word.steps.iter().map(ProgrammeStep::of).collect(),
        }
    }
}

impl ProgrammeStep {
    fn word(&self, pointer: &str, faults: &mut Faults) -> words::Step {
        let dose = |dose: &ProgrammeDose| words::Dose {
            product: Id::new(dose.product_id),
            per_litre: dose.per_litre,
        };
        words::Step {
            stage: self.stage.0,
            days: self.days,
            doses: self.doses.iter().map(dose).collect(),
            strength: self.strength,
            bands: Band::words(&self.bands, &format!("{pointer}/bands"), faults),
            change_every_days: self.change_every_days,
            top_up_strength: self.top_up_strength,
        }
    }

    fn of(step: &words::Step) -> Self {
        let dose =
            |dose: &words::Dose| ProgrammeDose { product_id: dose.product.uuid(), per_litre: dose.per_litre };
        Self {
            stage: Code(step.stage),
            days: step.days,
            doses: step.doses.iter().map(dose).collect(),
            strength: step.strength,
            bands: step.bands.iter().map(Band::from).collect(),
            change_every_days: step.change_every_days,
            top_up_strength: step.top_up_strength,
        }
    }
}
