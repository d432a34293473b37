//! Acids and bases as they are sold, and what of them takes a pH to its target.

use fillmark_domain::Base;
pub use fillmark_domain::stock::Reagent;
use fillmark_domain::stock::{AcidStrength, LabelRevision};

use super::component::{Component, Composition};
use super::interpolate::cubic;
use super::ph::{NoDose, dose_to_ph};

/// Density at 20 °C by mass per cent, kg/L.
type Densities = &'static [(f64, f64)];

/// What chemistry knows of a reagent.
pub trait Chemistry {
    /// Its formula.
    fn formula(self) -> &'static str;

    /// Protons that one mol gives (or takes) when alkalinity is neutralised by stoichiometry. Of phosphoric acid only the
    /// first is strong enough; how much any gives at a target is for [`dose_mmol_l`].
    fn equivalents_per_mol(self) -> f64;

    /// Density at 20 °C of a solution of so much by mass, kg/L; none where the tables end.
    fn density_kg_l(self, mass_percent: f64) -> Option<f64>;

    /// Mass of one mol, g.
    fn molar_mass_g_mol(self) -> f64;

    /// What one mmol/L of it gives a solution, mmol/L.
    fn per_mol(self) -> Composition;

    /// How strong a product is, mol/L, from its mass per cent and density.
    fn mol_l(self, mass_percent: f64, density_kg_l: f64) -> f64;
}

impl Chemistry for Reagent {
    fn formula(self) -> &'static str {
        match self {
            Reagent::Phosphoric => "H3PO4",
            Reagent::Nitric => "HNO3",
            Reagent::Sulfuric => "H2SO4",
            Reagent::Hydrochloric => "HCl",
            Reagent::Citric => "H3C6H5O7",
            Reagent::PotassiumHydroxide => "KOH",
            Reagent::PotassiumCarbonate => "K2CO3",
            Reagent::PotassiumBicarbonate => "KHCO3",
        }
    }

    fn equivalents_per_mol(self) -> f64 {
        match self {
            Reagent::Phosphoric
            | Reagent::Nitric
            | Reagent::Hydrochloric
            | Reagent::PotassiumHydroxide
            | Reagent::PotassiumBicarbonate => 1.0,
            Reagent::Sulfuric | Reagent::PotassiumCarbonate => 2.0,
            Reagent::Citric => 3.0,
        }
    }

    fn density_kg_l(self, mass_percent: f64) -> Option<f64> {
        cubic(densities(self), mass_percent, 0.0)
    }

    fn molar_mass_g_mol(self) -> f64 {
        match self {
            Reagent::Phosphoric => 97.994,
            Reagent::Nitric => 63.012,
            Reagent::Sulfuric => 98.072,
            Reagent::Hydrochloric => 36.458,
            Reagent::Citric => 192.123,
            Reagent::PotassiumHydroxide => 56.105,
            Reagent::PotassiumCarbonate => 138.204,
            Reagent::PotassiumBicarbonate => 100.114,
        }
    }

    fn per_mol(self) -> Composition {
        use Component as C;
        let of = |component| Composition::default().with(component, 1.0);
        match self {
            Reagent::Phosphoric => of(C::Phosphate),
            Reagent::Nitric => of(C::Nitrate),
            Reagent::Sulfuric => of(C::Sulfate),
            Reagent::Hydrochloric => of(C::Chloride),
            Reagent::Citric => of(C::Citrate),
            Reagent::PotassiumHydroxide => of(C::Potassium),
            Reagent::PotassiumCarbonate => of(C::Carbonate).with(C::Potassium, 2.0),
            Reagent::PotassiumBicarbonate => of(C::Carbonate).with(C::Potassium, 1.0),
        }
    }

    fn mol_l(self, mass_percent: f64, density_kg_l: f64) -> f64 {
        10.0 * mass_percent * density_kg_l / self.molar_mass_g_mol()
    }
}

/// CRC Handbook, "Concentrative properties of aqueous solutions", and Perry's Chemical Engineers' Handbook for the two
/// bases (hydroxide at 15 °C); from memory. Tables differ by 0.5 %.
const fn densities(reagent: Reagent) -> Densities {
    match reagent {
        Reagent::Phosphoric => &[
            (0.0, 0.998),
            (10.0, 1.053),
            (20.0, 1.113),
            (30.0, 1.181),
            (40.0, 1.254),
            (50.0, 1.335),
            (60.0, 1.426),
            (70.0, 1.526),
            (75.0, 1.579),
            (80.0, 1.633),
            (85.0, 1.687),
        ],
        Reagent::Nitric => &[
            (0.0, 0.998),
            (10.0, 1.054),
            (20.0, 1.115),
            (30.0, 1.180),
            (40.0, 1.246),
            (50.0, 1.310),
            (60.0, 1.367),
            (70.0, 1.413),
        ],
        Reagent::Sulfuric => &[
            (0.0, 0.998),
            (10.0, 1.066),
            (20.0, 1.139),
            (30.0, 1.219),
            (40.0, 1.303),
            (50.0, 1.395),
            (60.0, 1.498),
            (70.0, 1.611),
            (80.0, 1.727),
            (90.0, 1.814),
            (94.0, 1.831),
            (98.0, 1.836),
        ],
        Reagent::Hydrochloric => &[(0.0, 0.998), (10.0, 1.047), (20.0, 1.098), (30.0, 1.149), (38.0, 1.189)],
        Reagent::Citric => {
            &[(0.0, 0.998), (10.0, 1.039), (20.0, 1.081), (30.0, 1.125), (40.0, 1.171), (50.0, 1.220)]
        }
        Reagent::PotassiumHydroxide => {
            &[(0.0, 0.999), (10.0, 1.092), (20.0, 1.188), (30.0, 1.291), (40.0, 1.399), (50.0, 1.514)]
        }
        Reagent::PotassiumCarbonate => {
            &[(0.0, 0.998), (10.0, 1.090), (20.0, 1.190), (30.0, 1.298), (40.0, 1.414), (50.0, 1.540)]
        }
        Reagent::PotassiumBicarbonate => &[(0.0, 0.998), (10.0, 1.065), (20.0, 1.137)],
    }
}

