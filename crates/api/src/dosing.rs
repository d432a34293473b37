//! Advice about what to add to a tank.

use fillmark_domain::entries as words;
use fillmark_domain::{Amount, Base, Dimension, Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::calculators::measured;
use crate::{Code, Instant, Metric, Quantity};

/// What advice is for, by its code.
pub type AdviceKind = Code<words::AdviceKind>;

/// What advice comes to, by its code.
pub type AdviceOutcome = Code<words::AdviceOutcome>;

/// A tank to be filled afresh.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000002", "volume": null,
    "water_temperature": {"value": 12, "unit": "Cel"}, "product_id": null}))]
pub struct NewFillAdvice {
    /// Which tank.
    pub tank_id: Uuid,
    /// How much to make; to the fill mark, if nothing is said.
    #[serde(default)]
    pub volume: Option<Quantity>,
    /// How warm the water is; 20 °C, if nothing is said.
    #[serde(default)]
    pub water_temperature: Option<Quantity>,
    /// Of a stock tank: which product of the step it holds, where the step has several.
    #[serde(default)]
    pub product_id: Option<Uuid>,
}

impl NewFillAdvice {
    /// The litres and °C that are told.
    /// # Errors
    /// What of them cannot be.
    pub fn told(&self) -> Result<(Option<f64>, Option<f64>), Faults> {
        let mut faults = Faults::default();
        let litres = self
            .volume
            .map(|volume| measured(volume, Dimension::Volume, (0.1, 1_000_000.0), "/volume", &mut faults));
        let water_c = self.water_temperature.map(|warm| {
            measured(warm, Dimension::Temperature, (0.0, 50.0), "/water_temperature", &mut faults)
        });
        faults.or(Some((litres.flatten(), water_c.flatten())))
    }
}

/// A tank to be brought back into its bands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000002", "topping_up": true}))]
pub struct NewCorrectionAdvice {
    /// Which tank.
    pub tank_id: Uuid,
    /// Whether it is filled to the mark at the same time.
    #[serde(default)]
    pub topping_up: bool,
}

/// Advice as it was given. Nothing of it is applied by itself: an addition or tank change that follows it names it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Advice {
    /// Made by the server.
    pub id: Uuid,
    /// For which tank.
    pub tank_id: Uuid,
    /// What for.
    pub kind: AdviceKind,
    /// When it was given.
    pub made_at: Instant,
    /// Who asked.
    pub asked_by: Option<Uuid>,
    /// What it comes to: `leave`, `follow_steps`, `measure_first`, `make_fresh_fill`, `needs_other_water` or `needs_product`.
    pub outcome: AdviceOutcome,
    /// For how much solution, L.
    pub volume_l: f64,
    /// What to do, one after the other, where the outcome is to follow or to measure.
    #[schema(max_items = 100)]
    pub steps: Vec<AdvisedStep>,
    /// EC to expect after the doses; null where a product does not say what it adds.
    pub ec_expected: Option<EcExpected>,
    /// What the store cupboard lacks for it.
    #[schema(max_items = 100)]
    pub lacking: Vec<Lacking>,
    /// Why it is advised.
    #[schema(max_items = 40)]
    pub reasons: Vec<String>,
    /// What to beware of.
    #[schema(max_items = 40)]
    pub cautions: Vec<String>,
}

/// One thing to do. `to_do` says which of the other fields tell more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"to_do": "dose", "litres": null, "product_id": "019a0000-0000-7000-8000-000000000003",
    "amount": {"value": 401.0, "unit": "mL"}, "expected": null, "to_ph": null, "metric": null}))]
pub struct AdvisedStep {
    /// What to do.
    pub to_do: ToDo,
    /// Of `drain` and `water`: how much, L.
    pub litres: Option<f64>,
    /// Of `dose` and `adjust`: of which product.
    pub product_id: Option<Uuid>,
    /// Of `dose`: how much. Of `adjust`: the first part.
    pub amount: Option<Quantity>,
    /// Of `adjust`: how much is expected in all; the rest only after measuring.
    pub expected: Option<Quantity>,
    /// Of `adjust`: the pH it is for.
    pub to_ph: Option<f64>,
    /// Of `measure`: what.
    pub metric: Option<Metric>,
}

