//! A step of pH: how much to pour before measuring again.
//!
//! The step is bounded by chance and not by a volume: the better a product's response is known, the nearer its dose comes to
//! the whole. A product that nothing is known of gets no amount. Whether the pH needs a step at all is not asked here.

mod told;

use fillmark_domain::Band;
use statrs::distribution::{ContinuousCDF, Normal};

use super::fill::DROP;
use super::learn::{PhKind, PhResponse, Predicted, READ_TO_PH};
use super::reagents::{FIRST_MEQ_L, FIRST_PART};
use super::record::Litres;

/// What a step is asked for.
#[derive(Clone, Copy)]
pub struct StepAsked<'a> {
    /// pH as it was read.
    pub ph: f64,
    /// Of the pH.
    pub band: Band,
    /// What stands in the tank.
    pub litres: Litres,
    /// What the records tell of the product; none where they do not, and its strength is not known either.
    pub response: Option<&'a PhResponse>,
    /// What chemistry tells of it; none where its strength or the water is not known.
    pub chemistry: Option<Chemistry<'a>>,
}

/// What chemistry tells of a product in a tank.
#[derive(Clone, Copy)]
pub struct Chemistry<'a> {
    /// What a move of the pH takes.
    pub predicted: Predicted<'a>,
    /// Acid or base in a mL (or g) of it, meq.
    pub meq_per_unit: f64,
}

/// A step as advised.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Step {
    /// What to pour; none where no amount can be told, or none is needed.
    pub dose: Option<StepDose>,
    /// Why it is so.
    pub reason: StepReason,
}

/// So much, and what to expect of it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct StepDose {
    /// mL (or g) into the tank.
    pub amount: f64,
    /// pH after it has mixed, the likeliest.
    pub ph: f64,
    /// Lower end of the interval that holds it nine times of ten.
    pub ph_low: f64,
    /// Upper end of that interval.
    pub ph_high: f64,
}

/// What sets a step's size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum StepReason {
    /// It goes to the aim.
    ToAim,
    /// More would pass the far edge of the band with a chance above [`PASSING`].
    ByChance,
    /// No record tells of the product yet: a part of what chemistry predicts.
    FirstPart,
    /// No record tells of the product yet: so much acid or base a litre at most.
    FirstEquivalents,
    /// Nothing stands in the tank.
    EmptyTank,
    /// The pH is at its aim.
    AtAim,
    /// Less than can be measured out would go to the aim.
    TooLittle,
    /// Neither strength nor records tell how the pH answers: small steps, each measured.
    UnknownStrength,
    /// The product moves the pH the other way, or is too weak to get to the aim.
    NotReached,
}

/// Chance of passing the far edge of the band that a step may have at most.
pub const PASSING: f64 = 0.05;
/// How far a step is followed, pH.
const FARTHEST: f64 = 4.0;
/// Halved so often, that is less than a meter shows.
const HALVINGS: u32 = 12;

/// Advises a step from a pH towards the aim.
pub fn ph_step(asked: &StepAsked<'_>) -> Step {
    let none = |reason| Step { dose: None, reason };
    if asked.ph == asked.band.aim {
        return none(StepReason::AtAim);
    }
    if asked.litres.litres <= 0.0 {
        return none(StepReason::EmptyTank);
    }
    let Some(curve) = Curve::of(asked) else {
        return none(StepReason::UnknownStrength);
    };
    let Some((amount, reason)) = largest(asked, &curve) else {
        return none(StepReason::NotReached);
    };
    if amount < DROP {
        return none(StepReason::TooLittle);
    }
    Step { dose: Some(curve.expect(asked, amount)), reason }
}