/// How strong a product is, mmol in a mL of a liquid or in a g of a solid (which is mol/L, or mol/kg), where its label tells which
/// reagent it is and how strong.
pub fn mmol_per_unit(label: &LabelRevision, base: Base) -> Option<f64> {
    let reagent = label.reagent?;
    match (label.strength?, base) {
        (AcidStrength::MolPerLitre(mol_l), Base::Volume) => Some(mol_l),
        (AcidStrength::MolPerLitre(_), Base::Mass) => None,
        (AcidStrength::PercentByWeight(percent), Base::Volume) => {
            let density = label.density_kg_per_l.or_else(|| reagent.density_kg_l(percent))?;
            Some(reagent.mol_l(percent, density))
        }
        (AcidStrength::PercentByWeight(percent), Base::Mass) => {
            Some(10.0 * percent / reagent.molar_mass_g_mol())
        }
    }
}

/// How much of a reagent takes a solution from its own pH to a target, mmol/L; the solution keeps its carbon dioxide.
/// # Errors
/// [`NoDose`] when the reagent works the other way or is too weak.
pub fn dose_mmol_l(
    composition: &Composition,
    reagent: Reagent,
    target_ph: f64,
    temperature_c: f64,
) -> Result<f64, NoDose> {
    dose_to_ph(composition, &reagent.per_mol(), target_ph, temperature_c)
}

/// Where nothing but chemistry tells of a water, a first step is at most this part of the dose: tests of alkalinity by drops
/// count in steps of about a tenth, and a pH that is passed has to be brought back with the opposite. Common practice, no
/// source.
pub(super) const FIRST_PART: f64 = 0.6;

/// A first step into a tank is at most so many meq a litre besides (common practice, no source).
pub(super) const FIRST_MEQ_L: f64 = 0.2;

/// Volume of a product that gives a dose to a volume of water, mL.
pub fn volume_ml(dose_mmol_l: f64, water_l: f64, product_mol_l: f64) -> f64 {
    dose_mmol_l * water_l / product_mol_l
}

/// Volume of a product whose equivalents are as many as so much alkalinity in a volume of water, mL. Leads below pH 5:
/// where some alkalinity shall stay, ask [`dose_mmol_l`].
pub fn neutralising_ml(
    alkalinity_meq_l: f64,
    water_l: f64,
    product_mol_l: f64,
    equivalents_per_mol: f64,
) -> f64 {
    volume_ml(alkalinity_meq_l / equivalents_per_mol, water_l, product_mol_l)
}

#[cfg(test)]
mod tests {
    use fillmark_domain::{Coded, Id};

    use super::*;
    use crate::solution::salts::Salt;

    /// By hand: a gram of citric acid of 99.5 % is 995 mg of 192.123 mg/mmol.
    #[test]
    fn a_solid_is_as_strong_as_it_is_pure() {
        let label = |strength| LabelRevision {
            product: Id::new(uuid::Uuid::nil()),
            effective_at: chrono::DateTime::UNIX_EPOCH,
            analysis: None,
            density_kg_per_l: None,
            reagent: Some(Reagent::Citric),
            strength: Some(strength),
            full_strength_per_l: None,
            ec_rise_per_unit_per_l: None,
        };
        let pure = mmol_per_unit(&label(AcidStrength::PercentByWeight(99.5)), Base::Mass).unwrap();
        assert!((pure - 995.0 / 192.123).abs() < 1e-9, "{pure}");
        assert_eq!(
            mmol_per_unit(&label(AcidStrength::MolPerLitre(2.0)), Base::Mass),
            None,
            "it has no litres"
        );
        assert_eq!(mmol_per_unit(&label(AcidStrength::MolPerLitre(2.0)), Base::Volume), Some(2.0));
    }

    #[track_caller]
    fn check(reagent: Reagent, mass_percent: f64, mol_l: f64) {
        let density = reagent.density_kg_l(mass_percent).unwrap();
        let got = reagent.mol_l(mass_percent, density);
        assert!((got / mol_l - 1.0).abs() < 0.01, "{reagent:?} {mass_percent} %: {got}");
    }

    #[test]
    fn products_are_as_strong_as_reagent_tables_say() {
        check(Reagent::Phosphoric, 85.0, 14.6);
        check(Reagent::Nitric, 60.0, 13.0);
        check(Reagent::Sulfuric, 35.0, 4.496);
        check(Reagent::Sulfuric, 96.0, 18.0);
        check(Reagent::Hydrochloric, 37.0, 12.0);
        check(Reagent::PotassiumHydroxide, 45.0, 11.7);
        assert_eq!(Reagent::Nitric.density_kg_l(99.0), None);
    }

    #[test]
    fn every_reagent_is_what_its_formula_says() {
        for reagent in Reagent::all().iter().copied() {
            let salt = Salt::read(reagent.formula()).unwrap();
            assert_eq!(reagent.per_mol(), salt.per_mol, "{reagent:?}");
            assert!((reagent.molar_mass_g_mol() - salt.molar_mass_g_mol).abs() < 0.002, "{reagent:?}");
        }
    }
}
