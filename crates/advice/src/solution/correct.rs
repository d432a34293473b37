//! Correcting a tank from its latest readings: first the EC, then, mixed and measured again, the pH.
//!
//! EC times litres stands for salt, as in [`super::tank`]. The aim is that of the state afterwards: at the mark where the tank
//! is topped up too, else with what is poured on top of what stands there.

mod told;

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{BandThen, Expectation};
use fillmark_domain::stock::ProductId;

use super::balance::{TO_90, spread_of};
use super::fill::{self, Acid, AcidDose, FillDose, LEAST_SHOWN_MS_CM, Part, SourceWater};
use super::learnt::Learnt;
use super::record::{Litres, MIXING, READ_TO, READ_TO_EC};
use super::tank::{Volume, added_l, fraction_to_replace};
use super::turnover::EarlyChange;

/// From this part of a tank on that would have to be replaced, a fresh fill costs little more and is clean (our own judgement).
const MOST_OF_IT: f64 = 0.8;

/// A correction that would need more than so many times the programme's doses does not fit its labels (our own judgement): what
/// is left of a step's rise hangs on what plants took, so this is wider than for a fresh fill.
const MOST_TIMES: f64 = 2.0;

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
}

/// A correction as advised.
#[derive(Debug, Clone, PartialEq)]
pub struct Correction {
    /// What to do about the EC.
    pub ec: EcAdvice,
    /// Acid for hard water that is filled in, before the doses.
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
    /// The EC is, or after topping up will be, within its band.
    InBand(f64),
    /// It is, or after topping up will be, below it.
    Weak(f64),
    /// It is, or after topping up will be, above it.
    Strong(f64),
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
    /// What there is to say of the water that is filled in, as of a fresh fill.
    OfWater(fill::Reason),
}

/// Advises a correction.
pub fn correct(asked: &CorrectAsked) -> Correction {
    let mut made = of_ec(asked);
    match asked.acid_for(made.ec.water_l()) {
        Ok(acid) => made.acid = acid,
        Err(reason) => made.reasons.push(Reason::OfWater(reason)),
    }
    made.reasons.extend(made.acid.map(|_| Reason::OfWater(fill::Reason::HardWater)));
    made
}

fn of_ec(asked: &CorrectAsked) -> Correction {
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
    let tank = Tank::of(asked, ec);
    let (band, alone) = (asked.ec_band, tank.after(&Change { water_l: tank.to_mark_l, ..Change::NONE }));
    if alone.value < band.low {
        strengthen(asked, &tank, alone.value)
    } else if alone.value > band.high {
        dilute(asked, &tank, alone.value)
    } else if let Some(topped_up) = top_up(asked, &tank, alone.value) {
        topped_up
    } else {
        let ph = if tank.to_mark_l > 0.0 { PhAdvice::Measure } else { asked.ph_advice() };
        let (ec, reasons) = (EcAdvice::Leave { water_l: tank.to_mark_l }, vec![Reason::InBand(alone.value)]);
        Correction { ec, acid: None, ec_expected: Some(alone), ph, reasons }
    }
}

impl Correction {
    const fn without_figure(ec: EcAdvice, reasons: Vec<Reason>) -> Correction {
        Correction { ec, acid: None, ec_expected: None, ph: PhAdvice::Measure, reasons }
    }

