//! The analysis on a fertiliser's label, and what a dose of it gives.

pub use fillmark_domain::stock::Declared;
use fillmark_domain::stock::{self, LabelRevision};

use super::component::{Component, Composition};
use super::substance::Substance;

/// What per cent means on a label.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Basis {
    /// Mass by mass; of a liquid, its density makes volumes of it.
    MassByMass {
        /// Density, kg/L; a powder is dosed by mass and needs none.
        density_kg_l: Option<f64>,
    },
    /// Mass by volume, g in 100 mL.
    MassByVolume,
}

/// A label.
#[derive(Debug, Clone, PartialEq)]
pub struct Label {
    /// What its per cent means.
    pub basis: Basis,
    /// What it declares, %.
    pub analysis: Vec<(Declared, f64)>,
}

/// What a label leaves open.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotOnLabel {
    /// A liquid's per cent by mass without its density.
    #[error("per cent by mass says nothing of a volume without the density")]
    Density,
    /// A dose by mass of what is declared by volume.
    #[error("per cent by volume says nothing of a mass")]
    Mass,
}

/// A dose in a litre of water.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Dose {
    /// mL in a litre.
    MlPerL(f64),
    /// g in a litre.
    GramPerL(f64),
}

impl Label {
    /// The label as a revision has it; none where it declares nothing.
    pub fn of(revision: &LabelRevision) -> Option<Label> {
        let analysis = revision.analysis.as_ref()?;
        let basis = match analysis.basis {
            stock::Basis::WeightPerWeight => Basis::MassByMass { density_kg_l: revision.density_kg_per_l },
            stock::Basis::WeightPerVolume => Basis::MassByVolume,
        };
        Some(Label { basis, analysis: analysis.declared.clone() })
    }

    /// Grams of the product that a dose counts for, by the label's basis: each of them has its per cent.
    fn dose_g_l(&self, dose: Dose) -> Result<f64, NotOnLabel> {
        match (self.basis, dose) {
            (Basis::MassByMass { .. }, Dose::GramPerL(g_l)) => Ok(g_l),
            (Basis::MassByMass { density_kg_l: Some(density) }, Dose::MlPerL(ml_l)) => Ok(ml_l * density),
            (Basis::MassByMass { density_kg_l: None }, Dose::MlPerL(_)) => Err(NotOnLabel::Density),
            (Basis::MassByVolume, Dose::MlPerL(ml_l)) => Ok(ml_l),
            (Basis::MassByVolume, Dose::GramPerL(_)) => Err(NotOnLabel::Mass),
        }
    }

    /// An element that a dose gives, mg/L. The volume of the dose itself is not counted.
    /// # Errors
    /// [`NotOnLabel`] when the label does not fit the kind of dose.
    pub fn element_mg_l(&self, element: &str, dose: Dose) -> Result<f64, NotOnLabel> {
        let dose_g_l = self.dose_g_l(dose)?;
        let of_it = self.analysis.iter().filter(|(declared, _)| formula(*declared).1 == element);
        Ok(of_it
            .map(|(declared, percent)| {
                percent / 100.0
                    * element_in(*declared).map_or(0.0, |(fraction, _)| fraction)
                    * dose_g_l
                    * 1000.0
            })
            .sum())
    }

    /// The ions that a dose gives, mmol/L. Nitrogen of untold form is taken for nitrate, most of what feeds hold. A label is
    /// rounded and leaves out counter-ions, so the charges need not balance: look at it at a known pH.
    /// # Errors
    /// [`NotOnLabel`] when the label does not fit the kind of dose.
    pub fn composition(&self, dose: Dose) -> Result<Composition, NotOnLabel> {
        let dose_g_l = self.dose_g_l(dose)?;
        Ok(self.analysis.iter().fold(Composition::default(), |sum, (declared, percent)| {
            match (component(*declared), element_in(*declared)) {
                (Some(component), Some((fraction, g_mol))) => {
                    sum.with(component, percent / 100.0 * fraction * dose_g_l * 1000.0 / g_mol)
                }
                _ => sum,
            }
        }))
    }
}

/// Mass of a fertiliser for a volume of feed, g, from the wanted mg/L and the per cent of one element.
pub fn fertiliser_g(target_mg_l: f64, element_percent: f64, feed_l: f64) -> f64 {
    target_mg_l * feed_l / 1000.0 / (element_percent / 100.0)
}

/// What a mass of fertiliser gives a volume of feed, mg/L of one element.
pub fn element_mg_l(fertiliser_g: f64, element_percent: f64, feed_l: f64) -> f64 {
    fertiliser_g * 1000.0 * element_percent / 100.0 / feed_l
}

/// Mass of a fertiliser in a stock solution for an injector, g. `parts` is the feed made of one part of stock, so that
/// 1:100 makes 100 L of feed from one litre; a maker who means one part to 100 of water is off by one per cent.
pub fn stock_g(target_mg_l: f64, element_percent: f64, parts: f64, stock_l: f64) -> f64 {
    fertiliser_g(target_mg_l, element_percent, parts * stock_l)
}

