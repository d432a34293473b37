//! What is learnt or expected of the products that go into a tank.

use fillmark_advice::solution::learn as answers;
use fillmark_advice::solution::learnt::Learnt;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::millionth;
use crate::Instant;

/// What is known of the products that go into a tank. Every figure comes with the interval that holds it nine times of ten.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TankLearning {
    /// Which tank.
    pub tank_id: Uuid,
    /// When this was so.
    pub made_at: Instant,
    /// What one mL or g in a litre adds to the EC, by product, where anything tells it.
    #[schema(max_items = 5000)]
    pub rises: Vec<LearntRise>,
    /// What the step in force adds; null where no step of a programme leads the tank.
    pub mixture: Option<LearntMixture>,
    /// How the pH answers to each product that moves it.
    #[schema(max_items = 5000)]
    pub ph: Vec<LearntPh>,
    /// What the figures rest on.
    #[schema(max_items = 40)]
    pub reasons: Vec<String>,
    /// What to keep in mind.
    #[schema(max_items = 40)]
    pub cautions: Vec<String>,
}

/// EC that one mL or g of a product in a litre adds.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"product_id": "019a0000-0000-7000-8000-000000000003", "ec_ms_cm": 0.25, "ec_from_ms_cm": 0.24,
    "ec_to_ms_cm": 0.26, "prior_share": 0.12, "addition_ids": ["019a0000-0000-7000-8000-000000000009"]}))]
pub struct LearntRise {
    /// Which product.
    pub product_id: Uuid,
    /// The likeliest, mS/cm at 25 °C.
    #[schema(minimum = 0, maximum = 1e12)]
    pub ec_ms_cm: f64,
    /// Lower end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub ec_from_ms_cm: f64,
    /// Upper end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub ec_to_ms_cm: f64,
    /// How much of it is what label or chemistry say, 0 to 1.
    #[schema(minimum = 0, maximum = 1)]
    pub prior_share: f64,
    /// The additions it was learnt from, the earliest first.
    #[schema(max_items = 100000)]
    pub addition_ids: Vec<Uuid>,
}

/// What the products of the step in force add to a litre together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LearntMixture {
    /// What goes into a litre.
    #[schema(max_items = 100)]
    pub parts: Vec<LearntPart>,
    /// EC that it adds, mS/cm at 25 °C; null where a product does not say what it adds, and so are the fields below.
    #[schema(minimum = 0, maximum = 1e12)]
    pub ec_ms_cm: Option<f64>,
    /// Lower end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub ec_from_ms_cm: Option<f64>,
    /// Upper end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub ec_to_ms_cm: Option<f64>,
    /// How much of it is what labels or chemistry say, 0 to 1.
    #[schema(minimum = 0, maximum = 1)]
    pub prior_share: Option<f64>,
    /// The additions it was learnt from, the earliest first.
    #[schema(max_items = 100000)]
    pub addition_ids: Vec<Uuid>,
}

/// A product in a litre of feed.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LearntPart {
    /// Which.
    pub product_id: Uuid,
    /// mL or g in a litre.
    #[schema(minimum = 0, maximum = 1e12)]
    pub per_litre: f64,
}

/// How the pH answers to a product that moves it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LearntPh {
    /// Which product.
    pub product_id: Uuid,
    /// Whether it lowers the pH; null where neither label nor records tell.
    pub lowers: Option<bool>,
    /// What the figure is; null where neither chemistry nor records tell one, and so are the fields below.
    pub kind: Option<PhFigure>,
    /// The likeliest.
    #[schema(minimum = 0, maximum = 1e12)]
    pub value: Option<f64>,
    /// Lower end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub low: Option<f64>,
    /// Upper end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub high: Option<f64>,
    /// How much of it is what chemistry says, 0 to 1.
    #[schema(minimum = 0, maximum = 1)]
    pub prior_share: Option<f64>,
    /// The additions it was learnt from, the earliest first.
    #[schema(max_items = 100000)]
    pub addition_ids: Vec<Uuid>,
}

/// What a figure of a product that moves the pH is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum PhFigure {
    /// So many times what chemistry predicts of its strength and of the water's alkalinity.
    Factor,
    /// Its strength is not known: mL or g for a litre of the tank and unit of pH.
    MlPerLitreAndPh,
}

impl LearntRise {
    /// Of a product.
    pub fn of(product_id: Uuid, learnt: &Learnt) -> Self {
        Self {
            product_id,
            ec_ms_cm: millionth(learnt.value),
            ec_from_ms_cm: millionth(learnt.low),
            ec_to_ms_cm: millionth(learnt.high),
            prior_share: millionth(learnt.prior_share),
            addition_ids: ids(learnt),
        }
    }
}

impl LearntMixture {
    /// Of products and how much of each, with what they add together, where it is known.
    pub fn of(parts: impl Iterator<Item = (Uuid, f64)>, rise: Option<&Learnt>) -> Self {
        Self {
            parts: parts.map(|(product_id, per_litre)| LearntPart { product_id, per_litre }).collect(),
            ec_ms_cm: rise.map(|rise| millionth(rise.value)),
            ec_from_ms_cm: rise.map(|rise| millionth(rise.low)),
            ec_to_ms_cm: rise.map(|rise| millionth(rise.high)),
            prior_share: rise.map(|rise| millionth(rise.prior_share)),
            addition_ids: rise.map(ids).unwrap_or_default(),
        }
    }
}

impl LearntPh {
    /// Of a product, of which the label may tell where it moves the pH.
    pub fn of(product_id: Uuid, by_label: Option<bool>, response: Option<&answers::PhResponse>) -> Self {
        let figure = response.map(|response| &response.figure);
        let (kind, lowers) = match response.map(|response| response.kind) {
            Some(answers::PhKind::Factor) => (Some(PhFigure::Factor), by_label),
            Some(answers::PhKind::PerUnit { lowers }) => (Some(PhFigure::MlPerLitreAndPh), Some(lowers)),
            None => (None, by_label),
        };
        Self {
            product_id,
            lowers,
            kind,
            value: figure.map(|figure| millionth(figure.value)),
            low: figure.map(|figure| millionth(figure.low)),
            high: figure.map(|figure| millionth(figure.high)),
            prior_share: figure.map(|figure| millionth(figure.prior_share)),
            addition_ids: figure.map(ids).unwrap_or_default(),
        }
    }
}

fn ids(learnt: &Learnt) -> Vec<Uuid> {
    learnt.records.iter().map(|id| id.uuid()).collect()
}
