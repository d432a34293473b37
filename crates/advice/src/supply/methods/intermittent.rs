//! Use that comes now and then: how much at a time and how often are smoothed apart, since smoothing the zeros between
//! forecasts most just after a use, when the next is farthest.

/// Size and interval of uses.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Croston {
    /// Use in a period that has one; 0 when none ever had.
    pub size: f64,
    /// Periods from one such period to the next.
    pub interval: f64,
    /// What the ratio is multiplied with: 1, or less where its bias is taken out.
    pub factor: f64,
}

impl Croston {
    /// Forecast of each period to come.
    pub fn per_period(&self) -> f64 {
        self.factor * self.size / self.interval
    }
}

/// J. D. Croston, Operational Research Quarterly 23 (1972) 289–303: starts with the first use and the place of its
/// period, and learns only in periods with a use, so zeros after the last one change nothing.
pub fn croston(uses: &[f64], alpha: f64) -> Croston {
    let mut used = uses.iter().zip(1_u32..).filter(|(used, _)| **used != 0.0);
    let Some((size, mut last)) = used.next() else {
        return Croston { size: 0.0, interval: 1.0, factor: 1.0 };
    };
    let mut learnt = Croston { size: *size, interval: f64::from(last), factor: 1.0 };
    for (size, place) in used {
        learnt.size = toward(learnt.size, *size, alpha);
        learnt.interval = toward(learnt.interval, f64::from(place - last), alpha);
        last = place;
    }
    learnt
}

/// Croston's with the bias of a ratio taken out, by the factor 1 − α/2: A. A. Syntetos and J. E. Boylan, International
/// Journal of Forecasting 21 (2005) 303–314.
pub fn sba(uses: &[f64], alpha: f64) -> Croston {
    Croston { factor: 1.0 - alpha / 2.0, ..croston(uses, alpha) }
}

/// Size of uses and the chance of one in a period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Tsb {
    /// Use in a period that has one; 0 when none ever had.
    pub size: f64,
    /// Chance that a period has one.
    pub chance: f64,
}

impl Tsb {
    /// Forecast of each period to come.
    pub fn per_period(&self) -> f64 {
        self.size * self.chance
    }
}

/// R. H. Teunter, A. A. Syntetos and M. Z. Babai, European Journal of Operational Research 214 (2011) 606–615: the chance
/// is learnt in every period, so the forecast of a product that is no longer used fades.
pub fn tsb(uses: &[f64], alpha_size: f64, alpha_chance: f64) -> Tsb {
    let mut sizes = uses.iter().copied().filter(|used| *used != 0.0);
    let first = sizes.next().unwrap_or(0.0);
    let size = sizes.fold(first, |size, used| toward(size, used, alpha_size));

    let mut happened = uses.iter().map(|used| if *used == 0.0 { 0.0 } else { 1.0 });
    let first = happened.next().unwrap_or(0.0);
    let chance = happened.fold(first, |chance, happened| toward(chance, happened, alpha_chance));
    Tsb { size, chance }
}

fn toward(old: f64, new: f64, alpha: f64) -> f64 {
    alpha * new + (1.0 - alpha) * old
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, GOLDEN, cases};

    #[track_caller]
    fn check(case: &Case, learnt: Croston) {
        case.close("size", learnt.size);
        case.close("interval", learnt.interval);
        case.close_each("forecast", |_| learnt.per_period());
    }

    #[test]
    fn sizes_and_intervals_agree_with_golden_rows() {
        for case in cases(GOLDEN, "croston") {
            check(&case, croston(&case.uses(), case.number("alpha")));
        }
        for case in cases(GOLDEN, "sba") {
            check(&case, sba(&case.uses(), case.number("alpha")));
        }
    }

    #[test]
    fn sizes_and_chances_agree_with_golden_rows() {
        for case in cases(GOLDEN, "tsb") {
            let learnt = tsb(&case.uses(), case.number("alpha_d"), case.number("alpha_p"));
            case.close("size", learnt.size);
            case.close("prob", learnt.chance);
            case.close_each("forecast", |_| learnt.per_period());
        }
    }

    #[test]
    fn of_what_was_never_used_nothing_is_forecast() {
        for uses in [&[][..], &[0.0; 4]] {
            assert_eq!(croston(uses, 0.1).per_period(), 0.0);
            assert_eq!(sba(uses, 0.1).per_period(), 0.0);
            assert_eq!(tsb(uses, 0.1, 0.1).per_period(), 0.0);
        }
    }
}