    fn expecting(
        ec: EcAdvice,
        expected: Expectation,
        band: BandThen,
        mut reasons: Vec<Reason>,
    ) -> Correction {
        let strengthens = matches!(ec, EcAdvice::TopUp { .. } | EcAdvice::Strengthen { .. });
        if strengthens && (expected.low < band.low || expected.high > band.high) {
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
}

impl CorrectAsked {
    /// The acid that hard water takes on its way into the tank; none where the pH is low as it is.
    fn acid_for(&self, water_l: f64) -> Result<Option<AcidDose>, fill::Reason> {
        let aim = self.ph_band.map(|band| band.aim);
        let hard = self.water.acidity.filter(|acidity| water_l > 0.0 && acidity.is_hard());
        let (Some(acidity), false) = (hard, self.ph.zip(aim).is_some_and(|(ph, aim)| ph.value < aim)) else {
            return Ok(None);
        };
        let acid = self.acid.ok_or(fill::Reason::NoAcid)?;
        let tank_l = self.litres.litres + water_l;
        let dose = acid.for_water(acidity, (water_l, tank_l), aim, self.water_c);
        dose.map(Some).map_err(fill::Reason::NoDose)
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

/// A tank before the correction.
#[derive(Clone, Copy)]
struct Tank {
    litres: Litres,
    ec_ms_cm: f64,
    water_ec_ms_cm: f64,
    /// L to the mark; nought where it is not topped up.
    to_mark_l: f64,
    mark_l: f64,
}

/// What is done to it.
struct Change {
    drain_l: f64,
    water_l: f64,
    /// Volume of the doses, L, what they add, mS/cm times L, and its variance.
    doses_l: f64,
    salt: f64,
    salt_variance: f64,
}

impl Change {
    const NONE: Change = Change { drain_l: 0.0, water_l: 0.0, doses_l: 0.0, salt: 0.0, salt_variance: 0.0 };

    /// So many times the step's doses; filled to a mark, their own volume is water that is not filled in.
    fn poured(asked: &CorrectAsked, rise: &Learnt, times: f64, to_mark_l: f64) -> Change {
        let doses_l = times * liquid_l(&asked.parts);
        Change {
            water_l: if to_mark_l > 0.0 { to_mark_l - doses_l } else { 0.0 },
            doses_l,
            salt: times * rise.value,
            salt_variance: (times * spread_of(rise)).powi(2),
            ..Change::NONE
        }
    }
}

/// L that the step's doses for a litre take themselves.
fn liquid_l(parts: &[Part]) -> f64 {
    parts.iter().filter(|part| part.liquid).map(|part| part.per_litre).sum::<f64>() / 1000.0
}

impl Tank {
    fn of(asked: &CorrectAsked, ec_ms_cm: f64) -> Tank {
        let missing_l = (asked.fill_mark_l - asked.litres.litres).max(0.0);
        Tank {
            litres: asked.litres,
            ec_ms_cm,
            water_ec_ms_cm: asked.water.ec_ms_cm,
            to_mark_l: if asked.topping_up { missing_l } else { 0.0 },
            mark_l: asked.fill_mark_l,
        }
    }

    fn volume(&self) -> Volume {
        Volume { litres: self.litres.litres, ec_ms_cm: self.ec_ms_cm }
    }

    /// EC after a change. Filling to the mark makes good in water what was not known of the litres, so that they tell less.
    fn after(&self, change: &Change) -> Expectation {
        let kept_l = self.litres.litres - change.drain_l;
        let litres = kept_l + change.water_l + change.doses_l;
        let salt = kept_l * self.ec_ms_cm + change.water_l * self.water_ec_ms_cm + change.salt;
        let value = salt / litres;
        let to_mark = self.to_mark_l > 0.0;
        let made_good_by = if to_mark { self.water_ec_ms_cm } else { value };
        let of_litres = (self.ec_ms_cm - made_good_by) / litres * self.litres.spread_l;
        let of_mark =
            if to_mark { (self.water_ec_ms_cm - value) / litres * READ_TO * self.mark_l } else { 0.0 };
        let of_reading = kept_l * self.ec_ms_cm / litres * READ_TO_EC;
        let of_doses = change.salt_variance.sqrt() / litres;
        let spread = of_litres.hypot(of_mark).hypot(of_reading).hypot(of_doses);
        Expectation { value, low: value - TO_90 * spread, high: value + TO_90 * spread }
    }
}

/// Topping up as the programme has it, but not past the aim; nothing where no meter would tell it from water alone.
fn top_up(asked: &CorrectAsked, tank: &Tank, alone_ms_cm: f64) -> Option<Correction> {
    let rise = asked.rise.as_ref().ok()?;
    let gained = rise.value - liquid_l(&asked.parts) * tank.water_ec_ms_cm;
    let short = asked.ec_band.aim - alone_ms_cm;
    if tank.to_mark_l <= 0.0 || short <= 0.0 || gained < LEAST_SHOWN_MS_CM {
        return None;
    }
    let to_aim = (tank.litres.litres + tank.to_mark_l) * short / gained;
    let times = (asked.top_up_share * tank.to_mark_l).min(to_aim);
    let change = Change::poured(asked, rise, times, tank.to_mark_l);
    let expected = tank.after(&change);
    if change.water_l < 0.0 || expected.value - alone_ms_cm < READ_TO_EC * alone_ms_cm {
        return None;
    }
    let advice = EcAdvice::TopUp { doses: doses(&asked.parts, times), water_l: change.water_l };
    Some(Correction::expecting(advice, expected, asked.ec_band, vec![Reason::InBand(alone_ms_cm)]))
}

/// The doses that take the tank to its aim. With x for how much of the proportions: filled to the mark,
/// V · EC + EC_water · (V_mark − V − x · D) + x · K = V_mark · aim; else V · EC + x · K = (V + x · D) · aim.
fn strengthen(asked: &CorrectAsked, tank: &Tank, alone_ms_cm: f64) -> Correction {
    let mut reasons = vec![Reason::Weak(alone_ms_cm)];
    let rise = match &asked.rise {
        Ok(rise) => rise,
        Err(product) => {
            reasons.push(Reason::RiseUnknown(*product));
            return Correction::without_figure(EcAdvice::SmallSteps, reasons);
        }
    };
    let to_mark = tank.to_mark_l > 0.0;
    let displaced_ms_cm = if to_mark { tank.water_ec_ms_cm } else { asked.ec_band.aim };
    let gained = rise.value - liquid_l(&asked.parts) * displaced_ms_cm;
    if gained < LEAST_SHOWN_MS_CM {
        reasons.push(Reason::NothingAddsEc);
        return Correction::without_figure(EcAdvice::SmallSteps, reasons);
    }
    let per_litre = (asked.ec_band.aim - alone_ms_cm) / gained;
    let by_programme = (asked.ec_band.aim - alone_ms_cm) / (asked.ec_band.aim - tank.water_ec_ms_cm);
    let far = per_litre / by_programme;
    reasons.extend((far > MOST_TIMES).then_some(Reason::FarFromProgramme(far)));
    let fitting = if far > MOST_TIMES { by_programme } else { per_litre };
    let times = (tank.litres.litres + tank.to_mark_l) * fitting;
    let change = Change::poured(asked, rise, times, tank.to_mark_l);
    let (doses_l, room_l) = (change.doses_l, if to_mark { tank.to_mark_l } else { asked.room_l });
    if to_mark && doses_l > room_l && asked.room_l > room_l && tank.ec_ms_cm < asked.ec_band.aim {
        // The doses alone fill it past the mark.
        return strengthen(asked, &Tank { to_mark_l: 0.0, ..*tank }, tank.ec_ms_cm);
    }
    if doses_l > room_l {
        reasons.push(Reason::NoRoom { needed_l: doses_l, room_l });
        return Correction::without_figure(EcAdvice::FreshFill, reasons);
    }
    let advice = EcAdvice::Strengthen { doses: doses(&asked.parts, times), water_l: change.water_l };
    Correction::expecting(advice, tank.after(&change), asked.ec_band, reasons)
}

fn doses(parts: &[Part], times: f64) -> Vec<FillDose> {
    let mut parts: Vec<&Part> = parts.iter().filter(|part| part.per_litre > 0.0).collect();
    parts.sort_by_key(|part| part.mixing_rank);
    parts.iter().map(|part| FillDose { product: part.product, amount: part.per_litre * times }).collect()
}

/// Water on top where there is room for it, else in the place of what is drained.
fn dilute(asked: &CorrectAsked, tank: &Tank, alone_ms_cm: f64) -> Correction {
    let strong = Reason::Strong(alone_ms_cm);
    let aim = asked.ec_band.aim;
    if tank.water_ec_ms_cm >= aim || tank.water_ec_ms_cm >= tank.ec_ms_cm {
        return Correction::without_figure(EcAdvice::OutOfReach, vec![strong, Reason::WaterAboveAim]);
    }
    let on_top_l = added_l(tank.volume(), aim, tank.water_ec_ms_cm).unwrap_or(f64::INFINITY);
    let (drain_l, water_l) = if tank.to_mark_l == 0.0 && on_top_l <= asked.room_l {
        (0.0, on_top_l)
    } else {
        // Drained before it is topped up, so that nothing drained is water just filled in.
        let full_l = tank.litres.litres + tank.to_mark_l;
        let replaced = fraction_to_replace(alone_ms_cm, aim, tank.water_ec_ms_cm).unwrap_or(1.0);
        let drain_l =
            replaced * full_l * (alone_ms_cm - tank.water_ec_ms_cm) / (tank.ec_ms_cm - tank.water_ec_ms_cm);
        (drain_l, drain_l + tank.to_mark_l)
    };
    let fraction = drain_l / tank.litres.litres;
    if fraction > MOST_OF_IT {
        return Correction::without_figure(EcAdvice::FreshFill, vec![strong, Reason::MostOfIt(fraction)]);
    }
    let expected = tank.after(&Change { drain_l, water_l, ..Change::NONE });
    Correction::expecting(EcAdvice::Dilute { drain_l, water_l }, expected, asked.ec_band, vec![strong])
}

#[cfg(test)]
mod tests;
