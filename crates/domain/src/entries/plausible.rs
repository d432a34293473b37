//! Plausibility: what is possible but looks mis-keyed is asked back.

use chrono::{DateTime, TimeDelta, Utc};

use crate::entries::BandThen;
use crate::quantity::{Quantity, Unit};
use crate::{Coded, Metric};

/// How far a value may lie from what is expected before it is asked back; common practice, no source.
const FAR: f64 = 10.0;
/// A slip of the decimal point may come on top of an honest change; common practice, no source.
const NEARLY: f64 = FAR / 1.5;
/// How close a value must come, in another unit or scale, to what is expected to look like a slip of the unit.
const CLOSE: f64 = 2.0;

/// How far from the last a conductivity on a ppm scale must lie, as a part of it, and how near the same number on
/// another scale, to look like a slip of the scale. The scales differ by less than half, so that a slip is never
/// [`FAR`]; common practice, no source.
const OFF_SCALE: f64 = 0.25;
const ON_SCALE: f64 = 0.05;

/// The scales on which conductivity meters show ppm.
const PPM_SCALES: [Unit; 3] = [Unit::Ppm500, Unit::Ppm640, Unit::Ppm700];

/// A tank is filled a little above its mark at times; common practice, no source.
const ABOVE_MARK: f64 = 1.05;

/// An act is entered after it was done: clocks may differ, but one of tomorrow is mis-keyed; common practice, no source.
const CLOCKS_DIFFER: TimeDelta = TimeDelta::hours(1);

/// What is done at a desk is entered at one, by a clock that somebody keeps; common practice, no source.
const AT_A_DESK: TimeDelta = TimeDelta::minutes(5);

/// Whether an act of the office (an order placed, a receipt, a count, a calibration, a harvest weighed) can have been done
/// by an instant. One of tomorrow would stand in the way of all that follows it.
pub fn has_passed_at_a_desk(done_at: DateTime<Utc>, now: DateTime<Utc>) -> bool {
    done_at <= now + AT_A_DESK
}

/// Whether an act can have been done by an instant, as far as clocks can be trusted.
pub fn has_passed(done_at: DateTime<Utc>, now: DateTime<Utc>) -> bool {
    done_at <= now + CLOCKS_DIFFER
}

/// Why a value looks mis-keyed.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum Doubt {
    /// The number fits in another unit.
    #[error("{entered} is far from {expected} {}; {} {} would fit", canonical.code(), entered.value, fits.code())]
    OtherUnit {
        /// As entered.
        entered: Quantity,
        /// What is expected, canonical.
        expected: f64,
        /// The canonical unit.
        canonical: Unit,
        /// The unit in which the number would fit.
        fits: Unit,
    },
    /// Ten times the last, or a tenth of it.
    #[error("{entered} is about {FAR} times away from the last, {expected} {}, or more", canonical.code())]
    FarFromLast {
        /// As entered.
        entered: Quantity,
        /// The last value, canonical.
        expected: f64,
        /// The canonical unit.
        canonical: Unit,
    },
    /// Far outside the band.
    #[error("{entered} is far from the band's aim of {expected} {}", canonical.code())]
    FarFromAim {
        /// As entered.
        entered: Quantity,
        /// The aim, canonical.
        expected: f64,
        /// The canonical unit.
        canonical: Unit,
    },
    /// A full tank change in which nothing went out and nothing went in.
    #[error("expected what was drained and filled in; a full change moves both, and nothing was moved")]
    NothingMoved,
    /// A tank change that moved less than half of the part that it says.
    #[error(
        "expected more litres for a change of {:.0} % of a tank that holds {mark_l} L; state the fraction that was changed",
        fraction * 100.0
    )]
    LessThanItsPart {
        /// The part, above 0 and at most 1.
        fraction: f64,
        /// The volume at the tank's fill mark, L.
        mark_l: f64,
    },
    /// So much more than the part that was changed that it was a greater one.
    #[error(
        "expected fewer litres for a change of {:.0} % of a tank that holds {mark_l} L; state the fraction that was changed",
        fraction * 100.0
    )]
    MoreThanItsPart {
        /// The part, above 0 and at most 1.
        fraction: f64,
        /// The volume at the tank's fill mark, L.
        mark_l: f64,
    },
    /// Hardly anything of what a tank is filled up with at a time.
    #[error("{entered} is a small part of what the tank is filled up with, usually {usual} L")]
    LittleWater {
        /// As entered.
        entered: Quantity,
        /// The usual of late, L.
        usual: f64,
    },
    /// More than the tank holds.
    #[error("{entered} is more than the tank holds, which is {mark_l} L at its mark")]
    AboveMark {
        /// As entered.
        entered: Quantity,
        /// The volume at the tank's fill mark, L.
        mark_l: f64,
    },
}

/// Filled up fewer times, nobody knows what is little for a tank; common practice, no source.
const TIMES_KNOWN: usize = 3;

