//! Buffers and standards as meters showed them, and whether the meters may be used.

use fillmark_advice::solution::calculate::meter as words;
use fillmark_domain::{Dimension, Faults};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

use super::{PH, SOLUTION_C, at_most, figure, measured, ranged};
use crate::Quantity;

/// What a pH meter showed in its buffers, an EC meter in its standard, or both.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"temperature": {"value": 25, "unit": "Cel"},
    "buffers": [{"nominal": 4.01, "reading_mv": 174.0, "reading_ph": null},
        {"nominal": 7.0, "reading_mv": 2.0, "reading_ph": null}],
    "cell": {"standard": {"value": 1413, "unit": "uS/cm"}, "standard_mol_per_kg": null,
        "reading": {"value": 1.33, "unit": "mS/cm"}, "compensated": true, "conductance_us": null}}))]
pub struct MeterQuestion {
    /// Of buffers and standard; 25 °C, if nothing is said.
    #[serde(default)]
    pub temperature: Option<Quantity>,
    /// Two or three buffers.
    #[serde(default)]
    #[schema(max_items = 3)]
    pub buffers: Vec<BufferReading>,
    /// The standard.
    #[serde(default)]
    pub cell: Option<CellReading>,
}

/// A buffer and what the meter showed in it: mV, or pH.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"nominal": 4.01, "reading_mv": 174.0, "reading_ph": null}))]
pub struct BufferReading {
    /// pH printed on the bottle, at 25 °C.
    #[schema(minimum = 0, maximum = 14)]
    pub nominal: f64,
    /// Voltage, mV.
    #[serde(default)]
    #[schema(minimum = -1000, maximum = 1000)]
    pub reading_mv: Option<f64>,
    /// pH, by the calibration that the meter has stored.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 14)]
    pub reading_ph: Option<f64>,
}

/// A potassium chloride standard and what the meter showed in it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"standard": {"value": 1413, "unit": "uS/cm"}, "standard_mol_per_kg": null,
    "reading": {"value": 1.33, "unit": "mS/cm"}, "compensated": true, "conductance_us": null}))]
pub struct CellReading {
    /// What the bottle says it conducts at 25 °C; this or the molality.
    #[serde(default)]
    pub standard: Option<Quantity>,
    /// Potassium chloride weighed out, mol in a kg of water.
    #[serde(default)]
    #[schema(minimum = 0.001, maximum = 1)]
    pub standard_mol_per_kg: Option<f64>,
    /// What the meter showed; this or the bare conductance.
    #[serde(default)]
    pub reading: Option<Quantity>,
    /// Whether the meter brings its readings to 25 °C; it does, if nothing is said.
    #[serde(default = "yes")]
    #[schema(default = true)]
    pub compensated: bool,
    /// Bare conductance of the cell, µS: tells the cell constant.
    #[serde(default)]
    #[schema(minimum = 0.001, maximum = 10000000)]
    pub conductance_us: Option<f64>,
}

const fn yes() -> bool {
    true
}

/// Conductivities that standards have and meters show, mS/cm.
const CONDUCTS: (f64, f64) = (1e-3, 200.0);

/// Of standards the tables' own, °C.
const REFERENCE_C: f64 = 25.0;

impl MeterQuestion {
    /// As it is asked inside.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn word(&self) -> Result<words::MeterQuestion, Faults> {
        let mut faults = Faults::default();
        at_most(self.buffers.len(), 3, "/buffers", &mut faults);
        let temperature_c = self.temperature.map_or(Some(REFERENCE_C), |temperature| {
            measured(temperature, Dimension::Temperature, SOLUTION_C, "/temperature", &mut faults)
        });
        let mut buffers = Vec::new();
        for (at, buffer) in self.buffers.iter().enumerate().take(3) {
            buffers.extend(faults.part(&format!("/buffers/{at}"), buffer.word()));
        }
        let cell = self.cell.and_then(|cell| faults.part("/cell", cell.word()));
        faults.or(temperature_c.map(|temperature_c| words::MeterQuestion { temperature_c, buffers, cell }))
    }
}

impl BufferReading {
    fn word(&self) -> Result<words::BufferShown, Faults> {
        let mut faults = Faults::default();
        ranged(Some(self.nominal), PH, "/nominal", &mut faults);
        ranged(self.reading_mv, (-1000.0, 1000.0), "/reading_mv", &mut faults);
        ranged(self.reading_ph, PH, "/reading_ph", &mut faults);
        let shown = match (self.reading_mv, self.reading_ph) {
            (Some(mv), None) => Some(words::Shown::Mv(mv)),
            (None, Some(ph)) => Some(words::Shown::Ph(ph)),
            _ => {
                faults.add("/reading_mv", "needed", "expected one of reading_mv and reading_ph");
                None
            }
        };
        faults.or(shown.map(|shown| words::BufferShown { nominal: self.nominal, shown }))
    }
}

impl CellReading {
    fn word(&self) -> Result<(words::Standard, words::CellShown), Faults> {
        let mut faults = Faults::default();
        ranged(self.standard_mol_per_kg, (1e-3, 1.0), "/standard_mol_per_kg", &mut faults);
        ranged(self.conductance_us, (1e-3, 1e7), "/conductance_us", &mut faults);
        let standard = match (self.standard, self.standard_mol_per_kg) {
            (Some(ec), None) => measured(ec, Dimension::Conductivity, CONDUCTS, "/standard", &mut faults)
                .map(words::Standard::Conducts),
            (None, Some(mol_kg)) => Some(words::Standard::Molality(mol_kg)),
            _ => {
                faults.add("/standard", "needed", "expected one of standard and standard_mol_per_kg");
                None
            }
        };
        let shown =
            match (self.reading, self.conductance_us) {
                (Some(ec), None) => measured(ec, Dimension::Conductivity, CONDUCTS, "/reading", &mut faults)
                    .map(|ec| match self.compensated {
                        true => words::CellShown::At25(ec),
                        false => words::CellShown::Uncompensated(ec),
                    }),
                (None, Some(us)) => Some(words::CellShown::Conductance(us)),
                _ => {
                    faults.add("/reading", "needed", "expected one of reading and conductance_us");
                    None
                }
            };
        faults.or(standard.zip(shown))
    }
}

