//! What the cycles picked in a room gave, beside earlier ones.

use chrono::NaiveDate;
use fillmark_domain::Kept;
use fillmark_domain::entries::Addition;
use fillmark_domain::growing::{Cycle, CycleId, Harvest};
use fillmark_domain::plan::SitePlan;

use super::{Cropped, NoComparison, UnitPrices, Welch, Yield, compare, poured_for};

/// What the yields of cycles follow from. Harvests and additions are those that stand.
#[derive(Debug, Clone)]
pub struct CycleRecords {
    /// The last day of the review.
    pub until: NaiveDate,
    /// Growing area of the room, m².
    pub area_m2: Option<f64>,
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
    let per_m2 = |cycle: &Kept<Cycle>| yield_of(plan, cycle, records).kg_per_m2.map(|figure| figure.value);
    let yields = picked.iter().filter_map(|id| plan.cycles.get(id)).map(|cycle| {
        let same = |other: &&Kept<Cycle>| other.content.crop == cycle.content.crop;
        let these = picked.iter().filter_map(|id| plan.cycles.get(id)).filter(same).filter_map(per_m2);
        let before = |other: &&Kept<Cycle>| {
            !picked.contains(&other.id) && other.content.starts_on < cycle.content.starts_on
        };
        let earlier = plan.cycles.values().filter(same).filter(before).filter_map(per_m2);
        let earlier: Vec<f64> = earlier.filter(|value| *value > 0.0).collect();
        CycleYield {
            cycle: cycle.id,
            name: cycle.content.name.clone(),
            figures: yield_of(plan, cycle, records),
            beside_earlier: compare(&these.collect::<Vec<_>>(), &earlier),
        }
    });
    yields.collect()
}

fn yield_of(plan: &SitePlan, cycle: &Kept<Cycle>, records: &CycleRecords) -> Yield {
    let harvests = || records.harvests.iter().filter(|harvest| harvest.cycle == cycle.id);
    let end = cycle.content.ends_on.unwrap_or(records.until);
    let concentrate = poured_for(plan, cycle.id, &records.additions, &records.prices);
    Yield::of(&Cropped {
        saleable_kg: harvests().map(|harvest| harvest.saleable_kg).sum(),
        rejected_kg: harvests().map(|harvest| harvest.rejected_kg).sum(),
        harvests: harvests().count(),
        area_m2: records.area_m2,
        plants_set: Some(cycle.content.plants),
        days: Some(((end - cycle.content.starts_on).num_days() + 1) as f64),
        concentrate_l: Some(concentrate.litres),
        concentrate_cost: concentrate.cost_minor,
        ..Cropped::default()
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::testing::{Site, basil, day, harvest, later_basil};

    fn records(harvests: Vec<Harvest>) -> CycleRecords {
        CycleRecords {
            until: day("03-31"),
            area_m2: Some(20.0),
            harvests,
            additions: Vec::new(),
            prices: UnitPrices::new(),
        }
    }

    #[test]
    fn a_cycle_is_told_by_all_its_harvests_and_no_others() {
        let harvests = vec![harvest(basil(), 30.0), harvest(basil(), 10.0), harvest(later_basil(), 8.0)];
        let found = cycle_yields(&Site::default().0, &[basil()], &records(harvests));
        assert_eq!(found.len(), 1);
        assert_eq!((found[0].figures.kg.value, found[0].figures.kg.n), (40.0, 2));
        assert_eq!(found[0].figures.kg_per_m2.unwrap().value, 2.0);
        assert_eq!(found[0].figures.g_per_plant_set.unwrap().value, 200.0);
    }

    #[test]
    fn only_earlier_cycles_that_gave_something_stand_beside_it() {
        let harvests = vec![harvest(basil(), 30.0), harvest(later_basil(), 8.0)];
        let few = |picked, harvests| {
            cycle_yields(&Site::default().0, &[picked], &records(harvests))[0].beside_earlier.clone()
        };
        let found = few(later_basil(), harvests.clone());
        assert_eq!(found, Err(NoComparison::TooFew { n: 1, n_earlier: 1 }));
        assert_eq!(few(basil(), harvests), Err(NoComparison::TooFew { n: 1, n_earlier: 0 }));
        let nothing = few(later_basil(), vec![harvest(later_basil(), 8.0)]);
        assert_eq!(nothing, Err(NoComparison::TooFew { n: 1, n_earlier: 0 }));
    }
}
