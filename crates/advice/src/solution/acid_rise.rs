//! What an acid or alkali adds to the EC of the tank it is poured into.

use fillmark_domain::stock::Reagent;

use super::component::{Component, Composition};
use super::conductivity::ec25_ms_cm;
use super::ph::water_of_alkalinity;
use super::reagents::Chemistry as _;
use super::speciation::OutsideModel;

/// So much of what it neutralises an acid or alkali meets, mmol/L, and so much of it is poured: of neither the rise hangs much.
const MET_MMOL_L: f64 = 1.0;
const POURED_MEQ_L: f64 = 0.2;

/// A feed of usual strength holds its ions back as so much potassium nitrate does, mmol/L.
const FEED_MMOL_L: f64 = 10.0;

/// What one mmol/L of a reagent adds to the EC of a feed, mS/cm at 25 °C. An acid takes the place of bicarbonate, and one whose
/// ion conducts less lowers the EC; an alkali makes hydrogen phosphate of dihydrogen phosphate.
/// # Errors
/// [`OutsideModel`], as for any solution.
pub fn ec_rise_ms_cm(reagent: Reagent) -> Result<f64, OutsideModel> {
    let met = match reagent.is_acid() {
        true => water_of_alkalinity(MET_MMOL_L, Component::Calcium, 7.0, 25.0)?,
        false => Composition::default()
            .with(Component::Phosphate, MET_MMOL_L)
            .with(Component::Potassium, MET_MMOL_L),
    };
    let feed = Composition::default()
        .with(Component::Potassium, FEED_MMOL_L)
        .with(Component::Nitrate, FEED_MMOL_L)
        .plus(&met, 1.0);
    let poured = POURED_MEQ_L / reagent.equivalents_per_mol();
    Ok((ec25_ms_cm(&feed.plus(&reagent.per_mol(), poured))? - ec25_ms_cm(&feed)?) / poured)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(reagent: Reagent, limiting: f64) {
        let got = 1000.0 * ec_rise_ms_cm(reagent).unwrap();
        let within = 0.2 * limiting.abs() + 3.0;
        assert!((got - limiting).abs() < within, "{reagent:?}: {got} beside {limiting} µS/cm");
    }

    /// By limiting equivalent conductivities of the CRC Handbook, from memory, S cm²/mol: bicarbonate 44.5, nitrate 71.4, chloride
    /// 76.3, dihydrogen phosphate 36, hydrogen phosphate 2 · 57, potassium 73.5. In a feed ions carry about a tenth less; sulfate
    /// is left out, which carries a third less and pairs.
    #[test]
    fn what_an_acid_adds_is_its_ion_for_the_bicarbonate_it_takes() {
        check(Reagent::Nitric, 71.4 - 44.5);
        check(Reagent::Hydrochloric, 76.3 - 44.5);
        check(Reagent::Phosphoric, 36.0 - 44.5);
        // Half of what it adds is hydrogen phosphate, which carries a third less.
        check(Reagent::PotassiumHydroxide, 73.5 + 2.0 * 57.0 * 0.67 - 36.0);
    }
}
