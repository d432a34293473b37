//! A fresh fill: how much water, how much of each product in which order, and what to expect after.
//!
//! The doses of the programme give the proportions, the EC aim fixes the amount. Where a product does not say what it
//! adds, the programme's strength stands, and the EC is found by measuring.

mod acid;
pub(super) mod told;

use fillmark_domain::entries::Expectation;
use fillmark_domain::stock::ProductId;

use super::component::{Component, Composition};
use super::learnt::Learnt;
use super::ph::{NoDose, water_of_alkalinity};
use super::reagents::{Chemistry as _, dose_mmol_l};
pub(super) use acid::{ACID_FIRST_PH, DROP, IntoTank};
pub use acid::{Acid, AcidDose};

/// Above this alkalinity, meq/L, acid goes into the water before anything else (common practice, no source): nutrients
/// would fall out of hard water.
const ACID_FIRST_MEQ_L: f64 = 2.0;

/// Proportions that have to be stretched or thinned by more than this do not look like a programme for this aim: our own
/// judgement, no source.
const USUAL_STRETCH: std::ops::RangeInclusive<f64> = 0.5..=1.5;

/// Of doses that add less than this together, mS/cm, no meter tells how much more the aim would take (our own judgement):
/// iron and urea are not poured by the EC.
pub(super) const LEAST_SHOWN_MS_CM: f64 = 0.05;

/// What a tank is filled with, and what for.
#[derive(Debug, Clone, PartialEq)]
pub struct FillAsked {
    /// Volume at the fill mark, L.
    pub litres: f64,
    /// The water.
    pub water: SourceWater,
    /// Total EC that is wanted, the water's included, mS/cm at 25 °C.
    pub ec_aim_ms_cm: f64,
    /// pH that is wanted at the end, where one is.
    pub ph_aim: Option<f64>,
    /// Products of the step at its strength.
    pub parts: Vec<Part>,
    /// EC that they add to a litre together, mS/cm; else the first of them of which nothing tells.
    pub rise: Result<Learnt, ProductId>,
    /// What the pH is lowered with, where one is at hand and its strength is known.
    pub acid: Option<Acid>,
    /// Of the water, °C.
    pub temperature_c: f64,
}

/// The water as analysed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SourceWater {
    /// mS/cm at 25 °C.
    pub ec_ms_cm: f64,
    /// How acid it is and how much acid it takes, where both are known.
    pub acidity: Option<Acidity>,
}

/// How acid water is, and how much acid it takes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Acidity {
    /// pH.
    pub ph: f64,
    /// Alkalinity, meq/L.
    pub alkalinity_meq_l: f64,
}

impl Acidity {
    /// Whether acid goes into it before anything else.
    pub(super) fn is_hard(self) -> bool {
        self.alkalinity_meq_l > ACID_FIRST_MEQ_L && self.ph > ACID_FIRST_PH
    }
}

/// A product of the step.
#[derive(Debug, Clone, PartialEq)]
pub struct Part {
    /// Which.
    pub product: ProductId,
    /// Lower first.
    pub mixing_rank: i16,
    /// mL or g for a litre, at the step's strength.
    pub per_litre: f64,
    /// Whether it is counted in mL, and so takes room.
    pub liquid: bool,
    /// Phosphate that one mL (or g) brings, mmol: it takes acid as the pH sinks.
    pub phosphate_mmol: f64,
    /// Alkalinity that one mL (or g) of a silicate brings, meq; nothing of anything else.
    pub alkalinity_meq: f64,
}

/// A fresh fill as advised.
#[derive(Debug, Clone, PartialEq)]
pub struct Fill {
    /// What to do, one after the other.
    pub steps: Vec<Step>,
    /// EC to expect after the doses, mS/cm; none where a product does not say what it adds.
    pub ec_expected: Option<Expectation>,
    /// Why it is so.
    pub reasons: Vec<Reason>,
}

/// One thing to do.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Step {
    /// Fill in so many litres of water; what is missing to the mark are the doses themselves.
    Water(f64),
    /// Pour in a product, and let it mix.
    Dose(FillDose),
    /// Pour acid in parts, and measure after each.
    Acid(AcidDose),
    /// Mix, and measure the EC.
    MeasureEc,
    /// Mix, and measure the pH.
    MeasurePh,
}

/// So much of a product.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct FillDose {
    /// Which.
    pub product: ProductId,
    /// mL or g into the tank.
    pub amount: f64,
}

