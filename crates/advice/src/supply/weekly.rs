//! What is expected of a week where tank changes may fall into it or the next.
//!
//! A change that is done in this week or else in the next is used whole in one of them, and the mean of both is wrong in
//! either. So each week of a month is told what it exceeds with one and the same chance, at which they add up to what the
//! month is expected to use: a change that is likelier than not counts where it is likely, and one among many as a part.

use super::blend::JUDGED_DAYS;
use super::cause::UseByCause;
use super::spans::WEEK;
use super::usage::Usage;

/// Spread of what a week takes beside its changes, as a share of it; our own judgement.
const OTHERS_SPREAD: f64 = 0.15;

/// Of what would be moved so, this much is: how sure a week is, is no more than reckoned itself. Our own judgement.
const MOVED: f64 = 0.5;

/// Steps in which the use of a week is reckoned with.
const STEPS: usize = 120;

/// Halvings of the chance that is looked for.
const HALVINGS: usize = 24;

/// A tank that may be changed in a week.
#[derive(Debug, Clone, Copy)]
pub(super) struct Lump {
    /// Counted from the first day forecast.
    pub(super) week: usize,
    /// Expected number of changes.
    pub(super) number: f64,
    /// mL (or g) of one.
    pub(super) amount: f64,
}

/// Moves what is expected between the weeks of each month. What is surer in another week than told makes the sum until a
/// day between them less sure by as much.
pub(super) fn settle(usage: &mut Usage) {
    let mut moved = 0.0;
    let before: Vec<f64> = usage.days.iter().map(UseByCause::total).collect();
    for (month, days) in usage.days.chunks_mut(JUDGED_DAYS).enumerate() {
        let weeks: Vec<Vec<Lump>> = (0..days.len().div_ceil(WEEK))
            .map(|week| {
                let week = month * JUDGED_DAYS / WEEK + week;
                usage.lumps.iter().filter(|lump| lump.week == week).copied().collect()
            })
            .collect();
        settle_month(days, &weeks);
    }
    for (place, day) in usage.days.iter().enumerate() {
        moved += day.total() - before[place];
        usage.variance_until[place] += moved * moved;
    }
}

fn settle_month(days: &mut [UseByCause], weeks: &[Vec<Lump>]) {
    let told: f64 = days.iter().map(|day| day.changes).sum();
    let reckoned: f64 = weeks.iter().flatten().map(|lump| lump.number * lump.amount).sum();
    if reckoned <= 0.0 {
        return;
    }
    // What moves the pH is told in one.
    let scale = if told > 0.0 { told / reckoned } else { 1.0 };
    // A week without changes has nothing to be moved.
    let open = days.chunks_mut(WEEK).zip(weeks).filter(|(_, lumps)| !lumps.is_empty());
    let (mut open, spreads): (Vec<_>, Vec<_>) = open
        .map(|(week, lumps)| {
            let spread = Spread::of(week, lumps, scale);
            (week, spread)
        })
        .unzip();
    let wanted: f64 = spreads.iter().map(Spread::mean).sum();
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        let sum: f64 = spreads.iter().map(|spread| spread.below(middle)).sum();
        if sum < wanted { low = middle } else { high = middle }
    }
    // Where nothing lies between two chances, what is wanted lies between what they tell.
    let sum_at = |chance: f64| spreads.iter().map(|spread| spread.below(chance)).sum::<f64>();
    let (least, most) = (sum_at(low), sum_at(high));
    let part = if most > least { ((wanted - least) / (most - least)).clamp(0.0, 1.0) } else { 0.5 };
    for (week, spread) in open.iter_mut().zip(&spreads) {
        let reached = (1.0 - part) * spread.below(low) + part * spread.below(high);
        shift(week, MOVED * (reached - spread.mean()));
    }
}

/// Adds to what the changes of a week take; what moves the pH has them in one with the rest.
fn shift(week: &mut [UseByCause], by: f64) {
    let changes: f64 = week.iter().map(|day| day.changes).sum();
    let ph: f64 = week.iter().map(|day| day.ph).sum();
    if changes > 0.0 {
        let factor = ((changes + by) / changes).max(0.0);
        week.iter_mut().for_each(|day| day.changes *= factor);
    } else if ph > 0.0 {
        let factor = ((ph + by) / ph).max(0.0);
        week.iter_mut().for_each(|day| day.ph *= factor);
    }
}

