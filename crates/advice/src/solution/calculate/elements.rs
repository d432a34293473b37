//! What a solution holds of each element.

use crate::solution::component::{Component, Composition};
use crate::solution::label::{Dose, Label, NotOnLabel};
use crate::solution::substance::Substance;

/// So much of an element.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ElementAmount {
    /// Its symbol.
    pub element: &'static str,
    /// mg/L, which growers call ppm.
    pub mg_l: f64,
}

/// What plants and waters are looked at for, in the order of labels.
const ELEMENTS: [&str; 15] =
    ["N", "P", "K", "Ca", "Mg", "S", "Na", "Cl", "Si", "Fe", "Mn", "Zn", "Cu", "B", "Mo"];

/// The element of a component; none of carbon, which no recipe counts, nor of what is no nutrient.
const fn element_of(component: Component) -> Option<&'static str> {
    use Component as C;
    match component {
        C::Nitrate | C::Ammonium => Some("N"),
        C::Phosphate => Some("P"),
        C::Potassium => Some("K"),
        C::Calcium => Some("Ca"),
        C::Magnesium => Some("Mg"),
        C::Sulfate => Some("S"),
        C::Sodium => Some("Na"),
        C::Chloride => Some("Cl"),
        C::Silicate => Some("Si"),
        C::Iron => Some("Fe"),
        C::Manganese => Some("Mn"),
        C::Zinc => Some("Zn"),
        C::Copper => Some("Cu"),
        C::Borate => Some("B"),
        C::Molybdate => Some("Mo"),
        C::Lithium | C::Barium | C::Bromide | C::Fluoride | C::Carbonate | C::Citrate | C::Acetate => None,
    }
}

fn of_composition(composition: &Composition, element: &str) -> f64 {
    let g_mol = Substance::read(element).map_or(0.0, |substance| substance.molar_mass_g_mol());
    let of_it = composition.present().filter(|(component, _)| element_of(*component) == Some(element));
    of_it.map(|(_, mmol_l)| mmol_l * g_mol).sum()
}

/// The elements of ions, and of labels beside them: of a label also what goes in as no ion.
pub(super) fn amounts(
    ions: &Composition,
    labels: &[(&Label, Dose)],
) -> Result<Vec<ElementAmount>, NotOnLabel> {
    let mut amounts = Vec::new();
    for element in ELEMENTS {
        let of_labels = labels.iter().try_fold(0.0, |sum, (label, dose)| {
            Ok::<_, NotOnLabel>(sum + label.element_mg_l(element, *dose)?)
        })?;
        let mg_l = of_composition(ions, element) + of_labels;
        if mg_l > 0.0 {
            amounts.push(ElementAmount { element, mg_l });
        }
    }
    Ok(amounts)
}

/// The elements of ions alone.
pub(super) fn amounts_of_ions(ions: &Composition) -> Vec<ElementAmount> {
    amounts(ions, &[]).unwrap_or_default()
}