/// Why a fill is advised as it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// The proportions were stretched (or thinned) by this factor to the aim.
    Stretched(f64),
    /// The programme's strength stands, since a product does not say what EC it adds.
    RiseUnknown(ProductId),
    /// The water alone has as much EC as is wanted, or more: nothing can be dosed into it.
    WaterAboveAim,
    /// This factor is far from 1: programme, labels and aim do not fit each other, and no more is told than half as much again as the
    /// programme says.
    FarFromProgramme(f64),
    /// The water is hard, and acid goes first.
    HardWater,
    /// There is no acid of known strength.
    NoAcid,
    /// This keeps chemistry from telling how much acid it takes.
    NoDose(NoDose),
    /// The products hardly add any EC, so the step's doses stand and the aim is not reached.
    NothingAddsEc,
    /// pH or alkalinity of the water are not known, so nothing is said of acid.
    WaterUnknown,
    /// The pH should come out above the water's, which is measured before a base is told.
    PhFromBelow,
    /// No record tells yet how the acid works in this water: the first part is small.
    AcidUntried,
    /// Acid is expected to bring so much of an element, mg/L, which counts in the recipe.
    AcidBrings(&'static str, f64),
}

/// Advises a fresh fill.
pub fn fill(asked: &FillAsked) -> Fill {
    let of_acid = Acidifying { asked, water_l: asked.litres, factor: 1.0 }.ec_of_first();
    let (factor, mut reasons) = factor(asked, of_acid);
    let mut parts = asked.parts.clone();
    parts.sort_by_key(|part| part.mixing_rank);
    let amount = |part: &Part| part.per_litre * factor * asked.litres;
    let liquid_l = parts.iter().filter(|part| part.liquid).map(amount).sum::<f64>() / 1000.0;
    let water_l = asked.litres - liquid_l;
    let acid = Acidifying { asked, water_l, factor }.advise(&mut reasons);
    let (silicates, others): (Vec<&Part>, Vec<&Part>) =
        parts.iter().filter(|part| amount(part) > 0.0).partition(|part| part.alkalinity_meq > 0.0);
    let dose = |part: &&Part| Step::Dose(FillDose { product: part.product, amount: amount(part) });
    let mut steps = vec![Step::Water(water_l)];
    steps.extend(silicates.iter().map(dose));
    steps.extend(acid.first.into_iter().flat_map(in_parts));
    steps.extend(others.iter().map(dose));
    steps.push(Step::MeasureEc);
    steps.extend(asked.ph_aim.map(|_| Step::MeasurePh));
    steps.extend(acid.after.into_iter().flat_map(in_parts));
    let ec_expected = ec_expected(asked, factor, water_l, of_acid);
    Fill { steps, ec_expected, reasons }
}

/// What is poured in parts is measured after each.
fn in_parts(dose: AcidDose) -> [Step; 2] {
    [Step::Acid(dose), Step::MeasurePh]
}

/// By which the proportions are multiplied so that the aim comes out: with water making room for liquid doses,
/// factor · Σ rise · dose + (1 − factor · Σ liquid) · EC of the water + EC of the acid before the nutrients = aim.
fn factor(asked: &FillAsked, of_acid: f64) -> (f64, Vec<Reason>) {
    let rise = match &asked.rise {
        Ok(rise) => rise.value,
        Err(product) => return (1.0, vec![Reason::RiseUnknown(*product)]),
    };
    let liquid =
        asked.parts.iter().filter(|part| part.liquid).map(|part| part.per_litre).sum::<f64>() / 1000.0;
    if asked.ec_aim_ms_cm <= asked.water.ec_ms_cm {
        return (0.0, vec![Reason::WaterAboveAim]);
    }
    let wanted = (asked.ec_aim_ms_cm - asked.water.ec_ms_cm - of_acid).max(0.0);
    let gained = rise - liquid * asked.water.ec_ms_cm;
    if gained < LEAST_SHOWN_MS_CM {
        return (1.0, vec![Reason::NothingAddsEc]);
    }
    let factor = wanted / gained;
    if USUAL_STRETCH.contains(&factor) {
        return (factor, vec![Reason::Stretched(factor)]);
    }
    // Too little is mended by measuring; too much is not.
    (factor.min(*USUAL_STRETCH.end()), vec![Reason::FarFromProgramme(factor)])
}

fn ec_expected(asked: &FillAsked, factor: f64, water_l: f64, of_acid: f64) -> Option<Expectation> {
    let rise = asked.rise.as_ref().ok()?;
    let with = |rise: f64| factor * rise + water_l * asked.water.ec_ms_cm / asked.litres + of_acid;
    Some(Expectation { value: with(rise.value), low: with(rise.low), high: with(rise.high) })
}

/// How much acid a fill takes, before the nutrients and after them.
struct Acidifying<'a> {
    asked: &'a FillAsked,
    water_l: f64,
    factor: f64,
}

#[derive(Default)]
struct Acids {
    first: Option<AcidDose>,
    after: Option<AcidDose>,
}

