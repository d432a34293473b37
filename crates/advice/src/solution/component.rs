//! What a solution is counted in: one total a component, whatever forms it takes in the water.

use super::ions::Ion;

/// A component of solutions: an element or group whose total no reaction in the water changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Component {
    /// Potassium.
    Potassium,
    /// Sodium.
    Sodium,
    /// Ammonium and ammonia.
    Ammonium,
    /// Calcium.
    Calcium,
    /// Magnesium.
    Magnesium,
    /// Iron, as free Fe²⁺; chelated iron conducts little and is left to the caller.
    Iron,
    /// Manganese.
    Manganese,
    /// Zinc.
    Zinc,
    /// Copper.
    Copper,
    /// Lithium.
    Lithium,
    /// Barium.
    Barium,
    /// Nitrate.
    Nitrate,
    /// Chloride.
    Chloride,
    /// Bromide.
    Bromide,
    /// Fluoride.
    Fluoride,
    /// Sulfate.
    Sulfate,
    /// Orthophosphate.
    Phosphate,
    /// Inorganic carbon.
    Carbonate,
    /// Citrate.
    Citrate,
    /// Acetate.
    Acetate,
    /// Boric acid and borate.
    Borate,
    /// Silicic acid and silicate.
    Silicate,
    /// Molybdate.
    Molybdate,
}

/// How many components there are; their discriminants count from 0.
pub(super) const COMPONENTS: usize = Component::Molybdate as usize + 1;

impl Component {
    /// All of them, in the order of their discriminants.
    pub const ALL: [Component; COMPONENTS] = {
        use Component as C;
        [
            C::Potassium,
            C::Sodium,
            C::Ammonium,
            C::Calcium,
            C::Magnesium,
            C::Iron,
            C::Manganese,
            C::Zinc,
            C::Copper,
            C::Lithium,
            C::Barium,
            C::Nitrate,
            C::Chloride,
            C::Bromide,
            C::Fluoride,
            C::Sulfate,
            C::Phosphate,
            C::Carbonate,
            C::Citrate,
            C::Acetate,
            C::Borate,
            C::Silicate,
            C::Molybdate,
        ]
    };

    /// Whether its reference ion is positive; only opposites pair.
    pub(super) fn is_cation(self) -> bool {
        (self as usize) < Component::Nitrate as usize
    }

    /// Charge of its reference ion.
    pub(super) fn reference_charge(self) -> i8 {
        Ion::forms_of(self).next().map_or(0, |ion| ion.charge)
    }
}

/// The totals of a solution, mmol/L. Protons and hydroxide are not counted: the charges of the others leave
/// room for just so many.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct Composition {
    mmol_l: [f64; COMPONENTS],
}

impl Composition {
    /// The total of a component.
    pub fn mmol_l(&self, component: Component) -> f64 {
        self.mmol_l[component as usize]
    }

    /// The same with so much more of a component; never less than none of it.
    #[must_use]
    pub fn with(mut self, component: Component, more_mmol_l: f64) -> Self {
        let total = &mut self.mmol_l[component as usize];
        *total = not_less_than_none(*total + more_mmol_l);
        self
    }

    /// The same with another solute's totals added, so many times.
    #[must_use]
    pub fn plus(mut self, other: &Composition, times: f64) -> Self {
        for (total, more) in self.mmol_l.iter_mut().zip(other.mmol_l) {
            *total = not_less_than_none(*total + more * times);
        }
        self
    }

    /// The same, diluted with pure water to so many times the volume.
    #[must_use]
    pub fn diluted(mut self, times: f64) -> Self {
        self.mmol_l.iter_mut().for_each(|total| *total /= times);
        self
    }

    /// Whether all totals are numbers.
    pub(super) fn is_finite(&self) -> bool {
        self.mmol_l.iter().all(|total| total.is_finite())
    }

    /// Components of which there is some, with their totals.
    pub fn present(&self) -> impl Iterator<Item = (Component, f64)> + '_ {
        Component::ALL
            .into_iter()
            .map(|component| (component, self.mmol_l(component)))
            .filter(|(_, total)| *total > 0.0)
    }
}

/// What is no number stays none: `f64::max` would make nought of it.
fn not_less_than_none(total: f64) -> f64 {
    if total < 0.0 { 0.0 } else { total }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_component_stands_at_its_own_place() {
        for (at, component) in Component::ALL.into_iter().enumerate() {
            assert_eq!(component as usize, at);
        }
    }

    #[test]
    fn taking_out_more_than_there_is_leaves_none() {
        let water = Composition::default().with(Component::Calcium, 1.0).with(Component::Calcium, -3.0);
        assert_eq!(water.mmol_l(Component::Calcium), 0.0);
    }
}
