//! A water as somebody knows it: by its conductivity, by a test of its alkalinity, or by an analysis.

use fillmark_domain::Faults;

use super::{Caution, Reason};
use crate::root;
use crate::solution::component::{Component, Composition};
use crate::solution::conductivity::ec25_at_ph_ms_cm;
use crate::solution::ions::Ion;
use crate::solution::ph::{balanced_at, water_of_alkalinity};
use crate::solution::speciation::OutsideModel;

/// What is known of a water.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Water {
    /// Conductivity, mS/cm at 25 °C.
    pub ec_ms_cm: Option<f64>,
    /// pH.
    pub ph: Option<f64>,
    /// Alkalinity, meq/L.
    pub alkalinity_meq_l: Option<f64>,
    /// Ions by their formula without charge, mg/L.
    pub ions_mg_l: Vec<(String, f64)>,
}

/// A water as it is reckoned with.
#[derive(Debug, Clone, PartialEq, Default)]
pub(super) struct Reckoned {
    /// Only what was declared.
    pub(super) declared: Composition,
    /// All that it is taken for.
    pub(super) whole: Composition,
    /// Whether its carbon is known, on which the pH of all that is made with it hangs.
    pub(super) tells_ph: bool,
    pub(super) reasons: Vec<Reason>,
    pub(super) cautions: Vec<Caution>,
}

/// Of a water whose pH nobody knows.
const NEUTRAL: f64 = 7.0;

/// Charges of an analysis that are apart by more than this part of their sum are out of balance: laboratories hold 5 to 10 %
/// for good (Standard Methods 1030 E, from memory).
const OUT_OF_BALANCE: f64 = 0.1;

/// An analysis: its bicarbonate and carbonate are what was titrated, so they are alkalinity.
#[derive(Default)]
struct Analysis {
    ions: Composition,
    alkalinity_meq_l: Option<f64>,
}

impl Water {
    /// All ions that it is taken for; none where it is no water that is known.
    pub(in crate::solution) fn ions(&self) -> Option<Composition> {
        Some(self.reckoned().ok()?.whole)
    }

    /// The water as it is reckoned with.
    pub(super) fn reckoned(&self) -> Result<Reckoned, Faults> {
        let mut faults = Faults::default();
        let analysis = self.analysed(&mut faults);
        let known = self.alkalinity_meq_l.is_some() || !self.ions_mg_l.is_empty();
        let told = self.ph.is_some() || !known;
        faults.unless(told, "/water/ph", "needed", "expected the pH with alkalinity or ions");
        let twice = analysis.alkalinity_meq_l.is_some() && self.alkalinity_meq_l.is_some();
        faults.unless(!twice, "/water/alkalinity", "twice", "expected alkalinity or bicarbonate, not both");
        if !faults.is_empty() {
            return Err(faults);
        }
        let made = self.with_charges_balanced(&analysis).and_then(|balanced| self.with_the_rest(balanced));
        made.map_err(|outside| {
            faults.add("/water", "outside_model", format!("no such water is known: {outside}"));
            faults
        })
    }

    fn analysed(&self, faults: &mut Faults) -> Analysis {
        let mut analysis = Analysis::default();
        for (at, (name, mg_l)) in self.ions_mg_l.iter().enumerate() {
            let found =
                Ion::named(name).and_then(|ion| Some((ion, ion.component?, mg_l / ion.molar_mass_g_mol())));
            match found {
                Some((ion, Component::Carbonate, mmol_l)) if ion.charge < 0 => {
                    let meq_l = mmol_l * f64::from(-ion.charge);
                    *analysis.alkalinity_meq_l.get_or_insert_default() += meq_l;
                }
                Some((_, component, mmol_l)) => analysis.ions = analysis.ions.with(component, mmol_l),
                None => faults.add(
                    format!("/water/ions/{at}/ion"),
                    "not_known",
                    "expected an ion without its charge, such as Ca, NO3, HCO3",
                ),
            }
        }
        analysis
    }