/// The largest dose that all bounds allow, and which of them is met.
fn largest(asked: &StepAsked<'_>, curve: &Curve<'_>) -> Option<(f64, StepReason)> {
    let (band, litres) = (asked.band, asked.litres.litres);
    let far = if asked.ph > band.aim { band.low } else { band.high };
    let to_aim = litres * curve.units_l(asked.ph, band.aim)?;
    // Where chemistry does not reach the edge, the aim is as far as it may go.
    let to_edge = curve.units_l(asked.ph, far).map_or(to_aim, |units_l| units_l * litres);
    // What a dose does on average is more than what it does likeliest, where it is known by a factor.
    let mut bounds = vec![
        (to_aim * (-0.5 * curve.spread.powi(2)).exp(), StepReason::ToAim),
        (to_edge * short_of_passing(curve.spread_to(asked.ph - far)), StepReason::ByChance),
    ];
    if let (true, Some(chemistry)) = (curve.prior_alone, asked.chemistry) {
        bounds.push((FIRST_PART * to_aim, StepReason::FirstPart));
        bounds.push((FIRST_MEQ_L * litres / chemistry.meq_per_unit, StepReason::FirstEquivalents));
    }
    bounds.into_iter().min_by(|one, other| one.0.total_cmp(&other.0))
}

/// What moves of the pH take, and how surely.
struct Curve<'a> {
    response: &'a PhResponse,
    predicted: Option<Predicted<'a>>,
    /// Standard deviation of the logarithm of what a dose does: the response's, the fill's and the litres'.
    spread: f64,
    prior_alone: bool,
}

impl<'a> Curve<'a> {
    fn of(asked: &StepAsked<'a>) -> Option<Curve<'a>> {
        let response = asked.response?;
        let predicted = asked.chemistry.map(|chemistry| chemistry.predicted);
        if response.kind == PhKind::Factor && predicted.is_none() {
            return None;
        }
        let spread = response.spread().hypot(asked.litres.spread_l / asked.litres.litres);
        Some(Curve { response, predicted, spread, prior_alone: response.figure.records.is_empty() })
    }

    /// mL (or g) per litre that a move takes, the likeliest; none when the product does not make it.
    fn units_l(&self, from: f64, to: f64) -> Option<f64> {
        let of_figure = match self.response.kind {
            PhKind::Factor => self.predicted?(from, to)?,
            PhKind::PerUnit { lowers } => {
                let gap = if lowers { from - to } else { to - from };
                (gap >= 0.0).then_some(gap)?
            }
        };
        Some(self.response.figure.value * of_figure)
    }

    /// The reading's error besides, which is the more the nearer the pH is.
    fn spread_to(&self, gap: f64) -> f64 {
        self.spread.hypot(READ_TO_PH / gap.abs())
    }

    fn expect(&self, asked: &StepAsked<'_>, amount: f64) -> StepDose {
        let down = asked.ph > asked.band.aim;
        let units_l = amount / asked.litres.litres;
        let ph = self.reached(asked.ph, units_l, down);
        let by = (likely(0.95) * self.spread).exp();
        let (less, more) =
            (self.reached(asked.ph, units_l / by, down), self.reached(asked.ph, units_l * by, down));
        // The reading's error is where the move starts, and so where it ends.
        let read = likely(0.95) * READ_TO_PH;
        let (less, more) = ((less - ph).abs().hypot(read), (more - ph).abs().hypot(read));
        let (below, above) = if down { (more, less) } else { (less, more) };
        StepDose { amount, ph, ph_low: ph - below, ph_high: ph + above }
    }

    /// Where a dose ends: the farthest move that takes no more.
    fn reached(&self, from: f64, units_l: f64, down: bool) -> f64 {
        let to = |gap: f64| if down { from - gap } else { from + gap };
        let (mut near, mut far) = (0.0, FARTHEST);
        for _ in 0..HALVINGS {
            let middle = 0.5 * (near + far);
            if self.units_l(from, to(middle)).is_some_and(|takes| takes <= units_l) {
                near = middle;
            } else {
                far = middle;
            }
        }
        to(near)
    }
}

impl PhResponse {
    /// Standard deviation of the logarithm of what a dose does from one fill to the next.
    pub fn spread(&self) -> f64 {
        ((self.figure.high / self.figure.low).ln() / (2.0 * likely(0.95))).hypot(self.varies)
    }
}

/// The part of a dose, known by a spread of its logarithm, that does too much with a chance of [`PASSING`].
pub(super) fn short_of_passing(spread: f64) -> f64 {
    (-likely(1.0 - PASSING) * spread).exp()
}

/// The standard normal value that is not exceeded with a chance.
fn likely(chance: f64) -> f64 {
    Normal::standard().inverse_cdf(chance)
}

#[cfg(test)]
mod tests {
    use fillmark_domain::Metric;
    use fillmark_domain::entries::AdditionReason;
    use proptest::prelude::*;