/// Who takes millilitres for litres enters a thousandth; honest top-ups of one tank lie within a factor of ten or so; common
/// practice, no source.
const LITTLE: f64 = 0.02;

/// What a value is held against.
#[derive(Debug, Clone, Copy, Default, PartialEq)]
pub struct Beside {
    /// The last value of the metric there.
    pub last: Option<f64>,
    /// The band in force.
    pub band: Option<BandThen>,
    /// What the tank holds at its fill mark, L, where it is a tank.
    pub mark_l: Option<f64>,
}

/// What is doubtful about a volume in a tank, or about so much going in or out of it at once.
pub fn doubts_of_volume(entered: Quantity, litres: f64, mark_l: f64) -> Option<Doubt> {
    (litres > mark_l * ABOVE_MARK).then_some(Doubt::AboveMark { entered, mark_l })
}

/// What is doubtful about water that goes into a tank, beside the litres of other times: a slip of the unit makes it too much for
/// the tank, or hardly anything.
pub fn doubts_of_water(entered: Quantity, litres: f64, mark_l: f64, lately: &[f64]) -> Option<Doubt> {
    let mut sorted = lately.to_vec();
    sorted.sort_by(f64::total_cmp);
    let usual = sorted.get(sorted.len() / 2).copied().unwrap_or_default();
    let little = lately.len() >= TIMES_KNOWN && litres < usual * LITTLE;
    doubts_of_volume(entered, litres, mark_l).or(little.then_some(Doubt::LittleWater { entered, usual }))
}

/// What is doubtful about a value beside the last one, the band and the tank. pH is a logarithm and temperatures have no
/// zero that counts, so only metrics with a true zero are compared by their ratio; pH is doubted when it lies
/// three or more from the last or from the aim (a thousandfold in acidity).
pub fn doubts(metric: Metric, entered: Quantity, value: f64, beside: Beside) -> Option<Doubt> {
    let Beside { last, band, mark_l } = beside;
    let above = mark_l.filter(|_| metric == Metric::Volume);
    if let Some(above) = above.and_then(|mark_l| doubts_of_volume(entered, value, mark_l)) {
        return Some(above);
    }
    let canonical = metric.unit();
    if let Some((expected, fits)) = last.and_then(|last| Some((last, fitting_scale(entered, value, last)?))) {
        return Some(Doubt::OtherUnit { entered, expected, canonical, fits });
    }
    let aim = band.map(|band| band.aim);
    let expected = aim.or(last)?;
    if is_far(metric, value, expected) {
        if let Some(fits) = fitting_unit(metric, entered, expected) {
            return Some(Doubt::OtherUnit { entered, expected, canonical, fits });
        }
        if let Some(aim) = aim {
            return Some(Doubt::FarFromAim { entered, expected: aim, canonical });
        }
    }
    let last = last.filter(|last| is_far(metric, value, *last))?;
    Some(Doubt::FarFromLast { entered, expected: last, canonical })
}

fn is_far(metric: Metric, value: f64, expected: f64) -> bool {
    match metric {
        Metric::Ph => (value - expected).abs() >= 3.0,
        Metric::SolutionTemperature | Metric::AirTemperature => (value - expected).abs() >= 20.0,
        // A counter only rises, and a humidity is bounded already.
        Metric::WaterMeter | Metric::RelativeHumidity => false,
        // A little less than FAR, so that a decimal slip of a value near to what is expected is asked back as well.
        _ => expected > 0.0 && !(expected / NEARLY..=expected * NEARLY).contains(&value),
    }
}

/// Units by which a slip of the decimal point would always fit, and which few meters show.
const TENFOLD: [Unit; 3] = [Unit::ConductivityFactor, Unit::MilliSiemensPerM, Unit::SiemensPerM];

/// Another unit of the metric in which the number would be close to what is expected.
fn fitting_unit(metric: Metric, entered: Quantity, expected: f64) -> Option<Unit> {
    let same_kind = |unit: &Unit| {
        unit.dimension() == metric.unit().dimension() && *unit != entered.unit && !TENFOLD.contains(unit)
    };
    let distance = |unit: &Unit| (Quantity::new(entered.value, *unit).canonical() / expected).ln().abs();
    let closest =
        Unit::all().iter().copied().filter(same_kind).min_by(|a, b| distance(a).total_cmp(&distance(b)))?;
    (distance(&closest) <= CLOSE.ln()).then_some(closest)
}

/// The other ppm scale on which the number would be the last value over again.
fn fitting_scale(entered: Quantity, value: f64, last: f64) -> Option<Unit> {
    let off = |value: f64| (value / last - 1.0).abs();
    if !PPM_SCALES.contains(&entered.unit) || off(value) <= OFF_SCALE {
        return None;
    }
    let on_scale = |unit: &Unit| off(Quantity::new(entered.value, *unit).canonical());
    let closest = PPM_SCALES.into_iter().min_by(|a, b| on_scale(a).total_cmp(&on_scale(b)))?;
    (on_scale(&closest) <= ON_SCALE).then_some(closest)
}

