//! The sums of a correction of the EC: what is poured, filled in or drained so that the tank comes to its aim.

use fillmark_domain::entries::Expectation;

use super::{CorrectAsked, Correction, EcAdvice, PhAdvice, Reason, Undosed};
use crate::solution::balance::{TO_90, spread_of};
use crate::solution::fill::{FillDose, LEAST_SHOWN_MS_CM, Part};
use crate::solution::learnt::Learnt;
use crate::solution::record::{Litres, READ_TO, READ_TO_EC};
use crate::solution::tank::{Volume, added_l, fraction_to_replace};

/// From this part of a tank on that would have to be replaced, a fresh fill costs little more and is clean (our own judgement).
const MOST_OF_IT: f64 = 0.8;

/// A correction that would need more than so many times the programme's doses does not fit its labels (our own judgement): what
/// is left of a step's rise hangs on what plants took, so this is wider than for a fresh fill.
const MOST_TIMES: f64 = 2.0;

/// What brings a tank of this EC, which acid adds so much salt to, to its aim, where it is not in its band.
pub(super) fn bring_to_aim(asked: &CorrectAsked, ec_ms_cm: f64, acid_salt: f64) -> Correction {
    let tank = Tank { acid_salt, ..Tank::of(asked, ec_ms_cm) };
    let (band, alone) = (asked.ec_band, tank.after(&Change { water_l: tank.to_mark_l, ..Change::NONE }));
    if alone.value < band.low {
        strengthen(asked, &tank, alone.value)
    } else if alone.value > band.high {
        dilute(asked, &tank, alone.value)
    } else if let Some(topped_up) = top_up(asked, &tank, alone.value) {
        topped_up
    } else {
        let ph = if tank.to_mark_l > 0.0 { PhAdvice::Measure } else { asked.ph_advice() };
        let (ec, reasons) =
            (EcAdvice::Leave { water_l: tank.to_mark_l }, vec![Reason::InBand(tank.undosed(alone.value))]);
        Correction { ec, acid: None, ec_expected: Some(alone), ph, reasons }
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
    /// What acid adds, mS/cm times L.
    acid_salt: f64,
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
            acid_salt: 0.0,
        }
    }

    const fn undosed(&self, ec_ms_cm: f64) -> Undosed {
        if self.acid_salt > 0.0 {
            Undosed::WithAcid(ec_ms_cm)
        } else if self.to_mark_l > 0.0 {
            Undosed::FilledUp(ec_ms_cm)
        } else {
            Undosed::Standing(ec_ms_cm)
        }
    }

    fn volume(&self) -> Volume {
        Volume { litres: self.litres.litres, ec_ms_cm: self.with_acid() }
    }

    /// EC of what stands in it, once the acid is in too.
    fn with_acid(&self) -> f64 {
        self.ec_ms_cm + self.acid_salt / self.litres.litres
    }

    /// EC after a change. Filling to the mark makes good in water what was not known of the litres, so that they tell less.
    fn after(&self, change: &Change) -> Expectation {
        let kept_l = self.litres.litres - change.drain_l;
        let litres = kept_l + change.water_l + change.doses_l;
        let salt =
            kept_l * self.ec_ms_cm + change.water_l * self.water_ec_ms_cm + change.salt + self.acid_salt;
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
    Some(Correction::expecting(
        advice,
        expected,
        asked.ec_band,
        vec![Reason::InBand(tank.undosed(alone_ms_cm))],
    ))
}

/// The doses that take the tank to its aim. With x for how much of the proportions: filled to the mark,
/// V · EC + EC_water · (V_mark − V − x · D) + x · K = V_mark · aim; else V · EC + x · K = (V + x · D) · aim.
fn strengthen(asked: &CorrectAsked, tank: &Tank, alone_ms_cm: f64) -> Correction {
    let mut reasons = vec![Reason::Weak(tank.undosed(alone_ms_cm))];
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
    if to_mark && doses_l > room_l && asked.room_l > room_l && tank.with_acid() < asked.ec_band.aim {
        // The doses alone fill it past the mark.
        return strengthen(asked, &Tank { to_mark_l: 0.0, ..*tank }, tank.with_acid());
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
    let strong = Reason::Strong(tank.undosed(alone_ms_cm));
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
