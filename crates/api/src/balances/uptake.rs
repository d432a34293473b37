//! What plants take from a tank, and what left it besides.

use fillmark_advice::solution::balance::Reckoned;
use fillmark_advice::solution::turnover::EarlyChange;
use fillmark_advice::solution::uptake as answers;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::millionth;
use crate::{Instant, Stage};

/// What plants take from a tank, and what left it besides.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TankUptake {
    /// Which tank.
    pub tank_id: Uuid,
    /// Since when: as many plants drank, in the same stage.
    pub from_at: Instant,
    /// Until when.
    pub until_at: Instant,
    /// The stage that leads the tank; null where no cycle drinks from it.
    pub stage: Option<Stage>,
    /// Plants that drink from it.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub plant_count: u64,
    /// Tanks of the same room and stage, to whose figures its own are drawn.
    #[schema(max_items = 1000)]
    pub peer_tank_ids: Vec<Uuid>,
    /// Water, L a day of all plants; null without plants.
    pub water_l: Option<PerDay>,
    /// Nutrient, mS/cm times L a day of all plants; null without plants, or where the EC of their feed is not known.
    pub nutrient_ms_cm_l: Option<PerDay>,
    /// EC at which plants take up; null where it cannot be told.
    pub uptake_ec: Option<UptakeEc>,
    /// EC that they are fed, mS/cm at 25 °C; null where it is not known.
    #[schema(minimum = 0, maximum = 1e12)]
    pub feed_ec_ms_cm: Option<f64>,
    /// How often the fill was drunk and filled up again; null of a tank whose solution is not changed.
    pub turnover: Option<TankTurnover>,
    /// Why it should be changed before its day.
    #[schema(max_items = 10)]
    pub early_change: Vec<EarlyTankChange>,
    /// Water that no plant took.
    #[schema(max_items = 100000)]
    pub losses: Vec<TankLoss>,
    /// What the figures rest on.
    #[schema(max_items = 40)]
    pub reasons: Vec<String>,
    /// What to keep in mind.
    #[schema(max_items = 40)]
    pub cautions: Vec<String>,
}

/// So much a day, with the interval that holds the mean nine times of ten.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"mean": 10.4, "low": 9.8, "high": 11.0, "from_day_to_day": 2.1, "prior_share": 0.02, "span_count": 30}))]
pub struct PerDay {
    /// The likeliest mean.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub mean: f64,
    /// Lower end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub low: f64,
    /// Upper end.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub high: f64,
    /// How far one day lies from the mean: standard deviation.
    #[schema(minimum = 0, maximum = 1e12)]
    pub from_day_to_day: f64,
    /// How much of it is what was expected before any record of this tank, 0 to 1.
    #[schema(minimum = 0, maximum = 1)]
    pub prior_share: f64,
    /// Spans between readings of this tank it was learnt from.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub span_count: u64,
}

/// EC at which plants take up, with the interval that holds it nine times of ten.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct UptakeEc {
    /// The likeliest, mS/cm at 25 °C.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub ec_ms_cm: f64,
    /// Lower end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub ec_from_ms_cm: f64,
    /// Upper end.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub ec_to_ms_cm: f64,
}

/// How often a fill was drunk and filled up again.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"value": 0.6, "limit": 1.0}))]
pub struct TankTurnover {
    /// Litres topped up since the last full change, less what leaked or evaporated, by the working volume.
    #[schema(minimum = 0, maximum = 1e12)]
    pub value: f64,
    /// At which proportions of nutrients have drifted.
    #[schema(minimum = 0, maximum = 1e12)]
    pub limit: f64,
}

/// Why a tank should be changed before its day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct EarlyTankChange {
    /// Why.
    pub why: EarlyWhy,
    /// In a sentence.
    #[schema(max_length = 2000)]
    pub told: String,
    /// The additions that tell it.
    #[schema(max_items = 100000)]
    pub addition_ids: Vec<Uuid>,
}

/// What makes a change due before its day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum EarlyWhy {
    /// It was drunk and filled up too often.
    Turnover,
    /// Acid and base were poured by turns.
    ThrownBothWays,
}

/// Water that left a tank beyond what its plants usually take.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TankLoss {
    /// How it went.
    pub cause: LossHow,
    /// The reading before.
    pub from_at: Instant,
    /// The reading after.
    pub until_at: Instant,
    /// L beyond the usual.
    #[schema(minimum = 0, maximum = 1e12)]
    pub litres: f64,
    /// Lower end of the interval that holds it nine times of ten.
    #[schema(minimum = 0, maximum = 1e12)]
    pub litres_from: f64,
    /// Upper end.
    #[schema(minimum = 0, maximum = 1e12)]
    pub litres_to: f64,
    /// The readings before and after.
    #[schema(max_items = 2)]
    pub reading_ids: Vec<Uuid>,
    /// What was added between.
    #[schema(max_items = 100000)]
    pub addition_ids: Vec<Uuid>,
    /// In a sentence, with what to look at.
    #[schema(max_length = 2000)]
    pub told: String,
}

/// How water went that no plant took.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum LossHow {
    /// Without nutrient: it evaporated.
    Evaporation,
    /// With nutrient: it leaked, was spilt or drained without a record.
    Leak,
    /// The readings do not tell the two apart.
    Unclear,
}

impl From<answers::Rate> for PerDay {
    fn from(rate: answers::Rate) -> Self {
        Self {
            mean: millionth(rate.value),
            low: millionth(rate.low),
            high: millionth(rate.high),
            from_day_to_day: millionth(rate.from_day_to_day),
            prior_share: millionth(rate.prior_share),
            span_count: rate.spans as u64,
        }
    }
}

impl From<Reckoned> for UptakeEc {
    fn from(ec: Reckoned) -> Self {
        let ec = ec.interval();
        Self {
            ec_ms_cm: millionth(ec.value),
            ec_from_ms_cm: millionth(ec.low.max(0.0)),
            ec_to_ms_cm: millionth(ec.high),
        }
    }
}

impl TankTurnover {
    /// Beside its limit.
    pub fn of(value: f64, limit: f64) -> Self {
        Self { value: millionth(value), limit }
    }
}

impl From<&EarlyChange> for EarlyTankChange {
    fn from(early: &EarlyChange) -> Self {
        let (why, additions) = match early {
            EarlyChange::Turnover { .. } => (EarlyWhy::Turnover, Vec::new()),
            EarlyChange::ThrownBothWays(thrown) => (EarlyWhy::ThrownBothWays, thrown.additions.clone()),
        };
        Self { why, told: early.told(), addition_ids: additions.iter().map(|id| id.uuid()).collect() }
    }
}

impl From<&answers::Loss> for TankLoss {
    fn from(loss: &answers::Loss) -> Self {
        let litres = loss.litres.interval();
        let [from, until] = loss.between;
        Self {
            cause: match loss.cause {
                answers::LossCause::Evaporation => LossHow::Evaporation,
                answers::LossCause::Leak => LossHow::Leak,
                answers::LossCause::Unclear => LossHow::Unclear,
            },
            from_at: from.into(),
            until_at: until.into(),
            litres: millionth(litres.value),
            litres_from: millionth(litres.low.max(0.0)),
            litres_to: millionth(litres.high),
            reading_ids: loss.readings.iter().map(|id| id.uuid()).collect(),
            addition_ids: loss.additions.iter().map(|id| id.uuid()).collect(),
            told: loss.told(),
        }
    }
}
