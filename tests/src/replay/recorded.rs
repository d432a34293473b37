//! A recorded site with one or many days on which a forecast is asked; the README beside the files tells what each
//! field means.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Deserialize;

use super::scenario::{Event, LeadDays, PlanChange, PlanCrop, PlanProduct, PlanRoom};

/// A recorded site.
#[derive(Debug, Clone, Deserialize)]
pub struct Recorded {
    /// Its name.
    pub name: String,
    /// What does not change with the day of asking.
    pub plan: RecordedPlan,
    /// What was known on each day of asking; none where the plan has one `today`.
    #[serde(default)]
    pub origins: Vec<Origin>,
    /// The days of asking that are scored, by their number; the others only lead up to them.
    #[serde(default)]
    pub scored_origins: Vec<i64>,
    /// Days to forecast.
    #[serde(default = "six_weeks")]
    pub horizon_days: u16,
    /// What was recorded.
    pub events: Vec<Event>,
    /// What was really used.
    pub truth: RecordedTruth,
}

fn six_weeks() -> u16 {
    42
}

/// What does not change with the day of asking.
#[derive(Debug, Clone, Deserialize)]
pub struct RecordedPlan {
    /// First day.
    pub start: NaiveDate,
    /// The day of asking, where there is but one.
    pub today: Option<NaiveDate>,
    /// Weekdays on which staff work, Monday 0.
    pub open_weekdays: Vec<u8>,
    /// Days on which nobody works.
    #[serde(default)]
    pub closed_dates: Vec<NaiveDate>,
    /// Products.
    pub products: Vec<PlanProduct>,
    /// Product, stage, share of the EC.
    pub recipe_share_of_ec: BTreeMap<String, BTreeMap<String, f64>>,
    /// Rooms.
    pub rooms: Vec<PlanRoom>,
    /// Tank changes as planned.
    #[serde(default)]
    pub planned_changes: Vec<PlanChange>,
    /// Cycles, where there is but one day of asking.
    #[serde(default)]
    pub crops: Vec<PlanCrop>,
    /// The supplier's word.
    pub supplier_lead_days: Option<LeadDays>,
}

/// A day of asking.
#[derive(Debug, Clone, Deserialize)]
pub struct Origin {
    /// Its number from the first day on.
    pub day: i64,
    /// The day.
    pub date: NaiveDate,
    /// Cycles as they were known that day.
    pub crops: Vec<PlanCrop>,
}

/// What was really used, day by day: from the first day on, or from the one day of asking.
#[derive(Debug, Clone, Default, Deserialize)]
pub struct RecordedTruth {
    /// Product, from the first day on, mL.
    #[serde(default)]
    pub daily_use_ml: BTreeMap<String, Vec<f64>>,
    /// Product, from the one day of asking on, mL.
    #[serde(default)]
    pub future_daily_use_ml: BTreeMap<String, Vec<f64>>,
    /// Median of the days from order to delivery, where the file tells it.
    pub lead_median_days: Option<f64>,
    /// Spread of their logarithm.
    pub lead_sigma_log: Option<f64>,
}

impl Recorded {
    /// The days of asking: the origins, or the one day of the plan.
    pub fn days_of_asking(&self) -> Vec<Origin> {
        let of_plan = self.plan.today.map(|date| Origin {
            day: (date - self.plan.start).num_days(),
            date,
            crops: self.plan.crops.clone(),
        });
        if self.origins.is_empty() { of_plan.into_iter().collect() } else { self.origins.clone() }
    }

    /// Whether a day of asking is scored.
    pub fn scores(&self, origin: &Origin) -> bool {
        self.scored_origins.is_empty() || self.scored_origins.contains(&origin.day)
    }

    /// True use of a product on the days from a day of asking on, mL.
    pub fn true_use(&self, product: &str, origin: &Origin) -> &[f64] {
        if let Some(future) = self.truth.future_daily_use_ml.get(product) {
            return future;
        }
        let all = self.truth.daily_use_ml.get(product).map_or(&[][..], Vec::as_slice);
        all.get(usize::try_from(origin.day).unwrap_or(0)..).unwrap_or_default()
    }
}
