//! The ions and neutral forms that solutes take in water, and what each of them does to conductivity and activity.

use super::component::Component;
use super::substance::Substance;
use super::water;

/// One form of a component.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ion {
    /// Its formula without charge.
    pub name: &'static str,
    /// What it is a form of; none for the proton and hydroxide, which the water itself makes.
    pub component: Option<Component>,
    /// Protons more than the reference form of its component (NH₄⁺, the bare anion).
    pub protons: i8,
    /// Signed charge.
    pub charge: i8,
    /// Conductivity at infinite dilution and 25 °C, S cm² per equivalent.
    pub(super) conductivity_s_cm2_eq: f64,
    /// How its mobility follows the water's fluidity: λ(t) = λ(25) (η(25)/η(t))^exponent.
    pub(super) fluidity_exponent: f64,
    /// Ion size of the Debye–Hückel law, Å.
    pub(super) size_angstrom: f64,
    /// Linear term of the same law (Truesdell and Jones), kg/mol.
    pub(super) linear_kg_mol: f64,
}

/// Conductivities: CRC Handbook of Chemistry and Physics, table "Ionic conductivity and diffusion at infinite
/// dilution" (25 °C, per equivalent; calcium seen, the others from memory and within 1 % of Nernst–Einstein).
/// Exponents: slope of ln λ against ln η between 0 and 35 °C of the limiting conductivities in Robinson and Stokes,
/// Electrolyte Solutions (1959), Appendix 6.2 (from memory); 0.95 where that table has no series.
/// Sizes: Kielland, J. Am. Chem. Soc. 59, 1675 (1937). Sizes with a linear term: Truesdell and Jones, J. Res. US Geol.
/// Surv. 2, 233 (1974). A neutral form salts out by 0.1 I (Helgeson 1969, rounded).
pub(super) const IONS: [Ion; 38] = {
    use Component as C;
    [
        ion("K", C::Potassium, 0, 1, 73.48, 0.85, 3.5, 0.015),
        ion("Na", C::Sodium, 0, 1, 50.08, 0.93, 4.0, 0.075),
        ion("NH4", C::Ammonium, 0, 1, 73.5, 0.85, 2.5, 0.0),
        ion("NH3", C::Ammonium, -1, 0, 0.0, 0.0, 0.0, 0.1),
        ion("Ca", C::Calcium, 0, 2, 59.47, 0.95, 5.0, 0.165),
        ion("Mg", C::Magnesium, 0, 2, 53.0, 0.95, 5.5, 0.20),
        ion("Fe", C::Iron, 0, 2, 54.0, 0.95, 6.0, 0.0),
        ion("Mn", C::Manganese, 0, 2, 53.5, 0.95, 6.0, 0.0),
        ion("Zn", C::Zinc, 0, 2, 52.8, 0.95, 6.0, 0.0),
        ion("Cu", C::Copper, 0, 2, 53.6, 0.95, 6.0, 0.0),
        ion("Li", C::Lithium, 0, 1, 38.66, 0.96, 6.0, 0.0),
        ion("Ba", C::Barium, 0, 2, 63.6, 0.93, 5.0, 0.0),
        ion("NO3", C::Nitrate, 0, -1, 71.42, 0.83, 3.0, 0.0),
        ion("Cl", C::Chloride, 0, -1, 76.31, 0.885, 3.5, 0.015),
        ion("Br", C::Bromide, 0, -1, 78.1, 0.87, 3.0, 0.0),
        ion("F", C::Fluoride, 0, -1, 55.4, 0.9, 3.5, 0.0),
        ion("SO4", C::Sulfate, 0, -2, 80.0, 0.945, 5.0, -0.04),
        ion("HSO4", C::Sulfate, 1, -1, 52.0, 0.95, 4.5, 0.0),
        ion("PO4", C::Phosphate, 0, -3, 92.8, 0.95, 4.0, 0.0),
        ion("HPO4", C::Phosphate, 1, -2, 57.0, 0.95, 4.0, 0.0),
        ion("H2PO4", C::Phosphate, 2, -1, 36.0, 0.95, 4.5, 0.0),
        ion("H3PO4", C::Phosphate, 3, 0, 0.0, 0.0, 0.0, 0.1),
        ion("CO3", C::Carbonate, 0, -2, 69.3, 0.95, 5.4, 0.0),
        ion("HCO3", C::Carbonate, 1, -1, 44.5, 0.95, 5.4, 0.0),
        ion("CO2", C::Carbonate, 2, 0, 0.0, 0.0, 0.0, 0.1),
        ion("C6H5O7", C::Citrate, 0, -3, 70.2, 0.95, 5.0, 0.0),
        ion("HC6H5O7", C::Citrate, 1, -2, 45.0, 0.95, 4.5, 0.0),
        ion("H2C6H5O7", C::Citrate, 2, -1, 30.0, 0.95, 3.5, 0.0),
        ion("H3C6H5O7", C::Citrate, 3, 0, 0.0, 0.0, 0.0, 0.1),
        ion("CH3COO", C::Acetate, 0, -1, 40.9, 0.95, 4.5, 0.0),
        ion("CH3COOH", C::Acetate, 1, 0, 0.0, 0.0, 0.0, 0.1),
        ion("B(OH)4", C::Borate, 0, -1, 35.3, 0.95, 4.0, 0.0),
        ion("H3BO3", C::Borate, 1, 0, 0.0, 0.0, 0.0, 0.1),
        ion("H3SiO4", C::Silicate, 0, -1, 35.0, 0.95, 4.0, 0.0),
        ion("H4SiO4", C::Silicate, 1, 0, 0.0, 0.0, 0.0, 0.1),
        ion("MoO4", C::Molybdate, 0, -2, 74.5, 0.95, 4.5, 0.0),
        PROTON,
        HYDROXIDE,
    ]
};

