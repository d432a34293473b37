//! Correcting a tank from its latest readings: first the EC, then, mixed and measured again, the pH.
//!
//! EC times litres stands for salt, as in [`super::tank`]. The aim is that of the state afterwards: at the mark where the tank
//! is topped up too, else with what is poured on top of what stands there.

mod ec;
mod told;

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::{BandThen, Expectation, Meter};
use fillmark_domain::stock::ProductId;

use super::fill::{self, ACID_FIRST_PH, Acid, AcidDose, FillDose, IntoTank, Part, SourceWater};
use super::learnt::Learnt;
use super::record::{Litres, MIXING};
use super::titration::Titration;
use super::turnover::EarlyChange;

/// A tank does not read less than this part of what its water conducts (our own judgement).
const LEAST_OF_WATER: f64 = 0.7;

/// A tank takes this part of its working volume above its mark (common practice, no source).
pub const ABOVE_MARK: f64 = 0.05;

/// A tank, and what it should be.
#[derive(Debug, Clone, PartialEq)]
pub struct CorrectAsked {
    /// Volume at the fill mark, L.
    pub fill_mark_l: f64,
    /// How much stands in it.
    pub litres: Litres,
    /// How much more than stands in it the tank takes, above the mark if need be, L.
    pub room_l: f64,
    /// The latest EC, mS/cm at 25 °C.
    pub ec: Option<Shown>,
    /// The latest pH.
    pub ph: Option<Shown>,
    /// When something was poured, filled in or changed last.
    pub stirred_at: Option<DateTime<Utc>>,
    /// The water that it is filled up with.
    pub water: SourceWater,
    /// Its temperature, °C.
    pub water_c: f64,
    /// What the pH is lowered with, where one is at hand and its strength is known.
    pub acid: Option<Acid>,
    /// How a feed made with the water takes that acid; none where it cannot be told.
    pub titration: Option<Titration>,
    /// What the EC should be.
    pub ec_band: BandThen,
    /// What the pH should be, where a band is in force.
    pub ph_band: Option<BandThen>,
    /// Products of the step at its strength.
    pub parts: Vec<Part>,
    /// EC that they add to a litre together, mS/cm; else the first of them of which nothing tells.
    pub rise: Result<Learnt, ProductId>,
    /// Whether it is filled to the mark at the same time.
    pub topping_up: bool,
    /// Strength of a top-up by the programme over that of the step.
    pub top_up_share: f64,
    /// Why it should be changed rather than corrected.
    pub early: Vec<EarlyChange>,
}

/// What a meter showed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Shown {
    /// In the metric's canonical unit.
    pub value: f64,
    /// When.
    pub at: DateTime<Utc>,
    /// Which meter, where known.
    pub meter: Option<Id<Meter>>,
}

/// A correction as advised.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// What to do about the EC.
    pub ec: EcAdvice,
    /// Acid for hard water, and for what stands in the tank where it is above its band; before the doses.
    pub acid: Option<AcidDose>,
    /// EC to expect after that, where it can be told.
    pub ec_expected: Option<Expectation>,
    /// What to do about the pH.
    pub ph: PhAdvice,
    /// Why it is so.
    pub reasons: Vec<Reason>,
}

/// What to do about the EC.
#[derive(Debug, Clone, PartialEq)]
pub enum EcAdvice {
    /// It is right, or will be with so much water to the mark.
    Leave {
        /// L to the mark; nought where it is not topped up.
        water_l: f64,
    },
    /// Right as it is: what is filled up is dosed as the programme has top-ups.
    TopUp {
        /// The doses in the order they go in.
        doses: Vec<FillDose>,
        /// Water to the mark, L; the doses' own volume is not in it.
        water_l: f64,
    },
    /// Pour in the order given.
    Strengthen {
        /// The doses in the order they go in.
        doses: Vec<FillDose>,
        /// Water to the mark, L; the doses' own volume is not in it.
        water_l: f64,
    },
    /// Drain, then fill in water.
    Dilute {
        /// To drain, L; nought where there is room.
        drain_l: f64,
        /// To fill in, L.
        water_l: f64,
    },
    /// Too weak, and a product does not say what it adds: small steps, each mixed and measured.
    SmallSteps,
    /// Change it instead.
    FreshFill,
    /// This water cannot bring it down.
    OutOfReach,
    /// There is no reading since the tank was stirred and had time to mix.
    Measure,
}