/// Whether the meters may be used.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({
    "electrode": {"offset_mv": 2.0, "passed": true, "slope_mv": 57.53, "slope_percent": 97.24},
    "cell": {"constant_per_cm": null, "deviation_percent": -5.874, "factor": 1.062, "passed": false, "standard_ms_cm": 1.413},
    "reasons": ["The buffer of 4.01 is pH 4.01 at this temperature.",
        "The buffer of 7.00 is pH 7.00 at this temperature.",
        "A perfect electrode gives 59.16 mV a pH at this temperature (Nernst).",
        "Good are slopes of 95 to 105 % and offsets up to 30 mV either way.",
        "The standard conducts 1.413 mS/cm at 25 °C.",
        "Good is within 5 % of the standard."],
    "cautions": ["The meter is off: clean the cell and calibrate it before it is used again.",
        "Use fresh buffers and standards, rinse between them, and wait until the reading stands."]}))]
pub struct MeterAnswer {
    /// The pH electrode; null where no buffers were told.
    pub electrode: Option<ElectrodeCheck>,
    /// The conductivity cell; null where no standard was told.
    pub cell: Option<CellCheck>,
    /// Why the figures are so.
    #[schema(max_items = 20)]
    pub reasons: Vec<String>,
    /// What to beware of.
    #[schema(max_items = 20)]
    pub cautions: Vec<String>,
}

/// What buffers tell of an electrode.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ElectrodeCheck {
    /// Slope over that of a perfect electrode, %.
    pub slope_percent: f64,
    /// mV that it loses a pH.
    pub slope_mv: f64,
    /// mV at pH 7.
    pub offset_mv: f64,
    /// Whether it may be used.
    pub passed: bool,
}

/// What a standard tells of a conductivity meter.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CellCheck {
    /// What the standard conducts as the meter should have shown it, mS/cm.
    pub standard_ms_cm: f64,
    /// How far the meter is off, %; null of a bare conductance.
    pub deviation_percent: Option<f64>,
    /// What its readings are to be multiplied by; null of a bare conductance.
    pub factor: Option<f64>,
    /// Cell constant, 1/cm; of a bare conductance only.
    pub constant_per_cm: Option<f64>,
    /// Whether it may be used; null of a bare conductance, which has nothing to be held to.
    pub passed: Option<bool>,
}

impl From<&words::Meters> for MeterAnswer {
    fn from(meters: &words::Meters) -> Self {
        Self {
            electrode: meters.electrode.map(|(electrode, passed)| ElectrodeCheck {
                slope_percent: figure(electrode.slope_percent),
                slope_mv: figure(electrode.slope_mv),
                offset_mv: figure(electrode.offset_mv),
                passed,
            }),
            cell: meters.cell.map(|cell| CellCheck {
                standard_ms_cm: figure(cell.standard_ms_cm),
                deviation_percent: cell.deviation_percent.map(figure),
                factor: cell.factor.map(figure),
                constant_per_cm: cell.constant_per_cm.map(figure),
                passed: cell.passed,
            }),
            reasons: meters.reasons.iter().map(reason).collect(),
            cautions: meters.cautions.iter().map(caution).collect(),
        }
    }
}

fn reason(reason: &words::Reason) -> String {
    match reason {
        words::Reason::PerfectSlope { slope_mv } => {
            format!("A perfect electrode gives {slope_mv:.2} mV a pH at this temperature (Nernst).")
        }
        words::Reason::BufferAt { nominal, ph } => {
            format!("The buffer of {nominal:.2} is pH {ph:.2} at this temperature.")
        }
        words::Reason::BufferBetween { nominal, off_ph } => {
            format!("By the outer two, the buffer of {nominal:.2} reads off by {off_ph:+.2}.")
        }
        words::Reason::ElectrodeLimits { slope_percent: (low, high), offset_mv } => {
            format!("Good are slopes of {low} to {high} % and offsets up to {offset_mv} mV either way.")
        }
        words::Reason::StandardAt { ms_cm, temperature_c } => {
            format!("The standard conducts {ms_cm:.3} mS/cm at {temperature_c} °C.")
        }
        words::Reason::CellLimit { within_percent } => {
            format!("Good is within {within_percent} % of the standard.")
        }
    }
}

fn caution(caution: &words::Caution) -> String {
    match caution {
        words::Caution::SlopeOff => {
            "The slope is off: clean the electrode and calibrate anew, or replace it.".into()
        }
        words::Caution::OffsetOff => {
            "The offset is off: the reference is fouled or drained; clean, refill or replace it.".into()
        }
        words::Caution::OfStoredCalibration => {
            "From readings in pH the slope is that of what the meter has stored, not the electrode's own."
                .into()
        }
        words::Caution::NotStraight => {
            "The buffer between is off by more than 0.1: one of the three is spoilt, or the electrode is."
                .into()
        }
        words::Caution::MeterOff => {
            "The meter is off: clean the cell and calibrate it before it is used again.".into()
        }
        words::Caution::FreshStandard => {
            "Use fresh buffers and standards, rinse between them, and wait until the reading stands.".into()
        }
    }
}
