//! Calculators: the chemistry put together for somebody who asks, without a tank.
//!
//! Each subject has a question, an answer with its figures, why they are so and what to beware of, and one function between
//! them. What cannot be answered is told by field, so that a person can mend it. The words for reasons and cautions are
//! chosen where they are told. To add a calculator: a module here, with what it says of its figures.

pub mod acid;
pub mod air;
mod elements;
pub mod meter;
pub mod solution;
pub mod unit;
mod water;

pub use elements::ElementAmount;

/// Why a figure of a solution is what it is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Reason {
    /// Conductivity is summed over the ions left unpaired; measured salts come out within so much.
    EcOfFreeIons {
        /// Per cent.
        within_percent: f64,
    },
    /// The pH is where charges balance, nothing going to or coming from the air.
    PhOfBalance,
    /// A label leaves out counter-ions: its declared ions alone give this, with counter-ions filled in more.
    LabelFilledUp {
        /// Conductivity of the declared ions alone, mS/cm.
        declared_ms_cm: f64,
        /// pH at which the forms were found.
        ph: f64,
    },
    /// Urea and chelated iron are counted as elements and do not conduct.
    DoesNotConduct,
    /// The water's alkalinity is taken for bicarbonate of calcium.
    AlkalinityOfCalcium,
    /// What of the water's conductivity is not accounted for is taken for sodium chloride.
    RestOfWater {
        /// How much of it, mmol/L.
        mmol_l: f64,
    },
    /// So much sodium or chloride was added to the analysis for its charges to balance.
    AnalysisBalanced {
        /// Charge added, meq/L.
        meq_l: f64,
    },
    /// The dose takes the water to its target while it keeps its carbon dioxide.
    DoseKeepsCarbon,
    /// A product is so strong, by its strength and this density.
    ProductStrength {
        /// mol/L.
        mol_l: f64,
        /// kg/L.
        density_kg_l: f64,
        /// Whether the density is the table's, not the label's.
        of_table: bool,
    },
    /// Left standing or bubbled under air with so much carbon dioxide, the water goes to another pH.
    AirTakesCarbon {
        /// Parts per million by volume.
        co2_ppm: f64,
    },
}

/// What to beware of with a solution, or with what goes into it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caution {
    /// Without a water, pure water was taken.
    PureWater,
    /// The water holds more than is declared, which the elements do not count.
    WaterNotDeclared,
    /// The water's ions conduct more than the water is said to.
    WaterConductsLess {
        /// Conductivity of its ions, mS/cm.
        of_ions_ms_cm: f64,
    },
    /// Charges of the analysis are so far apart that something large is missing or wrong in it.
    AnalysisOutOfBalance,
    /// A label does not tell the pH.
    NoPhOfLabels,
    /// Without the water's alkalinity nobody knows the pH.
    NoPhOfWater,
    /// Nitrogen of untold form was taken for nitrate.
    NitrogenUntold,
    /// Calcium and sulfate or phosphate fall out together where they are concentrated.
    CalciumApart,
    /// Nitrates feed fire while they are dry.
    NitratesFeedFire,
    /// An oxidiser feeds fire.
    Oxidiser,
    /// Burns skin and eyes; into water, never water into it.
    Burns,
    /// Never with a chlorine cleaner.
    NoChlorine,
    /// Label and safety data sheet first.
    LabelFirst,
    /// Give so much first, mix, measure, then the rest.
    InParts {
        /// mL.
        first_ml: f64,
    },
    /// Little alkalinity is left, so that the pH moves easily.
    LittleBuffer {
        /// meq/L.
        left_meq_l: f64,
    },
    /// The pH climbs as carbon dioxide leaves.
    ClimbsWithAir {
        /// Where to.
        ph: f64,
    },
    /// Bacteria eat citric acid, and the pH comes back.
    Eaten,
    /// What it adds counts in the recipe.
    CountsInRecipe,
}
