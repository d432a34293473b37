//! A meter that is out of calibration: what it reads is off by one factor. Where others agree with what was poured it is the meter;
//! where there is no other, it may as well be all that was poured.

use std::collections::BTreeSet;

use fillmark_domain::Id;
use fillmark_domain::entries::Meter;

use super::{Checked, Rise, Verdict};
use crate::solution::uptake::{SURE, median};

/// With fewer checks a factor is chance, or one slip (our own judgement).
const ENOUGH: usize = 5;

/// Beyond this a factor is a slip, and no meter (our own judgement): cells foul or dry by less.
const FACTORS: std::ops::RangeInclusive<f64> = 0.5..=2.0;

/// How many times as much as it should a meter shows, by the checks of it.
struct Factor {
    value: f64,
    spread: f64,
    checks: usize,
}

/// Gives the checks of a meter that is out that verdict, in place of what each for itself would say.
pub(super) fn tell_meters_out(checks: &mut [Checked]) {
    let meters: BTreeSet<Id<Meter>> = checks.iter().filter_map(|check| check.meter).collect();
    for meter in meters {
        let Some(verdict) = out_by(checks, meter) else { continue };
        let factor = verdict.factor;
        for check in checks.iter_mut().filter(|check| check.meter == Some(meter)) {
            let fits = factor_of(check).is_some_and(|one| (one.value - factor).abs() <= SURE * one.spread);
            if fits {
                check.verdict = match verdict.others_agree {
                    true => Verdict::MeterOut { meter, factor },
                    false => Verdict::MeterOrProducts { meter, factor },
                };
            }
        }
    }
}

/// By how much a meter is off, and whether others say that it is the meter.
struct Out {
    factor: f64,
    others_agree: bool,
}

/// The factor of a meter that is off beyond its uncertainty. Others, where there are enough checks by them, must mostly agree with the
/// records and differ from it too.
fn out_by(checks: &[Checked], meter: Id<Meter>) -> Option<Out> {
    let (own, others): (Vec<&Checked>, Vec<&Checked>) = checks
        .iter()
        .filter(|check| check.meter.is_some() && factor_of(check).is_some())
        .partition(|check| check.meter == Some(meter));
    let own = middle(&own)?;
    let off = (own.value - 1.0).abs() > SURE * own.spread && FACTORS.contains(&own.value);
    let out = |others_agree| off.then_some(Out { factor: own.value, others_agree });
    let Some(rest) = middle(&others) else { return out(false) };
    let agreeing = others.iter().filter(|check| check.verdict == Verdict::Agrees).count();
    let beyond = (own.value - rest.value).abs() > SURE * own.spread.hypot(rest.spread);
    (beyond && 2 * agreeing > rest.checks).then(|| out(true)).flatten()
}

/// A meter that shows all of it too high by a factor shows what was brought too high by it: the tank before was read with it
/// too.
fn factor_of(check: &Checked) -> Option<Factor> {
    let rise = check.rise.filter(|rise| !check.poured.is_empty() && rise.brought > 0.0)?;
    let Rise { spread, brought, .. } = rise;
    Some(Factor { value: 1.0 + rise.difference() / brought, spread: spread / brought, checks: 1 })
}

/// The median of the factors, that a slip cannot move. Its standard deviation is that of a normal sample's.
fn middle(checks: &[&Checked]) -> Option<Factor> {
    let factors: Vec<Factor> = checks.iter().filter_map(|check| factor_of(check)).collect();
    if factors.len() < ENOUGH {
        return None;
    }
    let value = median(factors.iter().map(|factor| factor.value).collect())?;
    let expected = median(factors.iter().map(|factor| factor.spread).collect())?;
    // A median scatters π/2 as much as a mean, in variance.
    let spread = expected * (std::f64::consts::FRAC_PI_2 / factors.len() as f64).sqrt();
    Some(Factor { value, spread, checks: factors.len() })
}
