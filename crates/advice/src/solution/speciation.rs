//! Which forms the totals of a solution take at a pH: protons given and taken, ions paired, activities corrected.

use super::activity::{DebyeHueckel, Shape};
use super::component::{Component, Composition};
use super::equilibria::{AcidStep, PAIRS, log_formation, log_henry_co2};
use super::ions::{HYDROXIDE, Ion, PROTON};

/// Above so many mol/kg the law of Debye and Hückel is not held to the waters and feeds it was checked with.
const MOST_IONIC_STRENGTH: f64 = 0.5;

/// The free ions are taken as found when a sweep changes none by more than this part…
const SETTLED: f64 = 1e-12;
/// …and, while the ionic strength still moves, than this part of its own.
const ROUGHLY: f64 = 1e-3;
/// No answer is given with free ions that may be further off.
const FINELY: f64 = 1e-9;

/// Sweeps after which a search is given up. From nothing, feeds took up to 28 of them, 0.4 mol/L of magnesium sulfate 130.
const MOST_SWEEPS: u32 = 2000;

/// Where a solution's inorganic carbon comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Carbon {
    /// Nothing goes in or out: the composition's total stands.
    Closed,
    /// As much as dissolves under air with so much carbon dioxide.
    OpenToAir {
        /// Parts per million by volume, at one atmosphere.
        co2_ppm: f64,
    },
}

/// Why the forms of a solution were not found.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
pub enum OutsideModel {
    /// More salt than the activity law is good for.
    #[error("an ionic strength of {mol_kg:.2} mol/kg is more than the model is good for")]
    TooConcentrated {
        /// Ionic strength, mol/kg.
        mol_kg: f64,
    },
    /// A total, temperature or pH that is no number or out of all range.
    #[error("totals must be numbers, the temperature between 0 and 50 °C, the pH between -1 and 15")]
    NoSuchSolution,
    /// Pairing and activity did not come to rest.
    #[error("the forms of the solution were not found")]
    NotSettled,
    /// No pH balances the charges.
    #[error("no pH balances the charges of the solution")]
    Unbalanced,
}

/// A form and how much of it there is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Species {
    /// What it is.
    pub form: Form,
    /// How much, mmol/L.
    pub mmol_l: f64,
}

/// An ion, a neutral form, or a pair of opposite ions.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Form {
    /// One of the forms of a component.
    Single(&'static Ion),
    /// Cation and anion that move as one.
    Pair(&'static Ion, &'static Ion),
}

impl Form {
    /// Signed charge.
    pub fn charge(self) -> i8 {
        match self {
            Form::Single(ion) => ion.charge,
            Form::Pair(cation, anion) => cation.charge + anion.charge,
        }
    }

    /// Ion size of the Debye–Hückel law, Å.
    pub(super) fn size_angstrom(self) -> f64 {
        self.shape().size_angstrom
    }

    fn shape(self) -> Shape {
        match self {
            Form::Single(ion) => ion.into(),
            // The size of pairs is seldom told: 5 Å, between their ions and those with their water; neutral as others.
            Form::Pair(..) => {
                let charge = self.charge();
                Shape { charge, size_angstrom: 5.0, linear_kg_mol: if charge == 0 { 0.1 } else { 0.0 } }
            }
        }
    }
}

/// A solution's forms at one pH and temperature.
#[derive(Debug, Clone, PartialEq)]
pub struct Speciation {
    /// pH, the activity of the proton.
    pub ph: f64,
    /// Temperature, °C.
    pub temperature_c: f64,
    /// Ionic strength of what is left unpaired, mol/kg.
    pub ionic_strength_mol_kg: f64,
    /// All forms, proton and hydroxide last.
    pub species: Vec<Species>,
}

impl Speciation {
    /// Positive charges less negative ones, meq/L. Nought when the pH is the solution's own.
    pub fn charge_meq_l(&self) -> f64 {
        self.species.iter().map(|species| f64::from(species.form.charge()) * species.mmol_l).sum()
    }

    /// All forms of a component together, mmol/L.
    pub fn total_mmol_l(&self, component: Component) -> f64 {
        let of_it = |ion: &Ion| ion.component == Some(component);
        let counts = |form| match form {
            Form::Single(ion) => of_it(ion),
            Form::Pair(cation, anion) => of_it(cation) || of_it(anion),
        };
        self.species.iter().filter(|species| counts(species.form)).map(|species| species.mmol_l).sum()
    }

    /// One form alone, unpaired, mmol/L.
    pub fn free_mmol_l(&self, name: &str) -> f64 {
        let is_it = |form| matches!(form, Form::Single(ion) if ion.name == name);
        self.species.iter().filter(|species| is_it(species.form)).map(|species| species.mmol_l).sum()
    }
}