    /// With the carbon of its alkalinity, and counter-ions where an analysis left some out.
    fn with_charges_balanced(&self, analysis: &Analysis) -> Result<Reckoned, OutsideModel> {
        let alkalinity = self.alkalinity_meq_l.or(analysis.alkalinity_meq_l);
        let mut water = Reckoned {
            declared: analysis.ions,
            whole: analysis.ions,
            tells_ph: alkalinity.is_some(),
            ..Reckoned::default()
        };
        let Some(ph) = self.ph else { return Ok(water) };
        if let Some(alkalinity) = alkalinity {
            let bicarbonate = water_of_alkalinity(alkalinity, Component::Calcium, ph, 25.0)?;
            if self.ions_mg_l.is_empty() {
                water.whole = bicarbonate;
                water.reasons.push(Reason::AlkalinityOfCalcium);
                water.cautions.push(Caution::WaterNotDeclared);
                return Ok(water);
            }
            let carbon = bicarbonate.mmol_l(Component::Carbonate);
            water.whole = water.whole.with(Component::Carbonate, carbon);
        }
        if !self.ions_mg_l.is_empty() {
            water.balance(ph)?;
        }
        Ok(water)
    }

    /// With as much sodium chloride as its conductivity asks for.
    fn with_the_rest(&self, mut water: Reckoned) -> Result<Reckoned, OutsideModel> {
        let Some(ec_ms_cm) = self.ec_ms_cm else { return Ok(water) };
        let ph = self.ph.unwrap_or(NEUTRAL);
        let with =
            |mmol_l: f64| water.whole.with(Component::Sodium, mmol_l).with(Component::Chloride, mmol_l);
        let lacking = |mmol_l| ec25_at_ph_ms_cm(&with(mmol_l), ph).map(|ec| ec_ms_cm - ec);
        let lacks = lacking(0.0)?;
        if lacks < 0.0 {
            // Water's own ions conduct a little at any pH; meters do not show them.
            if lacks < -(METERS_END_MS_CM.max(OUT_OF_BALANCE * ec_ms_cm)) {
                water.cautions.push(Caution::WaterConductsLess { of_ions_ms_cm: ec_ms_cm - lacks });
            }
            return Ok(water);
        }
        let found = root::falling_from_nought(lacking, MOST_MMOL_L)?;
        let mmol_l = found.ok_or(OutsideModel::Unbalanced)?;
        water.whole = with(mmol_l);
        water.reasons.push(Reason::RestOfWater { mmol_l });
        if !water.cautions.contains(&Caution::WaterNotDeclared) {
            water.cautions.push(Caution::WaterNotDeclared);
        }
        Ok(water)
    }
}

impl Reckoned {
    fn balance(&mut self, ph: f64) -> Result<(), OutsideModel> {
        let balanced = balanced_at(&self.whole, ph, 25.0)?;
        let more = |component| balanced.mmol_l(component) - self.whole.mmol_l(component);
        let meq_l = more(Component::Sodium).max(more(Component::Chloride));
        let cations = balanced.present().filter(|(component, _)| component.is_cation());
        let positive: f64 =
            cations.map(|(component, mmol_l)| f64::from(component.reference_charge()) * mmol_l).sum();
        self.whole = balanced;
        self.reasons.push(Reason::AnalysisBalanced { meq_l });
        // Balanced, there is as much of one sign as of the other; before, the one that lacked had less.
        if meq_l > OUT_OF_BALANCE * (2.0 * positive - meq_l) {
            self.cautions.push(Caution::AnalysisOutOfBalance);
        }
        Ok(())
    }
}

/// Sea water has some 480.
const MOST_MMOL_L: f64 = 400.0;

/// What meters in the trade tell apart, mS/cm.
const METERS_END_MS_CM: f64 = 0.01;