/// Chances of what a week may take, in equal steps.
struct Spread {
    from: f64,
    step: f64,
    chances: Vec<f64>,
}

impl Spread {
    fn of(week: &[UseByCause], lumps: &[Lump], scale: f64) -> Spread {
        // What is lost tells nothing of the day on which a tank is changed.
        let all: f64 = week.iter().map(|day| day.planned()).sum();
        let of_changes: f64 = lumps.iter().map(|lump| lump.number * lump.amount * scale).sum();
        let unsure = OTHERS_SPREAD * (all - of_changes).max(0.0);
        let open = lumps.iter().map(|lump| lump.amount * scale).sum::<f64>() + 4.0 * unsure;
        let sure: f64 = lumps.iter().map(|lump| lump.number.floor() * lump.amount * scale).sum();
        let step = open.max(1e-9) / STEPS as f64;
        let mut spread = Spread { from: sure - 2.0 * unsure, step, chances: vec![1.0] };
        // Four coins are bell enough.
        (0..4).for_each(|_| spread.add(0.5, unsure));
        for lump in lumps {
            spread.add(lump.number - lump.number.floor(), lump.amount * scale);
        }
        spread
    }

    fn add(&mut self, chance: f64, amount: f64) {
        let steps = amount / self.step;
        let (whole, part) = (steps.floor() as usize, steps - steps.floor());
        let mut sum = vec![0.0; self.chances.len() + whole + 1];
        for (place, before) in self.chances.iter().enumerate() {
            sum[place] += before * (1.0 - chance);
            sum[place + whole] += before * chance * (1.0 - part);
            sum[place + whole + 1] += before * chance * part;
        }
        self.chances = sum;
    }

    fn mean(&self) -> f64 {
        let each = self.chances.iter().enumerate();
        self.from + self.step * each.map(|(place, chance)| place as f64 * chance).sum::<f64>()
    }

    /// What is not exceeded with a chance; each step's is spread evenly around it.
    fn below(&self, chance: f64) -> f64 {
        let mut sum = 0.0;
        for (place, one) in self.chances.iter().enumerate() {
            if sum + one >= chance {
                let within = if *one > 0.0 { (chance - sum) / one } else { 0.5 };
                return self.from + self.step * (place as f64 - 0.5 + within);
            }
            sum += one;
        }
        self.from + self.step * self.chances.len() as f64
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// What each of two weeks is told where tanks of these chances may be changed in the first or else in the second, 100 mL each,
    /// and each day takes 10 mL beside.
    #[track_caller]
    fn check(chances: &[f64], expected: [f64; 2]) {
        let mut days = vec![UseByCause { top_ups: 10.0, ..UseByCause::default() }; 14];
        let mut lumps = Vec::new();
        for chance in chances {
            days[3].changes += 100.0 * chance;
            days[10].changes += 100.0 * (1.0 - chance);
            lumps.push(Lump { week: 0, number: *chance, amount: 100.0 });
            lumps.push(Lump { week: 1, number: 1.0 - chance, amount: 100.0 });
        }
        let mut usage = Usage { days, variance_until: vec![0.0; 14], lumps, ..Usage::default() };
        settle(&mut usage);
        let told: Vec<f64> =
            usage.days.chunks(WEEK).map(|week| week.iter().map(|day| day.changes).sum()).collect();
        let close = told.iter().zip(expected).all(|(told, expected)| (told - expected).abs() < 3.0);
        assert!(close, "{told:?}");
    }

    #[test]
    fn a_change_that_is_likelier_this_week_counts_more_for_it() {
        check(&[0.8], [88.0, 12.0]);
        check(&[0.2], [12.0, 88.0]);
    }

    #[test]
    fn what_is_sure_or_open_stays() {
        check(&[1.0], [100.0, 0.0]);
        check(&[0.5], [50.0, 50.0]);
    }

    #[test]
    fn the_middle_of_many_changes_is_near_their_mean() {
        check(&[0.8; 8], [655.0, 145.0]);
    }
}