impl Acidifying<'_> {
    fn advise(&self, reasons: &mut Vec<Reason>) -> Acids {
        let Some(water) = self.asked.water.acidity else {
            reasons.push(Reason::WaterUnknown);
            return Acids::default();
        };
        let hard = self.with_silicates(water).is_hard();
        if hard {
            reasons.push(Reason::HardWater);
        }
        let to_lower = self.asked.ph_aim.is_some_and(|aim| aim < water.ph);
        if self.asked.ph_aim.is_some_and(|aim| aim > water.ph) {
            reasons.push(Reason::PhFromBelow);
        }
        if !hard && !to_lower {
            return Acids::default();
        }
        let Some(acid) = self.asked.acid else {
            reasons.push(Reason::NoAcid);
            return Acids::default();
        };
        self.doses(water, acid, hard)
            .unwrap_or_else(|no_dose| {
                reasons.push(Reason::NoDose(no_dose));
                Acids::default()
            })
            .telling(self, acid, reasons)
    }

    /// Before the nutrients the water alone resists, after them their phosphate too. The water's cation is taken for calcium,
    /// the likeliest, and phosphate for dihydrogen phosphate of potassium, as it stands in feeds.
    fn doses(&self, water: Acidity, acid: Acid, hard: bool) -> Result<Acids, NoDose> {
        let temperature_c = self.asked.temperature_c;
        let mut ions = self.water_and_silicates(water)?;
        let mut acids = Acids::default();
        if hard {
            let mmol_l = dose_mmol_l(&ions, acid.reagent, ACID_FIRST_PH, temperature_c)?;
            ions = ions.plus(&acid.reagent.per_mol(), mmol_l);
            acids.first = self.in_parts(acid, mmol_l, ACID_FIRST_PH);
        }
        let phosphate = self.brought(|part| part.phosphate_mmol);
        ions = ions.with(Component::Phosphate, phosphate).with(Component::Potassium, phosphate);
        if let Some(aim) = self.asked.ph_aim {
            acids.after = match dose_mmol_l(&ions, acid.reagent, aim, temperature_c) {
                Ok(mmol_l) => self.in_parts(acid, mmol_l, aim),
                // With the nutrients it is as acid already.
                Err(NoDose::NotReached { start, .. }) if start <= aim => None,
                Err(no_dose) => return Err(no_dose),
            };
        }
        Ok(acids)
    }

    /// EC that acid before the nutrients adds, mS/cm; nothing where none goes in or chemistry cannot tell.
    fn ec_of_first(&self) -> f64 {
        let of = || {
            let (water, acid) = (self.asked.water.acidity?, self.asked.acid?);
            let hard = self.with_silicates(water).is_hard();
            let dose = if hard { self.doses(water, acid, hard).ok()?.first } else { None };
            Some(acid.ec_ms_cm(dose?, self.asked.litres))
        };
        of().unwrap_or(0.0)
    }

    fn with_silicates(&self, water: Acidity) -> Acidity {
        let silicate_meq_l = self.brought(|part| part.alkalinity_meq);
        Acidity { alkalinity_meq_l: water.alkalinity_meq_l + silicate_meq_l, ..water }
    }

    fn water_and_silicates(&self, water: Acidity) -> Result<Composition, NoDose> {
        let of_water = water_of_alkalinity(
            water.alkalinity_meq_l,
            Component::Calcium,
            water.ph,
            self.asked.temperature_c,
        )?;
        Ok(of_water.with(Component::Sodium, self.brought(|part| part.alkalinity_meq)))
    }

    fn in_parts(&self, acid: Acid, mmol_l: f64, to_ph: f64) -> Option<AcidDose> {
        acid.in_parts(mmol_l * self.water_l, self.asked.litres, to_ph).pourable()
    }

    /// What the parts bring together into a litre.
    fn brought(&self, of_unit: impl Fn(&Part) -> f64) -> f64 {
        self.asked.parts.iter().map(|part| of_unit(part) * part.per_litre * self.factor).sum()
    }
}

impl Acids {
    /// With what the acid brings of an element that the recipe counts.
    fn telling(self, fill: &Acidifying<'_>, acid: Acid, reasons: &mut Vec<Reason>) -> Acids {
        let doses = || [self.first, self.after].into_iter().flatten();
        if acid.spread.is_none() && doses().any(|dose| dose.first < dose.expected) {
            reasons.push(Reason::AcidUntried);
        }
        let units: f64 = doses().map(|dose| dose.expected).sum();
        let mmol_l = units * acid.mmol_per_unit / fill.asked.litres;
        let counted = [
            ("N", Component::Nitrate, 14.007),
            ("P", Component::Phosphate, 30.974),
            ("S", Component::Sulfate, 32.06),
        ];
        let brings = acid.reagent.per_mol();
        let each = counted
            .into_iter()
            .map(|(element, component, g_mol)| (element, brings.mmol_l(component) * mmol_l * g_mol));
        reasons.extend(
            each.filter(|(_, mg_l)| *mg_l > 0.0).map(|(element, mg_l)| Reason::AcidBrings(element, mg_l)),
        );
        self
    }
}

#[cfg(test)]
mod tests;
