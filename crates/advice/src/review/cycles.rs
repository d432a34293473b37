//! What cycles gave as a whole, wherever they stood, beside earlier ones.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use fillmark_domain::Kept;
use fillmark_domain::entries::Addition;
use fillmark_domain::growing::{CropId, Cycle, CycleId, Harvest};
use fillmark_domain::plan::SitePlan;

use super::{Cropped, NoComparison, UnitPrices, Welch, Yield, area_taken, compare, poured_for};

/// What the yields of cycles follow from. Harvests and additions are those that stand.
#[derive(Debug, Clone)]
pub struct CycleRecords {
    /// The last day of the review.
    pub until: NaiveDate,
    /// All harvests of the site until then.
    pub harvests: Vec<Harvest>,
    /// What was poured at the site since the first of the cycles started.
    pub additions: Vec<Addition>,
    /// What that costs.
    pub prices: UnitPrices,
}

/// What a cycle gave.
#[derive(Debug, Clone)]
pub struct CycleYield {
    /// The cycle.
    pub cycle: CycleId,
    /// Its name.
    pub name: String,
    /// Its figures.
    pub figures: Yield,
    /// kg/m² of these cycles of the same crop beside earlier ones, where there are enough.
    pub beside_earlier: Result<Welch, NoComparison>,
}

/// The yields of the cycles that were picked.
pub fn cycle_yields(plan: &SitePlan, picked: &[CycleId], records: &CycleRecords) -> Vec<CycleYield> {
    let cycles: Vec<&Kept<Cycle>> = picked.iter().filter_map(|id| plan.cycles.get(id)).collect();
    let crops: Vec<CropId> = cycles.iter().map(|cycle| cycle.content.crop).collect();
    let comparable = plan.cycles.values().filter(|cycle| crops.contains(&cycle.content.crop));
    let per_m2: BTreeMap<CycleId, f64> = comparable
        .filter_map(|cycle| Some((cycle.id, Yield::of(&cropped(plan, cycle, records)).kg_per_m2?.value)))
        .collect();
    cycles
        .iter()
        .map(|cycle| CycleYield {
            cycle: cycle.id,
            name: cycle.content.name.clone(),
            figures: figures(plan, cycle, records),
            beside_earlier: beside_earlier(plan, cycle, picked, &per_m2),
        })
        .collect()
}

/// kg/m² of the cycles picked that have the same crop, beside those that started earlier and gave something.
fn beside_earlier(
    plan: &SitePlan,
    cycle: &Kept<Cycle>,
    picked: &[CycleId],
    per_m2: &BTreeMap<CycleId, f64>,
) -> Result<Welch, NoComparison> {
    let (mut these, mut earlier) = (Vec::new(), Vec::new());
    for (id, kg_per_m2) in per_m2 {
        let Some(other) = plan.cycles.get(id).filter(|other| other.content.crop == cycle.content.crop) else {
            continue;
        };
        if picked.contains(id) {
            these.push(*kg_per_m2);
        } else if other.content.starts_on < cycle.content.starts_on && *kg_per_m2 > 0.0 {
            earlier.push(*kg_per_m2);
        }
    }
    compare(&these, &earlier)
}

fn figures(plan: &SitePlan, cycle: &Kept<Cycle>, records: &CycleRecords) -> Yield {
    let concentrate = poured_for(plan, cycle.id, &records.additions, &records.prices);
    Yield::of(&Cropped {
        concentrate_l: Some(concentrate.litres),
        concentrate_cost: concentrate.cost_minor,
        ..cropped(plan, cycle, records)
    })
}

/// What was harvested, and the area it was harvested from.
fn cropped(plan: &SitePlan, cycle: &Kept<Cycle>, records: &CycleRecords) -> Cropped {
    let harvests = || records.harvests.iter().filter(|harvest| harvest.cycle == cycle.id);
    let area = area_taken(plan, cycle, records.until);
    Cropped {
        saleable_kg: harvests().map(|harvest| harvest.saleable_kg).sum(),
        rejected_kg: harvests().map(|harvest| harvest.rejected_kg).sum(),
        harvests: harvests().count(),
        area_m2: area.map(|area| area.mean_m2),
        plants_set: Some(cycle.content.plants),
        days: area.map(|area| area.days),
        ..Cropped::default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::testing::{Site, basil, day, harvest, later_basil, north_room, south_room};

    /// The first basil in the north room, the later one in the south room.
    fn placed() -> Site {
        Site::default().placed(basil(), north_room(), "01-01", None).placed(
            later_basil(),
            south_room(),
            "03-01",
            None,
        )
    }

    fn records(harvests: Vec<Harvest>) -> CycleRecords {
        CycleRecords { until: day("03-31"), harvests, additions: Vec::new(), prices: UnitPrices::new() }
    }

    #[test]
    fn a_cycle_is_told_by_all_its_harvests_and_no_others() {
        let harvests = vec![harvest(basil(), 30.0), harvest(basil(), 10.0), harvest(later_basil(), 8.0)];
        let found = cycle_yields(&placed().0, &[basil()], &records(harvests));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].figures.kg.value, found[0].figures.kg.n), (40.0, 2));
        assert_eq!(found[0].figures.kg_per_m2.unwrap().value, 2.0);
        assert_eq!(found[0].figures.g_per_plant_set.unwrap().value, 200.0);
    }

    #[test]
    fn a_cycle_is_divided_by_where_it_stood_itself() {
        let both = vec![harvest(basil(), 30.0), harvest(later_basil(), 8.0)];
        let found = cycle_yields(&placed().0, &[basil(), later_basil()], &records(both.clone()));
        let per_m2: Vec<f64> = found.iter().map(|one| one.figures.kg_per_m2.unwrap().value).collect();
        assert_eq!(per_m2, [1.5, 0.8]);
        // 31 days of March on the south room's 10 m².
        assert!((found[1].figures.kg_per_m2_day.unwrap().value - 0.8 / 31.0).abs() < 1e-12);
        let unplaced = cycle_yields(&Site::default().0, &[basil()], &records(both));
        assert_eq!((unplaced[0].figures.kg_per_m2, unplaced[0].figures.kg_per_m2_day), (None, None));
    }

    #[test]
    fn only_earlier_cycles_that_gave_something_stand_beside_it() {
        let harvests = vec![harvest(basil(), 30.0), harvest(later_basil(), 8.0)];
        let few = |picked, harvests| {
            cycle_yields(&placed().0, &[picked], &records(harvests))[0].beside_earlier.clone()
        };
        let found = few(later_basil(), harvests.clone());
        assert_eq!(found, Err(NoComparison::TooFew { n: 1, n_earlier: 1 }));
        assert_eq!(few(basil(), harvests), Err(NoComparison::TooFew { n: 1, n_earlier: 0 }));
        let nothing = few(later_basil(), vec![harvest(later_basil(), 8.0)]);
        assert_eq!(nothing, Err(NoComparison::TooFew { n: 1, n_earlier: 0 }));
    }
}
