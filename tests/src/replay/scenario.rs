//! A recorded site as its file has it; the README beside the files tells what each field means.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use serde::Deserialize;

/// A recorded site.
#[derive(Debug, Clone, Deserialize)]
pub struct Scenario {
    /// Its name.
    pub name: String,
    /// What was known on the day of the forecast.
    pub plan: Plan,
    /// What was recorded until the day before.
    pub events: Vec<Event>,
    /// What was really used afterwards.
    pub truth: Truth,
}

/// What was known.
#[derive(Debug, Clone, Deserialize)]
pub struct Plan {
    /// First day.
    pub start: NaiveDate,
    /// The day of the forecast.
    pub today: NaiveDate,
    /// Weekdays on which staff work, Monday 0.
    pub open_weekdays: Vec<u8>,
    /// Days on which nobody works.
    pub closed_dates: Vec<NaiveDate>,
    /// Products.
    pub products: Vec<PlanProduct>,
    /// Product, stage, share of the EC.
    pub recipe_share_of_ec: BTreeMap<String, BTreeMap<String, f64>>,
    /// Rooms.
    pub rooms: Vec<PlanRoom>,
    /// Tank changes as planned.
    pub planned_changes: Vec<PlanChange>,
    /// Cycles.
    pub crops: Vec<PlanCrop>,
    /// The supplier's word.
    pub supplier_lead_days: LeadDays,
}

/// A product.
#[derive(Debug, Clone, Deserialize)]
pub struct PlanProduct {
    /// Its name.
    pub name: String,
    /// EC that 1 mL in 1 L adds; none for the pH adjuster.
    pub ec_per_ml_l: Option<f64>,
    /// What a pack holds.
    pub pack_ml: f64,
}

/// A room.
#[derive(Debug, Clone, Deserialize)]
pub struct PlanRoom {
    /// Its name.
    pub name: String,
    /// Its tanks.
    pub tanks: Vec<PlanTank>,
    /// EC aim by stage.
    pub ec_target: BTreeMap<String, f64>,
    /// Days between changes.
    pub change_every_days: u32,
}

/// A tank.
#[derive(Debug, Clone, Deserialize)]
pub struct PlanTank {
    /// Its name.
    pub name: String,
    /// Working volume.
    pub volume_l: f64,
    /// Plants that drink from it.
    pub plants: u32,
}

/// A planned change.
#[derive(Debug, Clone, Deserialize)]
pub struct PlanChange {
    /// The tank.
    pub tank: String,
    /// The day.
    pub planned_date: NaiveDate,
}

/// A cycle.
#[derive(Debug, Clone, Deserialize)]
pub struct PlanCrop {
    /// Where.
    pub room: String,
    /// First day.
    pub start_date: NaiveDate,
    /// From vegetative to flowering.
    pub switch_date: NaiveDate,
    /// Last day.
    pub end_date: NaiveDate,
}

/// The supplier's word.
#[derive(Debug, Clone, Deserialize)]
pub struct LeadDays {
    /// Days from order to delivery.
    pub median_quoted: f64,
}

/// What was really used.
#[derive(Debug, Clone, Deserialize)]
pub struct Truth {
    /// Product, day by day from the day of the forecast, mL.
    pub future_daily_use_ml: BTreeMap<String, Vec<f64>>,
}

/// Something recorded.
#[derive(Debug, Clone, Deserialize)]
pub struct Event {
    /// The day.
    pub date: NaiveDate,
    /// Its place in the record of the day; where none is told they stand in order.
    #[serde(default)]
    pub seq: u32,
    /// What.
    #[serde(flatten)]
    pub what: What,
}

/// What was recorded.
#[derive(Debug, Clone, Deserialize)]
#[serde(tag = "kind", rename_all = "snake_case")]
pub enum What {
    /// A tank was read.
    Reading {
        /// The tank.
        tank: String,
        /// mS/cm.
        ec: Option<f64>,
        /// pH.
        ph: Option<f64>,
        /// L.
        level_l: Option<f64>,
    },
    /// Something was poured.
    Addition {
        /// The tank.
        tank: String,
        /// The product.
        product: String,
        /// mL.
        ml: f64,
        /// `topup` or `change`.
        why: String,
        /// The lot on the label.
        lot: Option<String>,
    },
    /// A tank was changed.
    Change {
        /// The tank.
        tank: String,
        /// L.
        volume_l: f64,
    },
    /// A delivery came.
    Receipt {
        /// The product.
        product: String,
        /// The lot.
        lot: String,
        /// mL.
        ml: f64,
        /// Last usable day.
        expiry: Option<NaiveDate>,
        /// The order it came on.
        order: Option<String>,
    },
    /// An order was placed.
    Order {
        /// Its number.
        order: String,
        /// The product.
        product: String,
        /// Packs.
        packs: u32,
        /// The day the supplier promised.
        promised: NaiveDate,
    },
    /// Stock was counted.
    Count {
        /// The product.
        product: String,
        /// mL found.
        ml: f64,
    },
    /// Something was spilt.
    Adjust {
        /// The product.
        product: String,
        /// mL.
        ml: f64,
    },
    /// Something that no forecast asks for.
    #[serde(other)]
    Other,
}
