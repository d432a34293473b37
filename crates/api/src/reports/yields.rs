//! What cycles gave, as a room's report tells it.

use fillmark_advice::review as answers;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::percent;

/// A figure with the number of harvests behind it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportFigure {
    /// The figure.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub value: f64,
    /// Harvests behind it.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub harvest_count: u64,
}

/// What a cycle gave.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportYield {
    /// The cycle.
    pub cycle_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Saleable mass, kg.
    pub saleable_kg: ReportFigure,
    /// Saleable mass on the growing area it took, kg/m²: its rooms' areas, shared by plants with other cycles in them, as
    /// the mean of its days; null where it stood nowhere on record, or in a room whose area is not known.
    pub kg_per_m2: Option<ReportFigure>,
    /// The same for each day it stood until the report's last, kg/m²/day.
    pub kg_per_m2_day: Option<ReportFigure>,
    /// Saleable mass of a plant set, g.
    pub g_per_plant: Option<ReportFigure>,
    /// Rejected share of all mass harvested, %.
    pub rejected_percent: Option<ReportFigure>,
    /// Concentrate poured for a saleable kg, L.
    pub concentrate_l_per_kg: Option<ReportFigure>,
    /// What that cost by the site's cheapest offers, minor units of its currency; null when a product has no price.
    pub concentrate_cost_minor_per_kg: Option<ReportFigure>,
    /// kg/m² beside earlier cycles of the crop; null where there are too few.
    pub beside_earlier: Option<ReportComparison>,
}

/// A comparison by Welch's test. Rooms and seasons differ in more than one thing: it shows a difference, not its cause.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ReportComparison {
    /// This less earlier, kg/m².
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub difference_kg_m2: f64,
    /// Lower end of its 95 % interval.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub low_kg_m2: f64,
    /// Upper end.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub high_kg_m2: f64,
    /// These cycles.
    #[schema(minimum = 2, maximum = 100000)]
    pub cycle_count: u64,
    /// Earlier ones.
    #[schema(minimum = 2, maximum = 100000)]
    pub earlier_cycle_count: u64,
    /// What to mind.
    #[schema(max_items = 5)]
    pub cautions: Vec<String>,
}

impl ReportYield {
    /// The yield of a cycle.
    pub fn of(
        cycle_id: Uuid,
        name: String,
        figures: &answers::Yield,
        beside: &Result<answers::Welch, answers::NoComparison>,
    ) -> Self {
        let figure =
            |figure: answers::Figure| ReportFigure { value: figure.value, harvest_count: figure.n as u64 };
        let rejected =
            figures.rejected_share.map(|share| answers::Figure { value: percent(share.value), n: share.n });
        Self {
            cycle_id,
            name,
            saleable_kg: figure(figures.kg),
            kg_per_m2: figures.kg_per_m2.map(figure),
            kg_per_m2_day: figures.kg_per_m2_day.map(figure),
            g_per_plant: figures.g_per_plant_set.map(figure),
            rejected_percent: rejected.map(figure),
            concentrate_l_per_kg: figures.concentrate_l_per_kg.map(figure),
            concentrate_cost_minor_per_kg: figures.concentrate_cost_per_kg.map(figure),
            beside_earlier: beside.as_ref().ok().map(ReportComparison::from),
        }
    }
}

impl From<&answers::Welch> for ReportComparison {
    fn from(welch: &answers::Welch) -> Self {
        let caution = |caution: &answers::Caution| match caution {
            answers::Caution::MoreThanOneThingDiffers => {
                "rooms and seasons differ in more than one thing".to_owned()
            }
            answers::Caution::FewCycles => "fewer than five cycles on a side".to_owned(),
        };
        Self {
            difference_kg_m2: welch.difference,
            low_kg_m2: welch.interval.low,
            high_kg_m2: welch.interval.high,
            cycle_count: welch.n as u64,
            earlier_cycle_count: welch.n_earlier as u64,
            cautions: welch.cautions.iter().map(caution).collect(),
        }
    }
}
