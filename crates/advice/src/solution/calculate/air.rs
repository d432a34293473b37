//! Moisture of the air, and light of a day.

use fillmark_domain::Faults;

use crate::solution::air::{
    absolute_humidity_g_m3, daily_light_integral_mol_m2, dew_point_c, saturation_vapour_pressure_kpa,
    vapour_pressure_deficit_kpa, vapour_pressure_kpa,
};

/// What is known of the air and the light.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct AirQuestion {
    /// Temperature of the air, °C.
    pub air_c: Option<f64>,
    /// Relative humidity, %.
    pub humidity_percent: Option<f64>,
    /// Temperature of the leaf, °C.
    pub leaf_c: Option<f64>,
    /// Photons on an area in a time, µmol m⁻² s⁻¹.
    pub ppfd_umol_m2_s: Option<f64>,
    /// For how long a day, h.
    pub light_h: Option<f64>,
}

/// How moist the air is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Moisture {
    /// What the air would hold, kPa.
    pub saturation_kpa: f64,
    /// What it holds, kPa.
    pub vapour_kpa: f64,
    /// What it lacks at the leaf, kPa.
    pub deficit_kpa: f64,
    /// Where dew forms, °C.
    pub dew_point_c: f64,
    /// Water in it, g/m³.
    pub water_g_m3: f64,
}

/// The answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Air {
    /// Where temperature and humidity are known.
    pub moisture: Option<Moisture>,
    /// Light of a day, mol m⁻², where flux and hours are known.
    pub light_mol_m2: Option<f64>,
    /// Why.
    pub reasons: Vec<Reason>,
    /// Beware.
    pub cautions: Vec<Caution>,
}

/// Why a figure is what it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// Tetens' formula as in FAO-56, equation 11.
    FaoVapourPressure,
    /// Constant light for so many hours.
    ConstantLight,
}

/// What to beware of.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caution {
    /// The leaf was taken to be as warm as the air; by two degrees cooler or warmer the deficit is from here to there.
    LeafTakenForAir {
        /// kPa, leaf cooler.
        from_kpa: f64,
        /// kPa, leaf warmer.
        to_kpa: f64,
    },
    /// Dew forms on the leaf.
    DewOnLeaf,
}

/// Leaves that transpire well are cooler than the air by about so much, under hot lamps warmer, °C. Common practice, no source.
const LEAF_DIFFERS_C: f64 = 2.0;

/// Moisture and light.
/// # Errors
/// When half of a pair is missing, or nothing is asked.
pub fn air(question: &AirQuestion) -> Result<Air, Faults> {
    let mut faults = Faults::default();
    let needed = |faults: &mut Faults, pointer, detail| faults.add(pointer, "needed", detail);
    let moist = match (question.air_c, question.humidity_percent) {
        (Some(air_c), Some(percent)) => Some((air_c, percent)),
        (Some(_), None) => {
            needed(&mut faults, "/relative_humidity", "expected the humidity with the temperature");
            None
        }
        (None, Some(_)) => {
            needed(&mut faults, "/air_temperature", "expected the temperature with the humidity");
            None
        }
        (None, None) => {
            let nothing = question.leaf_c.is_none();
            faults.unless(nothing, "/air_temperature", "needed", "expected the air's with the leaf's");
            None
        }
    };
    let light = match (question.ppfd_umol_m2_s, question.light_h) {
        (Some(ppfd), Some(hours)) => Some(daily_light_integral_mol_m2(ppfd, hours)),
        (Some(_), None) => {
            needed(&mut faults, "/light_hours", "expected the hours with the flux");
            None
        }
        (None, Some(_)) => {
            needed(&mut faults, "/ppfd", "expected the flux with the hours");
            None
        }
        (None, None) => None,
    };
    let asks = moist.is_some() || light.is_some() || !faults.is_empty();
    faults.unless(asks, "", "needed", "expected temperature and humidity, or flux and hours");
    let mut answer = Air { moisture: None, light_mol_m2: light, reasons: Vec::new(), cautions: Vec::new() };
    if let Some((air_c, percent)) = moist {
        answer.moisten(air_c, percent, question.leaf_c, &mut faults);
    }
    answer.reasons.extend(light.map(|_| Reason::ConstantLight));
    faults.or(Some(answer))
}

