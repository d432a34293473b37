//! A quantity in another unit.

use fillmark_advice::solution::calculate::unit as words;
use fillmark_domain::Faults;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::digits;
use crate::{Quantity, Unit};

/// A quantity and the unit it is wanted in.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"quantity": {"value": 900, "unit": "ppm500"}, "to": "mS/cm"}))]
pub struct UnitQuestion {
    /// What is known.
    pub quantity: Quantity,
    /// A unit of the same dimension.
    pub to: Unit,
}

impl UnitQuestion {
    /// As it is asked inside.
    /// # Errors
    /// When the number is beyond all use.
    pub fn word(&self) -> Result<(fillmark_domain::Quantity, fillmark_domain::Unit), Faults> {
        let mut faults = Faults::default();
        faults.range("/quantity/value", self.quantity.value, -1e12, 1e12);
        faults.or(Some((self.quantity.word(), self.to.0)))
    }
}

/// The same in the other unit.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "quantity": {"unit": "mS/cm", "value": 1.8},
    "reasons": ["Both units measure the same, by their definitions.",
        "A ppm scale is a conductivity times 500, 640 or 700 by convention; it weighs nothing."],
    "cautions": ["Write the scale beside every ppm: the same number is 40 % more on one than on another.",
        "Conductivities compare at 25 °C only; see what your meter is set to."]}))]
pub struct UnitAnswer {
    /// In the unit asked for.
    pub quantity: Quantity,
    /// Why the figure is so.
    #[schema(max_items = 20)]
    pub reasons: Vec<String>,
    /// What to beware of.
    #[schema(max_items = 20)]
    pub cautions: Vec<String>,
}

/// Units are defined to more digits than anybody measures; the last ones of a double are chance.
const DIGITS: usize = 10;

impl From<&words::Converted> for UnitAnswer {
    fn from(converted: &words::Converted) -> Self {
        Self {
            quantity: Quantity::new(digits(converted.to.value, DIGITS), converted.to.unit),
            reasons: converted.reasons.iter().map(reason).collect(),
            cautions: converted.cautions.iter().map(caution).collect(),
        }
    }
}

fn reason(reason: &words::Reason) -> String {
    match reason {
        words::Reason::SameDimension => "Both units measure the same, by their definitions.".into(),
        words::Reason::PpmIsAScale => {
            "A ppm scale is a conductivity times 500, 640 or 700 by convention; it weighs nothing.".into()
        }
        words::Reason::ByCharge => {
            "Alkalinity and hardness are compared by charge: 1 meq/L is 50.04 mg/L as CaCO3.".into()
        }
    }
}

fn caution(caution: &words::Caution) -> String {
    match caution {
        words::Caution::NameTheScale => {
            "Write the scale beside every ppm: the same number is 40 % more on one than on another.".into()
        }
        words::Caution::At25Degrees => {
            "Conductivities compare at 25 °C only; see what your meter is set to.".into()
        }
    }
}
