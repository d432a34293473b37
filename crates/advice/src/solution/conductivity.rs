//! Electrical conductivity of a solution from its ions.

use super::activity::DebyeHueckel;
use super::component::Composition;
use super::ph::at_own_ph;
use super::speciation::{Carbon, Form, OutsideModel, Speciation, speciate};
use super::water;

/// Size of the ions that others mostly meet in a feed: potassium, ammonium and nitrate (Kielland 1937), Å.
const COUNTER_ION_ANGSTROM: f64 = 3.0;

/// Conductivity of a solution at its temperature, mS/cm.
///
/// Each ion that is left free carries λ = λ₀ − |z| (E + R λ₀) √I / (1 + B a √I): Onsager's law of electrophoresis and
/// relaxation with the contact distance a of Robinson and Stokes (Electrolyte Solutions, 1959, chapter 7), taken as the mean of
/// the ion's own size and that of those it meets. Chlorides and nitrates as measured at 25 °C come out within 2.5 % up to an
/// ionic strength of 0.15 mol/kg. Pairs are what makes sulfate and phosphate feeds conduct less than the sum of their ions.
pub fn conductivity_ms_cm(solution: &Speciation) -> f64 {
    let law = Onsager::at(solution.temperature_c);
    let root = solution.ionic_strength_mol_kg.sqrt();
    solution
        .species
        .iter()
        .map(|species| {
            let charge = f64::from(species.form.charge().unsigned_abs());
            let free = limiting_s_cm2_eq(species.form, solution.temperature_c);
            let contact = 0.5 * (species.form.size_angstrom() + COUNTER_ION_ANGSTROM);
            let held_back = root / (1.0 + law.per_angstrom * contact * root);
            let lambda = free - charge * (law.electrophoresis + law.relaxation * free) * held_back;
            charge * species.mmol_l * lambda.max(0.0) * 1e-3
        })
        .sum()
}

/// Conductivity at 25 °C of a solution that keeps its carbon, at its own pH, mS/cm.
/// # Errors
/// [`OutsideModel`], as for the solution itself.
pub fn ec25_ms_cm(composition: &Composition) -> Result<f64, OutsideModel> {
    at_own_ph(composition, Carbon::Closed, 25.0).map(|solution| conductivity_ms_cm(&solution))
}

/// Conductivity at 25 °C of a solution whose pH is known, mS/cm; an analysis need not balance.
/// # Errors
/// [`OutsideModel`], as for the solution itself.
pub fn ec25_at_ph_ms_cm(composition: &Composition, ph: f64) -> Result<f64, OutsideModel> {
    speciate(composition, Carbon::Closed, ph, 25.0).map(|solution| conductivity_ms_cm(&solution))
}

/// Onsager's two constants at one temperature.
struct Onsager {
    /// S cm² per equivalent and unit charge.
    electrophoresis: f64,
    relaxation: f64,
    /// Reciprocal radius of the ionic atmosphere at one mol/kg, 1/Å.
    per_angstrom: f64,
}

impl Onsager {
    /// 41.25 / (η √(εT)) with η in poise, and 8.204·10⁵ (εT)^-3/2 for a symmetrical electrolyte (Robinson and Stokes,
    /// equation 7.35): 30.3 and 0.230 at 25 °C.
    fn at(temperature_c: f64) -> Self {
        let product = water::permittivity_kelvin(temperature_c);
        let poise = water::viscosity_mpa_s(temperature_c) * 0.01;
        Self {
            electrophoresis: 41.25 / (poise * product.sqrt()),
            relaxation: 8.204e5 / product.powf(1.5),
            per_angstrom: DebyeHueckel::at(temperature_c).per_angstrom(),
        }
    }
}

/// Conductivity at infinite dilution, S cm² per equivalent. That of a pair is not measured: taken as of a sphere whose
/// volume is that of its two ions, a sphere's radius being as its charge over its mobility (Stokes).
fn limiting_s_cm2_eq(form: Form, temperature_c: f64) -> f64 {
    match form {
        Form::Single(ion) => ion.limiting_equivalent_conductivity(temperature_c),
        Form::Pair(cation, anion) => {
            let volume: f64 = [cation, anion]
                .map(|ion| f64::from(ion.charge) / ion.limiting_equivalent_conductivity(temperature_c))
                .iter()
                .map(|radius| radius.abs().powi(3))
                .sum();
            f64::from(form.charge()).abs() / volume.cbrt()
        }
    }
}