impl Air {
    fn moisten(&mut self, air_c: f64, percent: f64, leaf_c: Option<f64>, faults: &mut Faults) {
        let vapour_kpa = vapour_pressure_kpa(air_c, percent);
        let deficit = |leaf_c| vapour_pressure_deficit_kpa(air_c, percent, leaf_c);
        let Some(dew_c) = dew_point_c(vapour_kpa) else {
            faults.add("/relative_humidity", "out_of_range", "expected air with some moisture");
            return;
        };
        let leaf = leaf_c.unwrap_or(air_c);
        self.moisture = Some(Moisture {
            saturation_kpa: saturation_vapour_pressure_kpa(air_c),
            vapour_kpa,
            deficit_kpa: deficit(leaf),
            dew_point_c: dew_c,
            water_g_m3: absolute_humidity_g_m3(air_c, percent),
        });
        self.reasons.push(Reason::FaoVapourPressure);
        if leaf_c.is_none() {
            self.cautions.push(Caution::LeafTakenForAir {
                from_kpa: deficit(air_c - LEAF_DIFFERS_C),
                to_kpa: deficit(air_c + LEAF_DIFFERS_C),
            });
        }
        self.cautions.extend((leaf <= dew_c).then_some(Caution::DewOnLeaf));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moist(air_c: f64, percent: f64, leaf_c: Option<f64>) -> Air {
        let question = AirQuestion {
            air_c: Some(air_c),
            humidity_percent: Some(percent),
            leaf_c,
            ..AirQuestion::default()
        };
        air(&question).unwrap()
    }

    #[test]
    fn air_holds_what_the_papers_example_says() {
        // FAO Irrigation and Drainage Paper 56 (1998), Example 3 (07_air-029): 3.075 kPa at 24.5 °C.
        let found = moist(24.5, 60.0, None).moisture.unwrap();
        assert!((found.saturation_kpa - 3.075).abs() < 0.001, "{found:?}");
        assert!((found.deficit_kpa - 0.4 * found.saturation_kpa).abs() < 1e-12);
        // 07_air-047, computed with another library: 13.89 °C.
        assert!((moist(22.0, 60.0, None).moisture.unwrap().dew_point_c - 13.8857).abs() < 0.1);
    }

    #[test]
    fn a_cooler_leaf_lacks_less() {
        // 07_air-041: 0.967 kPa.
        let answer = moist(26.0, 60.0, Some(24.0));
        assert!((answer.moisture.unwrap().deficit_kpa - 0.967).abs() < 0.01, "{answer:?}");
        assert!(answer.cautions.is_empty(), "{answer:?}");
        let [Caution::LeafTakenForAir { from_kpa, .. }] = moist(26.0, 60.0, None).cautions[..] else {
            panic!("an unknown leaf is told")
        };
        assert!((from_kpa - 0.967).abs() < 0.01);
        assert!(moist(20.0, 90.0, Some(17.0)).cautions.contains(&Caution::DewOnLeaf));
    }

    #[test]
    fn light_adds_up_over_the_day() {
        let question =
            AirQuestion { ppfd_umol_m2_s: Some(250.0), light_h: Some(16.0), ..AirQuestion::default() };
        // 07_air-060.
        assert!((air(&question).unwrap().light_mol_m2.unwrap() - 14.4).abs() < 1e-9);
    }

    #[track_caller]
    fn refused(question: AirQuestion, pointer: &str) {
        let faults = air(&question).unwrap_err();
        let found: Vec<_> = faults.iter().map(|fault| fault.pointer.as_str()).collect();
        assert_eq!(found, [pointer]);
    }

    #[test]
    fn half_a_question_is_told_what_is_missing() {
        let none = AirQuestion::default();
        refused(none, "");
        refused(AirQuestion { air_c: Some(20.0), ..none }, "/relative_humidity");
        refused(AirQuestion { humidity_percent: Some(50.0), ..none }, "/air_temperature");
        refused(AirQuestion { leaf_c: Some(20.0), ..none }, "/air_temperature");
        refused(AirQuestion { light_h: Some(12.0), ..none }, "/ppfd");
        refused(AirQuestion { ppfd_umol_m2_s: Some(12.0), ..none }, "/light_hours");
        refused(AirQuestion { air_c: Some(20.0), humidity_percent: Some(0.0), ..none }, "/relative_humidity");
    }
}
