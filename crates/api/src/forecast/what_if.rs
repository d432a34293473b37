//! The forecast with changes of the plan that are tried and not kept.

use chrono::NaiveDate;
use fillmark_domain::plan::PlanChange;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{ProductForecast, ProposedPurchase, SiteForecast, UseByCause};
use crate::Unit;

/// Changes of the plan to try, one after the other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"horizon_days": 60, "changes": [
    {"change": "interval", "programme_id": "019a0000-0000-7000-8000-000000000004", "days": 10},
    {"change": "room_closed", "room_id": "019a0000-0000-7000-8000-000000000005", "from_on": "2026-12-24", "until_on": "2027-01-02"}]}))]
pub struct NewWhatIf {
    /// Days from today on; 90, if nothing is said.
    #[serde(default)]
    #[schema(minimum = 1, maximum = 365)]
    pub horizon_days: Option<u16>,
    /// What would be otherwise than planned.
    #[schema(min_items = 1, max_items = 50)]
    pub changes: Vec<TriedChange>,
}

/// A change of the plan that is tried, from today on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "change", rename_all = "snake_case", deny_unknown_fields)]
pub enum TriedChange {
    /// A cycle is fed by another programme.
    Programme {
        /// Which cycle.
        cycle_id: Uuid,
        /// The other programme.
        programme_id: Uuid,
    },
    /// The tanks of a programme are changed at another interval.
    Interval {
        /// Which programme.
        programme_id: Uuid,
        /// Days between tank changes.
        #[schema(minimum = 1, maximum = 365)]
        days: u32,
    },
    /// A programme is given so many times as strong, its EC aims with it.
    Strength {
        /// Which programme.
        programme_id: Uuid,
        /// Times.
        #[schema(minimum = 0.1, maximum = 3)]
        factor: f64,
    },
    /// A cycle more.
    NewCycle {
        /// The tank that it drinks from, and leads.
        tank_id: Uuid,
        /// How it is fed.
        programme_id: Uuid,
        /// Its first day.
        starts_on: NaiveDate,
        /// Plants.
        #[schema(minimum = 1, maximum = 1_000_000)]
        plants: u32,
    },
    /// A room stands empty; the tanks that feed it more than others are out of use.
    RoomClosed {
        /// Which room.
        room_id: Uuid,
        /// First day.
        from_on: NaiveDate,
        /// Last day.
        until_on: NaiveDate,
    },
}

impl NewWhatIf {
    /// The changes in the words of the domain.
    /// # Errors
    /// What of them cannot be.
    pub fn changes(&self) -> Result<Vec<PlanChange>, Faults> {
        let mut faults = Faults::default();
        faults.unless(!self.changes.is_empty(), "/changes", "too_few", "expected at least one change");
        faults.unless(self.changes.len() <= 50, "/changes", "too_many", "expected at most 50 changes");
        let each = self.changes.iter().enumerate();
        let changes = each.map(|(place, change)| change.told(&format!("/changes/{place}"), &mut faults));
        let changes = changes.collect();
        faults.or(Some(changes))
    }
}

impl TriedChange {
    fn told(&self, at: &str, faults: &mut Faults) -> PlanChange {
        match self {
            TriedChange::Programme { cycle_id, programme_id } => {
                PlanChange::Programme { cycle: Id::new(*cycle_id), programme: Id::new(*programme_id) }
            }
            TriedChange::Interval { programme_id, days } => {
                faults.range(&format!("{at}/days"), f64::from(*days), 1.0, 365.0);
                PlanChange::Interval { programme: Id::new(*programme_id), days: *days }
            }
            TriedChange::Strength { programme_id, factor } => {
                faults.range(&format!("{at}/factor"), *factor, 0.1, 3.0);
                PlanChange::Strength { programme: Id::new(*programme_id), factor: *factor }
            }
            TriedChange::NewCycle { tank_id, programme_id, starts_on, plants } => {
                faults.range(&format!("{at}/plants"), f64::from(*plants), 1.0, 1e6);
                PlanChange::NewCycle {
                    tank: Id::new(*tank_id),
                    programme: Id::new(*programme_id),
                    starts_on: *starts_on,
                    plants: *plants,
                }
            }
            TriedChange::RoomClosed { room_id, from_on, until_on } => {
                let in_order = from_on <= until_on;
                let detail = "expected a day that is not before from_on";
                faults.unless(in_order, &format!("{at}/until_on"), "before_start", detail);
                PlanChange::RoomClosed { room: Id::new(*room_id), from: *from_on, until: *until_on }
            }
        }
    }
}

/// What would be used if the plan were changed, beside what will be as planned.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WhatIf {
    /// The first day forecast.
    pub today_on: NaiveDate,
    /// One for each product.
    #[schema(max_items = 5000)]
    pub products: Vec<WhatIfProduct>,
    /// The whole forecast with the changes.
    pub changed: SiteForecast,
}

/// A product as planned, and with the changes. Amounts in its base unit, over the whole horizon.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct WhatIfProduct {
    /// The product.
    pub product_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// mL or g.
    pub unit: Unit,
    /// Expected use as planned.
    pub planned_use: UseByCause,
    /// Expected use with the changes.
    pub changed_use: UseByCause,
    /// How much more it is with the changes; less is negative.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub difference: f64,
    /// When it may run out as planned, if nothing is ordered.
    pub planned_run_out_on: Option<NaiveDate>,
    /// When it may run out with the changes.
    pub changed_run_out_on: Option<NaiveDate>,
    /// What to buy as planned; what other sites could give is asked for on neither side.
    pub planned_purchase: Option<ProposedPurchase>,
    /// What to buy with the changes.
    pub changed_purchase: Option<ProposedPurchase>,
}

impl WhatIf {
    /// Both forecasts side by side.
    pub fn of(planned: SiteForecast, changed: SiteForecast) -> Self {
        let pairs = planned.products.into_iter().zip(&changed.products);
        let products = pairs.map(|(planned, changed)| WhatIfProduct::of(planned, changed)).collect();
        Self { today_on: planned.today_on, products, changed }
    }
}

impl WhatIfProduct {
    fn of(planned: ProductForecast, changed: &ProductForecast) -> Self {
        Self {
            product_id: planned.product_id,
            name: planned.name,
            unit: planned.unit,
            planned_use: planned.expected_use,
            changed_use: changed.expected_use,
            difference: super::round(changed.expected_use.total - planned.expected_use.total),
            planned_run_out_on: planned.may_run_out_on,
            changed_run_out_on: changed.may_run_out_on,
            planned_purchase: planned.purchase,
            changed_purchase: changed.purchase.clone(),
        }
    }
}
