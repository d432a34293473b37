//! What a cycle gave, and what it took.

use crate::review::Figure;

/// What was harvested of a cycle and what went into it. What is not known gives no figure.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Cropped {
    /// Saleable mass, kg.
    pub saleable_kg: f64,
    /// Rejected mass, kg.
    pub rejected_kg: f64,
    /// Harvests that these are of.
    pub harvests: usize,
    /// Growing area, m²: of the benches, not of the floor; the mean of its days where it changed.
    pub area_m2: Option<f64>,
    /// Plants set, the dead among them.
    pub plants_set: Option<u32>,
    /// Plants harvested.
    pub plants_harvested: Option<u32>,
    /// Days the area was taken.
    pub days: Option<f64>,
    /// Concentrate used, L.
    pub concentrate_l: Option<f64>,
    /// What it cost, in the site's currency.
    pub concentrate_cost: Option<f64>,
    /// Water used, L.
    pub water_l: Option<f64>,
    /// Energy used, kWh.
    pub energy_kwh: Option<f64>,
}

/// The yield of a cycle, each figure with the number of harvests behind it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Yield {
    /// Saleable mass, kg.
    pub kg: Figure,
    /// Saleable mass on the growing area, kg/m².
    pub kg_per_m2: Option<Figure>,
    /// The same a day, kg/m²/day.
    pub kg_per_m2_day: Option<Figure>,
    /// Saleable mass of a plant set, g.
    pub g_per_plant_set: Option<Figure>,
    /// Saleable mass of a plant harvested, g.
    pub g_per_plant_harvested: Option<Figure>,
    /// Rejected mass of all mass harvested, 0–1.
    pub rejected_share: Option<Figure>,
    /// Concentrate for a saleable kg, L.
    pub concentrate_l_per_kg: Option<Figure>,
    /// What it cost, in the site's currency.
    pub concentrate_cost_per_kg: Option<Figure>,
    /// Water for a saleable kg, L.
    pub water_l_per_kg: Option<Figure>,
    /// Energy for a saleable kg, kWh.
    pub energy_kwh_per_kg: Option<Figure>,
}

impl Yield {
    /// The yield of what was cropped. Nothing is divided by nothing: without area, plants, days or mass the
    /// figure that wants them is left out.
    pub fn of(cropped: &Cropped) -> Yield {
        let kg = cropped.saleable_kg;
        let figure = |value: f64| Figure { value, n: cropped.harvests };
        let over = |whole: f64, by: Option<f64>| by.filter(|by| *by > 0.0).map(|by| figure(whole / by));
        let per_kg = |taken: Option<f64>| taken.and_then(|taken| over(taken, Some(kg)));
        let area_days = cropped.area_m2.zip(cropped.days).map(|(area, days)| area * days);
        Yield {
            kg: figure(kg),
            kg_per_m2: over(kg, cropped.area_m2),
            kg_per_m2_day: over(kg, area_days),
            g_per_plant_set: over(kg * 1000.0, cropped.plants_set.map(f64::from)),
            g_per_plant_harvested: over(kg * 1000.0, cropped.plants_harvested.map(f64::from)),
            rejected_share: over(cropped.rejected_kg, Some(kg + cropped.rejected_kg)),
            concentrate_l_per_kg: per_kg(cropped.concentrate_l),
            concentrate_cost_per_kg: per_kg(cropped.concentrate_cost),
            water_l_per_kg: per_kg(cropped.water_l),
            energy_kwh_per_kg: per_kg(cropped.energy_kwh),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::rows::{close, rows};

    #[test]
    fn rates_agree_with_their_definitions() {
        for row in rows("yield_rates") {
            let given = |name: &str| row["inputs"][name].as_f64();
            let found = Yield::of(&Cropped {
                saleable_kg: given("kg").unwrap(),
                harvests: 3,
                area_m2: given("m2"),
                plants_set: given("plants_set").map(|plants| plants as u32),
                plants_harvested: given("plants_harvested").map(|plants| plants as u32),
                days: given("days"),
                water_l: given("litres"),
                energy_kwh: given("kwh"),
                ..Cropped::default()
            });
            let scaled = |figure: Option<Figure>, by: f64| figure.map(|figure| figure.value * by);
            let inverse = |figure: Option<Figure>, by: f64| figure.map(|figure| by / figure.value);
            close(&row, "kg_per_m2", scaled(found.kg_per_m2, 1.0));
            close(&row, "kg_per_m2_year", scaled(found.kg_per_m2_day, 365.25));
            close(&row, "kg_per_plant_set", scaled(found.g_per_plant_set, 1e-3));
            close(&row, "kg_per_plant_harvested", scaled(found.g_per_plant_harvested, 1e-3));
            close(&row, "kg_per_kwh", inverse(found.energy_kwh_per_kg, 1.0));
            close(&row, "kwh_per_kg", scaled(found.energy_kwh_per_kg, 1.0));
            close(&row, "kg_per_m3_water", inverse(found.water_l_per_kg, 1000.0));
            close(&row, "litres_per_kg", scaled(found.water_l_per_kg, 1.0));
        }
    }

    #[track_caller]
    fn check(cropped: Cropped, figure: impl Fn(&Yield) -> Option<Figure>, expected: Option<(f64, usize)>) {
        let found = figure(&Yield::of(&cropped)).map(|figure| (figure.value, figure.n));
        assert_eq!(found, expected);
    }

    #[test]
    fn a_cycle_of_forty_kilograms_in_two_harvests() {
        let cropped = Cropped {
            saleable_kg: 40.0,
            rejected_kg: 10.0,
            harvests: 2,
            concentrate_l: Some(20.0),
            concentrate_cost: Some(100.0),
            ..Cropped::default()
        };
        check(cropped, |found| found.rejected_share, Some((0.2, 2)));
        check(cropped, |found| found.concentrate_l_per_kg, Some((0.5, 2)));
        check(cropped, |found| found.concentrate_cost_per_kg, Some((2.5, 2)));
        check(cropped, |found| found.kg_per_m2, None);
    }

    #[test]
    fn nothing_harvested_has_no_rates() {
        let nothing = Cropped { concentrate_l: Some(20.0), area_m2: Some(0.0), ..Cropped::default() };
        check(nothing, |found| found.rejected_share, None);
        check(nothing, |found| found.concentrate_l_per_kg, None);
        check(nothing, |found| found.kg_per_m2, None);
        check(nothing, |found| Some(found.kg), Some((0.0, 0)));
    }
}