    use super::*;
    use crate::solution::learn::simulated::{
        Chance, MARK_L, acid_tank, acidified, fresh_ph, of_this_fill, product, titration,
    };
    use crate::solution::learn::{pairs, ph_response};
    use crate::solution::learnt::Learnt;
    use crate::solution::record::testing::{day, poured};
    use crate::solution::record::{TankRecord, What};

    fn band() -> Band {
        Band::new(Metric::Ph, 5.5, 6.0, 6.5).unwrap()
    }

    fn step(ph: f64, spread_l: f64, response: Option<&PhResponse>, meq_per_unit: Option<f64>) -> Step {
        let chemistry = meq_per_unit.map(|meq_per_unit| Chemistry { predicted: &titration, meq_per_unit });
        let litres = Litres { litres: MARK_L, spread_l };
        ph_step(&StepAsked { ph, band: band(), litres, response, chemistry })
    }

    /// With so many records behind it, and an interval from so many times less to as many times more.
    fn response(kind: PhKind, value: f64, within: f64, records: i64) -> PhResponse {
        let record = |id: i64| match poured(id as u128, day(id), 1, 1.0, AdditionReason::Ph).what {
            What::Poured { id, .. } => id,
            _ => unreachable!(),
        };
        let records = (0..records).map(record).collect();
        let figure = Learnt { value, low: value / within, high: value * within, prior_share: 0.1, records };
        PhResponse { figure, kind, varies: 0.1 }
    }

    /// Where a tank of that water goes when it is dosed as advised after so many fills on record, and whether the advice could
    /// be given.
    fn landed(fills: i64, chance: &mut Chance) -> f64 {
        let factor = chance.normal(0.25).exp();
        let pairs = pairs(&acid_tank(factor, fills, chance), Metric::Ph);
        let response = ph_response(&pairs, product(0), Some(&titration));
        let (ph, litres) = (fresh_ph(chance), MARK_L * (1.0 + chance.normal(0.02)));
        let advised = step(ph + chance.normal(0.05), 0.02 * MARK_L, response.as_ref(), Some(1.0));
        let ml = advised.dose.map_or(0.0, |dose| dose.amount);
        acidified(ph, ml / litres / factor / of_this_fill(chance))
    }

    fn share(fills: i64, holds: impl Fn(f64) -> bool) -> f64 {
        let count = (0..1000).filter(|seed| holds(landed(fills, &mut Chance::new(*seed)))).count();
        count as f64 / 1000.0
    }

    /// 0.976. Under the prior alone none: that water takes about 1.2 meq/L, and the first step is 0.2.
    #[test]
    fn after_five_doses_the_first_step_lands_in_band_nine_times_of_ten() {
        let in_band = |ph: f64| band().holds(ph);
        let (learnt, alone) = (share(5, in_band), share(0, in_band));
        assert!(learnt >= 0.9 && alone < 0.05, "{learnt} {alone}");
    }

    /// 0, 0.035, 0.023, 0.015 and 0.013, with one reading on record of twenty wrong.
    #[test]
    fn the_far_edge_is_passed_once_in_twenty_at_most() {
        for fills in [0, 1, 2, 5, 20] {
            let passed = share(fills, |ph| ph < band().low);
            assert!(passed <= PASSING, "{fills}: {passed}");
        }
    }