#[cfg(test)]
mod tests {
    use super::*;

    const EC_BAND: BandThen = BandThen { low: 1.0, aim: 1.2, high: 1.6 };

    #[track_caller]
    fn check(
        metric: Metric,
        entered: Quantity,
        last: Option<f64>,
        band: Option<BandThen>,
        expected: Option<&str>,
    ) {
        let value = metric.canonical(entered).unwrap();
        let beside = Beside { last, band, mark_l: Some(200.0) };
        let doubt = doubts(metric, entered, value, beside).map(|doubt| doubt.to_string());
        assert_eq!(doubt.as_deref(), expected, "{entered}");
    }

    #[test]
    fn microsiemens_keyed_as_millisiemens_are_asked_back() {
        let keyed = Quantity::new(120.0, Unit::MilliSiemensPerCm);
        check(
            Metric::Ec,
            keyed,
            None,
            Some(EC_BAND),
            Some("120 mS/cm is far from the band's aim of 1.2 mS/cm"),
        );
        let keyed = Quantity::new(1.25, Unit::MicroSiemensPerCm);
        check(
            Metric::Ec,
            keyed,
            Some(1.2),
            None,
            Some("1.25 uS/cm is far from 1.2 mS/cm; 1.25 mS/cm would fit"),
        );
    }

    #[test]
    fn a_ppm_scale_keyed_as_microsiemens_passes_where_it_could_be_true() {
        // 700 µS/cm is weak for a band of 1.0 to 1.6, but no slip that can be told from a weak tank.
        check(Metric::Ec, Quantity::new(700.0, Unit::MicroSiemensPerCm), Some(1.2), Some(EC_BAND), None);
    }

    #[test]
    fn a_number_on_the_wrong_ppm_scale_is_asked_back() {
        let shown = |unit| Quantity::new(700.0, unit);
        let told = "700 ppm500 is far from 1.02 mS/cm; 700 ppm700 would fit";
        check(Metric::Ec, shown(Unit::Ppm500), Some(1.02), None, Some(told));
        let told = "700 ppm700 is far from 1.4 mS/cm; 700 ppm500 would fit";
        check(Metric::Ec, shown(Unit::Ppm700), Some(1.4), Some(EC_BAND), Some(told));
        let told = "700 ppm500 is far from 1.09 mS/cm; 700 ppm640 would fit";
        check(Metric::Ec, shown(Unit::Ppm500), Some(1.09), None, Some(told));
        check(Metric::Ec, shown(Unit::Ppm500), Some(1.15), None, None); // within a quarter
        check(Metric::Ec, shown(Unit::Ppm500), Some(0.9), None, None); // fits no scale
        check(Metric::Ec, Quantity::new(1.4, Unit::MilliSiemensPerCm), Some(1.0), None, None);
    }

    #[test]
    fn ten_times_the_last_is_asked_back() {
        let twelve = Quantity::new(13.0, Unit::MilliSiemensPerCm);
        check(
            Metric::Ec,
            twelve,
            Some(1.2),
            None,
            Some("13 mS/cm is about 10 times away from the last, 1.2 mS/cm, or more"),
        );
        let slipped = Quantity::new(13.8, Unit::MilliSiemensPerCm);
        let told = "13.8 mS/cm is about 10 times away from the last, 1.4 mS/cm, or more";
        check(Metric::Ec, slipped, Some(1.4), None, Some(told));
        check(Metric::Volume, Quantity::new(90.0, Unit::Litre), Some(100.0), None, None);
    }

    #[test]
    fn more_than_the_tank_holds_is_asked_back() {
        let told = "215 L is more than the tank holds, which is 200 L at its mark";
        check(Metric::Volume, Quantity::new(215.0, Unit::Litre), Some(190.0), None, Some(told));
        check(Metric::Volume, Quantity::new(210.0, Unit::Litre), Some(190.0), None, None);
        check(Metric::WaterMeter, Quantity::new(21_500.0, Unit::Litre), Some(21_400.0), None, None);
    }

    #[test]
    fn a_desk_is_a_little_ahead_and_a_round_a_little_more() {
        let now: DateTime<Utc> = "2031-03-03T08:00:00Z".parse().unwrap();
        let check = |ahead, at_a_desk, on_a_round| {
            let done_at = now + TimeDelta::seconds(ahead);
            assert_eq!(
                (has_passed_at_a_desk(done_at, now), has_passed(done_at, now)),
                (at_a_desk, on_a_round)
            );
        };
        check(300, true, true);
        check(301, false, true);
        check(3601, false, false);
    }

    #[test]
    fn without_anything_to_compare_nothing_is_doubted() {
        check(Metric::Ec, Quantity::new(15.0, Unit::MilliSiemensPerCm), None, None, None);
    }
}