/// What to do about the pH.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhAdvice {
    /// It is right, or nobody says what it should be.
    Leave,
    /// Bring it down, in steps.
    Lower,
    /// Bring it up, in steps.
    Raise,
    /// Measure it, after what is advised for the EC has mixed.
    Measure,
}

/// Why a correction is advised as it is.
#[derive(Debug, Clone, PartialEq)]
pub enum Reason {
    /// The EC is within its band.
    InBand(Undosed),
    /// It is below it.
    Weak(Undosed),
    /// It is above it.
    Strong(Undosed),
    /// What is not known of tank and products may carry the EC past the band: a part is told, to mix and to measure.
    MayPassBand,
    /// Nothing stands in the tank.
    Empty,
    /// A meter that shows less than the water alone conducts is dry, off or out.
    BelowWater(f64),
    /// So many times the programme's doses would be needed: programme, labels and aim do not fit each other, and no more is
    /// told than the programme's doses are.
    FarFromProgramme(f64),
    /// A product does not say what EC it adds.
    RiseUnknown(ProductId),
    /// No product adds enough EC to reach the aim.
    NothingAddsEc,
    /// The doses need more room than there is.
    NoRoom {
        /// L that they need.
        needed_l: f64,
        /// L that there are.
        room_l: f64,
    },
    /// So great a part would have to be replaced.
    MostOfIt(f64),
    /// The water alone has as much EC as is wanted, or more.
    WaterAboveAim,
    /// The tank should be changed before its day.
    Early(EarlyChange),
    /// The water that is filled in is hard, and acid goes in with it.
    HardWater,
    /// What there is to say of the water that is filled in, as of a fresh fill.
    OfWater(fill::Reason),
}

/// The EC that a tank has before any dose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Undosed {
    /// As it stands, mS/cm.
    Standing(f64),
    /// Once it is filled to its mark with water alone, mS/cm.
    FilledUp(f64),
    /// Once acid, with water to the mark or without, has gone in, mS/cm.
    WithAcid(f64),
}

/// Advises a correction.
pub fn correct(asked: &CorrectAsked) -> Correction {
    let made = of_ec(asked, 0.0);
    let dose = match asked.acid_beside(&made.ec) {
        Ok(None) => return made,
        Ok(Some(dose)) => dose,
        Err(reason) => return made.because(Reason::OfWater(reason)),
    };
    // What the acid adds need not be dosed.
    let again = of_ec(asked, asked.salt_of(dose));
    let untried = asked.acid.is_some_and(|acid| acid.spread.is_none());
    match asked.acid_beside(&again.ec) {
        Ok(Some(dose)) => again.with_acid(dose, untried),
        // With the acid counted nothing would be poured that it goes in with: it goes in with what is poured without.
        Ok(None) | Err(_) => Correction { ec_expected: None, ..made.with_acid(dose, untried) },
    }
}

/// What to do about the EC of a tank that acid adds so much salt to, mS/cm times L.
fn of_ec(asked: &CorrectAsked, acid_salt: f64) -> Correction {
    if !asked.early.is_empty() {
        let reasons = asked.early.iter().cloned().map(Reason::Early).collect();
        return Correction::without_figure(EcAdvice::FreshFill, reasons);
    }
    let Some(ec) = asked.mixed(asked.ec) else {
        return Correction::without_figure(EcAdvice::Measure, Vec::new());
    };
    if asked.litres.litres <= 0.0 {
        return Correction::without_figure(EcAdvice::FreshFill, vec![Reason::Empty]);
    }
    if ec < LEAST_OF_WATER * asked.water.ec_ms_cm {
        return Correction::without_figure(EcAdvice::Measure, vec![Reason::BelowWater(ec)]);
    }
    ec::bring_to_aim(asked, ec, acid_salt)
}

impl Correction {
    const fn without_figure(ec: EcAdvice, reasons: Vec<Reason>) -> Correction {
        Correction { ec, acid: None, ec_expected: None, ph: PhAdvice::Measure, reasons }
    }

    fn because(mut self, reason: Reason) -> Correction {
        self.reasons.push(reason);
        self
    }

    /// With acid before the doses.
    fn with_acid(mut self, dose: AcidDose, untried: bool) -> Correction {
        self.acid = Some(dose);
        if untried && dose.first < dose.expected {
            self.reasons.push(Reason::OfWater(fill::Reason::AcidUntried));
        }
        let reason =
            if self.ec.pours() { Reason::OfWater(fill::Reason::HardWater) } else { Reason::HardWater };
        self.because(reason)
    }