/// The forms of a solution at a pH that is known, say from a meter. Charges need not balance: an analysis seldom does.
/// A litre is taken for a kilogram of water, which errs by less than 0.5 % below 0.1 mol/L.
/// # Errors
/// [`OutsideModel`] when the solution is too concentrated, or none at all.
pub fn speciate(
    composition: &Composition,
    carbon: Carbon,
    ph: f64,
    temperature_c: f64,
) -> Result<Speciation, OutsideModel> {
    let found = beyond_limits(composition, carbon, ph, temperature_c)?;
    match found.ionic_strength_mol_kg {
        mol_kg if mol_kg > MOST_IONIC_STRENGTH => Err(OutsideModel::TooConcentrated { mol_kg }),
        _ => Ok(found),
    }
}

/// The same also past the ionic strength to which the model is held: who looks for a pH passes such, where protons or
/// hydroxide alone are that many.
pub(super) fn beyond_limits(
    composition: &Composition,
    carbon: Carbon,
    ph: f64,
    temperature_c: f64,
) -> Result<Speciation, OutsideModel> {
    if !composition.is_finite() || !(0.0..=50.0).contains(&temperature_c) || !(-1.0..=15.0).contains(&ph) {
        return Err(OutsideModel::NoSuchSolution);
    }
    Tableau::new(composition, carbon, ph, temperature_c).settle()
}

/// One form of the tableau: its amount is its weight times the free reference ions it is made of.
struct Row {
    form: Form,
    /// Places of the reference ions in `Tableau::parts`; a single form has but one.
    of: (usize, Option<usize>),
    /// log₁₀ of its activity where the reference ions have activity one.
    log_made: f64,
    weight: f64,
}

/// A component of this solution.
struct Part {
    component: Component,
    reference: &'static Ion,
    total_mol_l: f64,
    free_mol_l: f64,
}

/// Components across, forms down (Morel's tableau). Cations pair with anions only, so that with the anions held each
/// cation follows from its own balance, and the other way round.
struct Tableau {
    parts: Vec<Part>,
    rows: Vec<Row>,
    law: DebyeHueckel,
    ph: f64,
    temperature_c: f64,
    /// Activity of dissolved carbon dioxide where the air holds it.
    co2_held: Option<f64>,
    /// Of each part, how much of all its forms there is for each free reference ion; as the last half sweep found it.
    per_free: Vec<f64>,
}

impl Tableau {
    fn new(composition: &Composition, carbon: Carbon, ph: f64, temperature_c: f64) -> Self {
        let co2_held = match carbon {
            Carbon::Closed => None,
            Carbon::OpenToAir { co2_ppm } => Some(10f64.powf(log_henry_co2(temperature_c)) * co2_ppm * 1e-6),
        };
        let here = |component: &Component| {
            composition.mmol_l(*component) > 0.0 || (co2_held.is_some() && *component == Component::Carbonate)
        };
        let parts: Vec<Part> = Component::ALL
            .into_iter()
            .filter(here)
            .filter_map(|component| {
                let total_mol_l = composition.mmol_l(component) * 1e-3;
                let reference = Ion::forms_of(component).next()?;
                Some(Part { component, reference, total_mol_l, free_mol_l: total_mol_l })
            })
            .collect();
        let mut tableau = Self {
            per_free: vec![0.0; parts.len()],
            parts,
            rows: Vec::new(),
            law: DebyeHueckel::at(temperature_c),
            ph,
            temperature_c,
            co2_held,
        };
        tableau.rows = tableau.singles().chain(tableau.pairs()).collect();
        tableau
    }