/// What to do in a step.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum ToDo {
    /// Let solution go, where local rules allow it.
    Drain,
    /// Fill in water.
    Water,
    /// Pour in a product, and let it mix.
    Dose,
    /// Pour in a product that moves the pH in parts, and measure after each.
    Adjust,
    /// Mix, and measure.
    Measure,
}

/// EC to expect, with the interval that holds it nine times of ten.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"ec_ms_cm": 1.6, "ec_from_ms_cm": 1.46, "ec_to_ms_cm": 1.74}))]
pub struct EcExpected {
    /// The likeliest, mS/cm at 25 °C.
    pub ec_ms_cm: f64,
    /// Lower end.
    pub ec_from_ms_cm: f64,
    /// Upper end.
    pub ec_to_ms_cm: f64,
}

/// A product of which less is there than advice needs.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Lacking {
    /// Which.
    pub product_id: Uuid,
    /// How much is needed.
    pub needed: Quantity,
    /// How much is there and may be used.
    pub held: Quantity,
}

impl From<(Id<words::Advice>, words::Advice)> for Advice {
    fn from((id, given): (Id<words::Advice>, words::Advice)) -> Self {
        Self {
            id: id.uuid(),
            tank_id: given.tank.uuid(),
            kind: Code(given.kind),
            made_at: given.made_at.into(),
            asked_by: given.asked_by.map(Id::uuid),
            outcome: Code(given.outcome),
            volume_l: given.litres,
            steps: given.steps.iter().map(AdvisedStep::from).collect(),
            ec_expected: given.ec_expected.map(EcExpected::from),
            lacking: given.lacking.into_iter().map(Lacking::from).collect(),
            reasons: given.reasons,
            cautions: given.cautions,
        }
    }
}

impl From<&words::AdvisedStep> for AdvisedStep {
    fn from(step: &words::AdvisedStep) -> Self {
        match step {
            words::AdvisedStep::Drain(litres) => Self { litres: Some(*litres), ..Self::to(ToDo::Drain) },
            words::AdvisedStep::Water(litres) => Self { litres: Some(*litres), ..Self::to(ToDo::Water) },
            words::AdvisedStep::Dose(portion) => Self {
                product_id: Some(portion.product.uuid()),
                amount: Some(quantity(portion.amount, portion.base)),
                ..Self::to(ToDo::Dose)
            },
            words::AdvisedStep::Adjust { first, expected, to_ph } => Self {
                product_id: Some(first.product.uuid()),
                amount: Some(quantity(first.amount, first.base)),
                expected: Some(quantity(*expected, first.base)),
                to_ph: Some(*to_ph),
                ..Self::to(ToDo::Adjust)
            },
            words::AdvisedStep::Measure(metric) => {
                Self { metric: Some(Code(*metric)), ..Self::to(ToDo::Measure) }
            }
        }
    }
}

impl AdvisedStep {
    fn to(to_do: ToDo) -> Self {
        Self {
            to_do,
            litres: None,
            product_id: None,
            amount: None,
            expected: None,
            to_ph: None,
            metric: None,
        }
    }
}

impl From<words::Expectation> for EcExpected {
    fn from(ec: words::Expectation) -> Self {
        Self {
            ec_ms_cm: thousandth(ec.value),
            ec_from_ms_cm: thousandth(ec.low),
            ec_to_ms_cm: thousandth(ec.high),
        }
    }
}

impl From<words::Lacking> for Lacking {
    fn from(lacking: words::Lacking) -> Self {
        Self {
            product_id: lacking.needed.product.uuid(),
            needed: quantity(lacking.needed.amount, lacking.needed.base),
            held: quantity(lacking.held, lacking.needed.base),
        }
    }
}

/// Meters show no more.
fn thousandth(value: f64) -> f64 {
    (value * 1000.0).round() / 1000.0
}

fn quantity(amount: Amount, base: Base) -> Quantity {
    amount.quantity(base).into()
}