/// The formula that a declared figure counts, and the element that is in it.
const fn formula(declared: Declared) -> (&'static str, &'static str) {
    use Declared as D;
    match declared {
        D::Nitrogen | D::NitrateNitrogen | D::AmmoniumNitrogen | D::UreaNitrogen => ("N", "N"),
        D::PhosphorusPentoxide => ("P2O5", "P"),
        D::Phosphorus => ("P", "P"),
        D::PotassiumOxide => ("K2O", "K"),
        D::Potassium => ("K", "K"),
        D::CalciumOxide => ("CaO", "Ca"),
        D::Calcium => ("Ca", "Ca"),
        D::MagnesiumOxide => ("MgO", "Mg"),
        D::Magnesium => ("Mg", "Mg"),
        D::SulfurTrioxide => ("SO3", "S"),
        D::Sulfur => ("S", "S"),
        D::Sodium => ("Na", "Na"),
        D::Chlorine => ("Cl", "Cl"),
        D::SiliconDioxide => ("SiO2", "Si"),
        D::Iron => ("Fe", "Fe"),
        D::Manganese => ("Mn", "Mn"),
        D::Zinc => ("Zn", "Zn"),
        D::Copper => ("Cu", "Cu"),
        D::Boron => ("B", "B"),
        D::Molybdenum => ("Mo", "Mo"),
    }
}

/// What a declared figure becomes in water; nothing for urea and for chelated iron.
const fn component(declared: Declared) -> Option<Component> {
    use Component as C;
    use Declared as D;
    match declared {
        D::Nitrogen | D::NitrateNitrogen => Some(C::Nitrate),
        D::AmmoniumNitrogen => Some(C::Ammonium),
        D::UreaNitrogen | D::Iron => None,
        D::PhosphorusPentoxide | D::Phosphorus => Some(C::Phosphate),
        D::PotassiumOxide | D::Potassium => Some(C::Potassium),
        D::CalciumOxide | D::Calcium => Some(C::Calcium),
        D::MagnesiumOxide | D::Magnesium => Some(C::Magnesium),
        D::SulfurTrioxide | D::Sulfur => Some(C::Sulfate),
        D::Sodium => Some(C::Sodium),
        D::Chlorine => Some(C::Chloride),
        D::SiliconDioxide => Some(C::Silicate),
        D::Manganese => Some(C::Manganese),
        D::Zinc => Some(C::Zinc),
        D::Copper => Some(C::Copper),
        D::Boron => Some(C::Borate),
        D::Molybdenum => Some(C::Molybdate),
    }
}

/// Mass of the element in a mass of what is declared, g/g, and the element's molar mass.
fn element_in(declared: Declared) -> Option<(f64, f64)> {
    let (formula, element) = formula(declared);
    let fraction = Substance::read(formula).ok()?.mass_fraction(element);
    Some((fraction, Substance::read(element).ok()?.molar_mass_g_mol()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_same_liquid_declared_either_way_gives_the_same() {
        let by_mass = Label {
            basis: Basis::MassByMass { density_kg_l: Some(1.2) },
            analysis: vec![(Declared::PhosphorusPentoxide, 5.0)],
        };
        let by_volume =
            Label { basis: Basis::MassByVolume, analysis: vec![(Declared::PhosphorusPentoxide, 6.0)] };
        let of = |label: &Label| label.element_mg_l("P", Dose::MlPerL(2.0)).unwrap();
        assert!((of(&by_mass) - of(&by_volume)).abs() < 1e-9);
    }

    #[test]
    fn what_a_label_cannot_tell_is_refused() {
        let powder = Label { basis: Basis::MassByMass { density_kg_l: None }, analysis: vec![] };
        assert_eq!(powder.element_mg_l("N", Dose::MlPerL(1.0)), Err(NotOnLabel::Density));
        let liquid = Label { basis: Basis::MassByVolume, analysis: vec![] };
        assert_eq!(liquid.composition(Dose::GramPerL(1.0)), Err(NotOnLabel::Mass));
    }

    #[test]
    fn a_label_becomes_ions() {
        // Calcium nitrate of trade, 14.3 % nitrate, 1.3 % ammonium, 18.5 % calcium: 5 Ca, 11 NO3 and 1 NH4 as in its formula.
        let label = Label {
            basis: Basis::MassByMass { density_kg_l: None },
            analysis: vec![
                (Declared::NitrateNitrogen, 14.26),
                (Declared::AmmoniumNitrogen, 1.296),
                (Declared::Calcium, 18.54),
            ],
        };
        let ions = label.composition(Dose::GramPerL(1.080_62)).unwrap();
        assert!((ions.mmol_l(Component::Calcium) - 5.0).abs() < 0.01);
        assert!((ions.mmol_l(Component::Nitrate) - 11.0).abs() < 0.01);
        assert!((ions.mmol_l(Component::Ammonium) - 1.0).abs() < 0.01);
    }

    #[test]
    fn urea_and_chelated_iron_do_not_conduct() {
        let label = Label {
            basis: Basis::MassByVolume,
            analysis: vec![(Declared::UreaNitrogen, 5.0), (Declared::Iron, 0.1)],
        };
        assert_eq!(label.composition(Dose::MlPerL(2.0)), Ok(Composition::default()));
        assert!((label.element_mg_l("Fe", Dose::MlPerL(2.0)).unwrap() - 2.0).abs() < 1e-9);
    }
}