    /// From 7.0 to 6.0 that water takes 3·(0.8171 − 0.3088) = 1.525 meq/L.
    #[test]
    fn the_prior_alone_gets_a_first_part() {
        let prior = ph_response(&[], product(0), Some(&titration)).unwrap();
        let weak = step(7.0, 4.0, Some(&prior), Some(1.0));
        assert_eq!(weak.reason, StepReason::FirstEquivalents);
        assert!((weak.dose.unwrap().amount - 0.2 * MARK_L).abs() < 1e-9, "{weak:?}");
        let near = step(6.1, 4.0, Some(&prior), Some(1.0));
        assert_eq!(near.reason, StepReason::FirstPart);
        let expected = 0.6 * MARK_L * titration(6.1, 6.0).unwrap();
        assert!((near.dose.unwrap().amount - expected).abs() < 1e-9, "{near:?}");
    }

    #[test]
    fn what_is_learnt_well_goes_to_the_aim_and_what_is_not_stops_before() {
        let well = step(7.0, 2.0, Some(&response(PhKind::Factor, 1.0, 1.1, 20)), Some(1.0));
        assert_eq!(well.reason, StepReason::ToAim);
        let dose = well.dose.unwrap();
        assert!(
            (dose.amount - MARK_L * 1.525).abs() < 0.02 * MARK_L && (dose.ph - 6.0).abs() < 0.02,
            "{dose:?}"
        );
        let badly = step(7.0, 2.0, Some(&response(PhKind::Factor, 1.0, 2.0, 2)), Some(1.0));
        assert_eq!(badly.reason, StepReason::ByChance);
        assert!(badly.dose.unwrap().amount < dose.amount);
    }

    #[test]
    fn where_nothing_is_known_there_is_no_amount() {
        let none = |reason| Step { dose: None, reason };
        assert_eq!(step(7.0, 2.0, None, None), none(StepReason::UnknownStrength));
        let factor = response(PhKind::Factor, 1.0, 1.1, 20);
        assert_eq!(step(7.0, 2.0, Some(&factor), None), none(StepReason::UnknownStrength));
        assert_eq!(step(5.0, 2.0, Some(&factor), Some(1.0)), none(StepReason::NotReached));
        assert_eq!(step(6.0, 2.0, Some(&factor), Some(1.0)), none(StepReason::AtAim));
        let empty = Litres { litres: 0.0, spread_l: 4.0 };
        let (band, chemistry) = (band(), Some(Chemistry { predicted: &titration, meq_per_unit: 1.0 }));
        let asked = StepAsked { ph: 7.0, band, litres: empty, response: Some(&factor), chemistry };
        assert_eq!(ph_step(&asked), none(StepReason::EmptyTank));
        let base = response(PhKind::PerUnit { lowers: false }, 0.1, 1.1, 20);
        assert_eq!(step(7.0, 2.0, Some(&base), None), none(StepReason::NotReached));
        let up = step(5.0, 2.0, Some(&base), None).dose.unwrap();
        assert!((up.amount - 0.1 * MARK_L).abs() < 0.3 && (up.ph - 6.0).abs() < 0.02, "{up:?}");
    }

    proptest! {
        #[test]
        fn more_is_to_go_more_is_dosed_and_the_aim_is_not_crossed(
            ph in 6.01..7.9f64, more in 0.0..1.0f64, within in 1.01..3.0f64, spread in 0.0..20.0f64,
            records in 0..3i64,
        ) {
            let response = response(PhKind::Factor, 1.1, within, records);
            let dose = |ph| step(ph, spread, Some(&response), Some(1.0)).dose.unwrap();
            let (less, much) = (dose(ph), dose(ph + more));
            prop_assert!(less.amount > 0.0 && less.amount <= much.amount + 1e-9, "{less:?} {much:?}");
            prop_assert!(less.ph >= 6.0 - 1e-3 && less.ph_low <= less.ph && less.ph <= less.ph_high);
            prop_assert!(less.ph < ph);
        }
    }

    #[test]
    fn an_empty_record_is_the_prior() {
        let record = TankRecord { fill_mark_l: MARK_L, events: Vec::new() };
        let (of_none, of_empty) = (
            ph_response(&[], product(0), Some(&titration)),
            ph_response(&pairs(&record, Metric::Ph), product(0), Some(&titration)),
        );
        assert_eq!(of_none, of_empty);
    }
}
