//! What a tank feeds to waste or draws a day: by its meter, by what was poured for it, or as plants drink.

use super::history::{History, Regime, TankHistory};
use super::uptake::PRIOR_LITRES;

/// Days of litres fed that say what a tank feeds now.
const RECENT_DAYS: usize = 14;

/// A tank that was dosed by hand so lately is dosed by hand (our own judgement).
const BY_HAND_DAYS: usize = 56;

/// What was poured by hand for a day may be off from what was fed on it by this part (our own judgement).
const BY_HAND_SPREAD: f64 = 0.5;

/// What a tank feeds to waste or draws a day.
#[derive(Clone, Copy)]
pub(super) enum Fed {
    /// Nothing: it is changed.
    Nothing,
    /// So much, by its meter or by what was poured for it.
    Metered { litres: f64, variance: f64 },
    /// As plants drink that nothing is known of.
    Assumed,
}

impl Fed {
    /// L on a day.
    pub(super) fn litres(self, regime: &Regime) -> f64 {
        match self {
            Fed::Nothing => 0.0,
            Fed::Metered { litres, .. } => litres,
            Fed::Assumed => PRIOR_LITRES * regime.fed.plants,
        }
    }
}

/// Mean and variance of the last days on record. A single day says nothing of its spread: a quarter is assumed.
pub(super) fn litres_fed(history: &History, tank: &TankHistory, origin: usize) -> Fed {
    let known = &tank.litres_fed[..tank.litres_fed.partition_point(|(day, ..)| *day < origin)];
    let Some((last, ..)) = known.last() else {
        return dosed_by_hand(history, tank, origin).unwrap_or(Fed::Assumed);
    };
    let from = last.saturating_sub(RECENT_DAYS - 1);
    let recent = &known[known.partition_point(|(day, ..)| *day < from)..];
    let mean = recent.iter().map(|(_, litres, _)| litres).sum::<f64>() / recent.len() as f64;
    let squares: f64 = recent.iter().map(|(_, litres, _)| (litres - mean).powi(2)).sum();
    // The squares of the alike days of one rise add up to one estimate, so they are shared among rises, not days.
    let rises: f64 = recent.iter().map(|(.., over_days)| 1.0 / over_days).sum();
    Fed::Metered { litres: mean, variance: (squares + (0.25 * mean).powi(2)) / rises }
}

/// What a tank feeds that no meter tells of, by what was poured into it lately: the litres that it was dosed for, in the mean
/// of the products that it is planned to take. A single time tells of no rate.
fn dosed_by_hand(history: &History, tank: &TankHistory, origin: usize) -> Option<Fed> {
    let before = &tank.visits[..tank.visits.partition_point(|visit| visit.day < origin)];
    let lately = before.iter().filter(|visit| visit.day + BY_HAND_DAYS >= origin);
    let mut dosed_l = vec![0.0; history.products.len()];
    let mut days: Vec<usize> = Vec::new();
    for visit in lately {
        let Some(regime) = tank.fed(visit.day) else { continue };
        let amount = |poured: &[f64], place: usize| poured.get(place).copied().unwrap_or(0.0);
        for (place, dose) in regime.doses.iter().enumerate().filter(|(_, dose)| **dose > 0.0) {
            let poured = amount(&visit.fill, place) + amount(&visit.top_up, place);
            dosed_l[place] += poured / dose;
            days.extend((poured > 0.0).then_some(visit.day));
        }
    }
    days.dedup();
    let (first, last) = (*days.first()?, *days.last()?);
    // The last time is for as long as there was between the others.
    let gap = last.checked_sub(first).filter(|span| *span > 0)? as f64 / (days.len() - 1) as f64;
    let covered = ((last - first) as f64 + gap).max((origin - first) as f64);
    let dosed: Vec<f64> = dosed_l.into_iter().filter(|litres| *litres > 0.0).collect();
    let litres = dosed.iter().sum::<f64>() / dosed.len() as f64 / covered;
    Some(Fed::Metered { litres, variance: (BY_HAND_SPREAD * litres).powi(2) })
}

/// What a tank that is fed from was poured of a pH adjuster on each open day lately, mL (or g).
pub(super) fn adjusted_a_day(history: &History, tank: &TankHistory, origin: usize, place: usize) -> f64 {
    let from = origin.saturating_sub(BY_HAND_DAYS);
    let first = tank.visits.first().map_or(origin, |visit| visit.day).max(from);
    let fed = (first..origin).filter(|day| history.open[*day] && tank.fed(*day).is_some());
    let lately = tank.visits.iter().filter(|visit| (first..origin).contains(&visit.day));
    let amount = |poured: &[f64]| poured.get(place).copied().unwrap_or(0.0);
    let poured: f64 = lately.map(|visit| amount(&visit.fill) + amount(&visit.top_up)).sum();
    poured / fed.count().max(1) as f64
}