/// The proton. Exponent as above: protons hop, and so gain less from a thinner water.
pub(super) const PROTON: Ion =
    Ion { component: None, ..ion("H", Component::Sulfate, 1, 1, 349.65, 0.62, 9.0, 0.0) };

/// Hydroxide.
pub(super) const HYDROXIDE: Ion =
    Ion { component: None, ..ion("OH", Component::Sulfate, -1, -1, 198.0, 0.74, 3.5, 0.0) };

/// Ionic strength of ions as they are declared, nothing paired, mol/kg: half the sum of amount times charge squared.
pub fn ionic_strength_unpaired<'a>(ions_mmol_l: impl IntoIterator<Item = (&'a Ion, f64)>) -> f64 {
    ions_mmol_l.into_iter().map(|(ion, mmol_l)| 0.5e-3 * mmol_l * f64::from(ion.charge).powi(2)).sum()
}

#[expect(clippy::too_many_arguments, reason = "the columns of a table")]
const fn ion(
    name: &'static str,
    component: Component,
    protons: i8,
    charge: i8,
    conductivity_s_cm2_eq: f64,
    fluidity_exponent: f64,
    size_angstrom: f64,
    linear_kg_mol: f64,
) -> Ion {
    Ion {
        name,
        component: Some(component),
        protons,
        charge,
        conductivity_s_cm2_eq,
        fluidity_exponent,
        size_angstrom,
        linear_kg_mol,
    }
}

impl Ion {
    /// The ion of a formula without charge.
    pub fn named(name: &str) -> Option<&'static Ion> {
        IONS.iter().find(|ion| ion.name == name)
    }

    /// Mass of one mol, g.
    pub fn molar_mass_g_mol(&self) -> f64 {
        Substance::read(self.name).map_or(0.0, |formula| formula.molar_mass_g_mol())
    }

    /// All of them.
    pub(super) fn all() -> impl Iterator<Item = &'static Ion> {
        IONS.iter()
    }

    /// Forms of one component, the reference form first.
    pub(super) fn forms_of(component: Component) -> impl Iterator<Item = &'static Ion> {
        IONS.iter().filter(move |ion| ion.component == Some(component))
    }

    /// Conductivity at infinite dilution, S cm² per equivalent.
    pub fn limiting_equivalent_conductivity(&self, temperature_c: f64) -> f64 {
        let fluidity = water::viscosity_mpa_s(25.0) / water::viscosity_mpa_s(temperature_c);
        self.conductivity_s_cm2_eq * fluidity.powf(self.fluidity_exponent)
    }

    /// Conductivity at infinite dilution, S cm² per mol.
    pub fn limiting_molar_conductivity(&self, temperature_c: f64) -> f64 {
        self.limiting_equivalent_conductivity(temperature_c) * f64::from(self.charge.unsigned_abs())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_first_form_of_each_component_is_its_reference() {
        for component in Component::ALL {
            let first = Ion::forms_of(component).next().unwrap();
            assert_eq!(first.protons, 0, "{component:?}");
            assert_eq!(first.charge > 0, component.is_cation(), "{component:?}");
            for form in Ion::forms_of(component) {
                assert_eq!(
                    form.charge - form.protons,
                    first.charge,
                    "{} is charged as its protons say",
                    form.name
                );
            }
        }
    }

    #[test]
    fn mobility_follows_the_water_as_measured() {
        // Robinson and Stokes (1959), Appendix 6.2: potassium and chloride at 0, 15 and 35 °C.
        for (name, temperature_c, measured) in [
            ("K", 0.0, 40.7),
            ("K", 15.0, 59.66),
            ("K", 35.0, 88.21),
            ("Cl", 15.0, 61.41),
            ("Cl", 35.0, 92.21),
        ] {
            let got = Ion::named(name).unwrap().limiting_equivalent_conductivity(temperature_c);
            assert!((got / measured - 1.0).abs() < 0.01, "{name} at {temperature_c}: {got}");
        }
    }
}