    fn expecting(
        ec: EcAdvice,
        expected: Expectation,
        band: BandThen,
        mut reasons: Vec<Reason>,
    ) -> Correction {
        let strengthens = matches!(ec, EcAdvice::TopUp { .. } | EcAdvice::Strengthen { .. });
        if strengthens && expected.high > band.high {
            reasons.push(Reason::MayPassBand);
        }
        Correction { ec, acid: None, ec_expected: Some(expected), ph: PhAdvice::Measure, reasons }
    }
}

impl EcAdvice {
    /// L of water that are filled in.
    fn water_l(&self) -> f64 {
        match self {
            EcAdvice::Leave { water_l }
            | EcAdvice::TopUp { water_l, .. }
            | EcAdvice::Strengthen { water_l, .. }
            | EcAdvice::Dilute { water_l, .. } => *water_l,
            EcAdvice::SmallSteps | EcAdvice::FreshFill | EcAdvice::OutOfReach | EcAdvice::Measure => 0.0,
        }
    }

    /// L that are drained before.
    fn drain_l(&self) -> f64 {
        if let EcAdvice::Dilute { drain_l, .. } = self { *drain_l } else { 0.0 }
    }

    /// Whether nutrients are poured.
    fn pours(&self) -> bool {
        matches!(self, EcAdvice::TopUp { .. } | EcAdvice::Strengthen { .. } | EcAdvice::SmallSteps)
    }
}

impl CorrectAsked {
    /// The acid that goes in with hard water or, where the tank is above its band, before nutrients; none where the pH is low as
    /// it is. Acid for the mixture is acid for its parts together, each to the same pH.
    fn acid_beside(&self, ec: &EcAdvice) -> Result<Option<AcidDose>, fill::Reason> {
        let Some(acidity) = self.water.acidity.filter(|acidity| acidity.is_hard()) else { return Ok(None) };
        let (water_l, kept_l) = (ec.water_l(), self.litres.litres - ec.drain_l());
        let ph = self.mixed(self.ph);
        let Some(to_ph) = self.acid_to(ph, water_l > 0.0, ec.pours()) else { return Ok(None) };
        let acid = self.acid.ok_or(fill::Reason::NoAcid)?;
        let takes = ph.zip(self.titration.as_ref()).and_then(|(ph, curve)| curve.mmol_l(ph, to_ph));
        let dose = acid.with_water(
            acidity,
            &IntoTank {
                water_l,
                temperature_c: self.water_c,
                tank_l: kept_l + water_l,
                tank_takes_mmol: takes.unwrap_or(0.0) * kept_l,
                to_ph,
            },
        );
        dose.map(AcidDose::pourable).map_err(fill::Reason::NoDose)
    }

    /// What acid adds to the tank, mS/cm times L.
    fn salt_of(&self, dose: AcidDose) -> f64 {
        self.acid.map_or(0.0, |acid| acid.ec_rise * dose.expected)
    }

    /// The pH that acid is poured to beside water or nutrients. What stands in the tank within its band is left as it is.
    fn acid_to(&self, ph: Option<f64>, filled_in: bool, pours: bool) -> Option<f64> {
        let aim = self.ph_band.map_or(ACID_FIRST_PH, |band| band.aim);
        let high = self.ph_band.map_or(ACID_FIRST_PH, |band| band.high);
        match ph {
            None => filled_in.then_some(aim),
            Some(ph) if ph > high => (filled_in || pours).then_some(aim),
            Some(ph) if ph >= aim => filled_in.then_some(ph),
            Some(_) => None,
        }
    }

    /// A reading, if what went in before it had time to mix.
    fn mixed(&self, shown: Option<Shown>) -> Option<f64> {
        let shown = shown?;
        self.stirred_at.is_none_or(|stirred| shown.at - stirred >= MIXING).then_some(shown.value)
    }

    fn ph_advice(&self) -> PhAdvice {
        let Some(band) = self.ph_band else { return PhAdvice::Leave };
        match self.mixed(self.ph) {
            None => PhAdvice::Measure,
            Some(ph) if ph > band.high => PhAdvice::Lower,
            Some(ph) if ph < band.low => PhAdvice::Raise,
            Some(_) => PhAdvice::Leave,
        }
    }
}

#[cfg(test)]
mod tests;