    fn singles(&self) -> impl Iterator<Item = Row> + '_ {
        self.parts.iter().enumerate().flat_map(move |(at, part)| {
            Ion::forms_of(part.component).map(move |ion| Row {
                form: Form::Single(ion),
                of: (at, None),
                log_made: self.log_form(part.component, ion.protons),
                weight: 0.0,
            })
        })
    }

    fn pairs(&self) -> impl Iterator<Item = Row> + '_ {
        let place = |component| self.parts.iter().position(|part| part.component == component);
        PAIRS.iter().filter_map(move |pair| {
            let (cation, anion) = (place(pair.cation)?, place(pair.anion)?);
            let with = Ion::forms_of(pair.anion).find(|ion| ion.protons == pair.protons)?;
            Some(Row {
                form: Form::Pair(self.parts[cation].reference, with),
                of: (cation, Some(anion)),
                log_made: pair.log_k(self.temperature_c) + self.log_form(pair.anion, pair.protons),
                weight: 0.0,
            })
        })
    }

    fn log_form(&self, component: Component, protons: i8) -> f64 {
        log_formation(component, protons, self.temperature_c) - f64::from(protons) * self.ph
    }

    /// Ionic strength and free ions in turn, until neither moves. Pairing lowers the ionic strength and a lower ionic
    /// strength asks for more pairing, by far less each time, so few rounds are enough: 22 were the most seen, 200 are an end.
    fn settle(mut self) -> Result<Speciation, OutsideModel> {
        let (mut strength, mut within) = (0.0, ROUGHLY);
        for _ in 0..200 {
            self.weigh(strength);
            self.balance(within)?;
            let next = self.ionic_strength(strength);
            if next > 4.0 * MOST_IONIC_STRENGTH {
                return Err(OutsideModel::TooConcentrated { mol_kg: next });
            }
            let rests = (next - strength).abs() <= SETTLED.max(1e-10 * next);
            if rests && within <= FINELY {
                return Ok(self.speciation(strength, next));
            }
            // As near as the ionic strength is worth.
            let moved = if rests { 0.0 } else { (next / strength - 1.0).abs() };
            within = (ROUGHLY * moved).clamp(SETTLED, ROUGHLY);
            strength = next;
        }
        Err(OutsideModel::NotSettled)
    }

    fn log_gamma(&self, ion: impl Into<Shape>, strength: f64) -> f64 {
        self.law.log_gamma(ion.into(), strength)
    }

    fn weigh(&mut self, strength: f64) {
        let references: Vec<f64> =
            self.parts.iter().map(|part| self.log_gamma(part.reference, strength)).collect();
        let law = self.law;
        for row in &mut self.rows {
            let made_of = references[row.of.0] + row.of.1.map_or(0.0, |anion| references[anion]);
            row.weight = 10f64.powf(row.log_made + made_of - law.log_gamma(row.form.shape(), strength));
        }
        if let Some(activity) = self.co2_held {
            self.hold_carbon(activity, strength);
        }
    }

    /// Under air it is not the total that stands but the dissolved gas, and all other forms of carbon follow it.
    fn hold_carbon(&mut self, activity: f64, strength: f64) {
        let Some(gas) = Ion::named("CO2") else { return };
        let dissolved = activity / 10f64.powf(self.log_gamma(gas, strength));
        let weight = self.rows.iter().find(|row| row.form == Form::Single(gas)).map(|row| row.weight);
        if let (Some(weight), Some(part)) =
            (weight, self.parts.iter_mut().find(|part| part.component == Component::Carbonate))
        {
            part.free_mol_l = dissolved / weight;
        }
    }

    /// Free reference ions for the weights as they stand. Started with all cations free, each half sweep can only err
    /// to the same side as before and by less (more free cations, fewer free anions, fewer free cations …), so the
    /// sweeps close in on the one solution, strong pairs slowest; started with none free they come from the other side. What
    /// an ionic strength before left lies between these, and is nearer.
    fn balance(&mut self, within: f64) -> Result<(), OutsideModel> {
        for _ in 0..MOST_SWEEPS {
            if self.sweep(false).max(self.sweep(true)) <= within {
                return Ok(());
            }
        }
        Err(OutsideModel::NotSettled)
    }

    /// Each cation (or each anion) from its total and the free ions of the other kind; the largest relative change.
    fn sweep(&mut self, cations: bool) -> f64 {
        self.per_free.fill(0.0);
        for row in &self.rows {
            match row.of {
                (single, None) => self.per_free[single] += row.weight,
                (cation, Some(anion)) if cations => {
                    self.per_free[cation] += row.weight * self.parts[anion].free_mol_l;
                }
                (cation, Some(anion)) => self.per_free[anion] += row.weight * self.parts[cation].free_mol_l,
            }
        }
        let mut moved: f64 = 0.0;
        for (part, per_free) in self.parts.iter_mut().zip(&self.per_free) {
            let held = self.co2_held.is_some() && part.component == Component::Carbonate;
            if part.component.is_cation() != cations || held {
                continue;
            }
            let free = part.total_mol_l / per_free;
            moved = moved.max((free / part.free_mol_l - 1.0).abs());
            part.free_mol_l = free;
        }
        moved
    }

    /// Of a form, mol/L, for the free ions as they stand.
    fn amount(&self, row: &Row) -> f64 {
        let (one, other) = row.of;
        row.weight * self.parts[one].free_mol_l * other.map_or(1.0, |anion| self.parts[anion].free_mol_l)
    }

    /// Of proton and hydroxide, mol/L, at an ionic strength.
    fn of_water(&self, strength: f64) -> [f64; 2] {
        let water = AcidStep::Water.pk(self.temperature_c);
        [
            10f64.powf(-self.ph - self.log_gamma(&PROTON, strength)),
            10f64.powf(self.ph - water - self.log_gamma(&HYDROXIDE, strength)),
        ]
    }

    /// mol/kg, of the forms as found at the ionic strength before.
    fn ionic_strength(&self, strength: f64) -> f64 {
        let squared = |row: &Row| f64::from(row.form.charge()).powi(2) * self.amount(row);
        let salts: f64 = self.rows.iter().map(squared).sum();
        0.5 * (salts + self.of_water(strength).iter().sum::<f64>())
    }

    fn speciation(&self, strength: f64, ionic_strength_mol_kg: f64) -> Speciation {
        let [proton, hydroxide] = self.of_water(strength);
        let species: Vec<Species> = self
            .rows
            .iter()
            .map(|row| (row.form, self.amount(row)))
            .chain([(Form::Single(&PROTON), proton), (Form::Single(&HYDROXIDE), hydroxide)])
            .map(|(form, mol_l)| Species { form, mmol_l: mol_l * 1e3 })
            .collect();
        Speciation { ph: self.ph, temperature_c: self.temperature_c, ionic_strength_mol_kg, species }
    }
}
