//! Shares of a number of cases, with the interval that such a number allows.

use statrs::distribution::{ContinuousCDF, Normal};

/// From a lowest to a highest value.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Lowest.
    pub low: f64,
    /// Highest.
    pub high: f64,
}

/// So many of so many.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Share {
    /// Cases that were so.
    pub hits: usize,
    /// All cases.
    pub n: usize,
}

impl Share {
    /// The share of cases that are so.
    pub fn of(cases: impl IntoIterator<Item = bool>) -> Share {
        cases.into_iter().fold(Share::default(), |share, hit| Share {
            hits: share.hits + usize::from(hit),
            n: share.n + 1,
        })
    }

    /// The share itself; none of no cases.
    pub fn value(self) -> Option<f64> {
        (self.n > 0).then(|| self.hits as f64 / self.n as f64)
    }

    /// Its 95 % interval; none of no cases.
    pub fn interval(self) -> Option<Interval> {
        self.wilson(0.95)
    }

    /// The score interval of E. B. Wilson, JASA 22 (1927) 209–212, at this confidence: unlike the textbook's
    /// it never leaves 0–1 and is not a point when all or none were so. None of no cases, or for a
    /// confidence that is not between 0 and 1.
    pub fn wilson(self, confidence: f64) -> Option<Interval> {
        let share = self.value()?;
        if !(0.0 < confidence && confidence < 1.0) {
            return None;
        }
        let z = Normal::standard().inverse_cdf(f64::midpoint(1.0, confidence));
        let n = self.n as f64;
        let widen = 1.0 + z * z / n;
        let centre = (share + z * z / (2.0 * n)) / widen;
        let half = z * (share * (1.0 - share) / n + z * z / (4.0 * n * n)).sqrt() / widen;
        Some(Interval {
            low: if self.hits == 0 { 0.0 } else { (centre - half).max(0.0) },
            high: if self.hits == self.n { 1.0 } else { (centre + half).min(1.0) },
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::review::rows::{close, rows};

    #[test]
    fn intervals_of_shares_agree_with_published_ones() {
        for row in rows("wilson") {
            let count = |name: &str| row["inputs"][name].as_u64().unwrap() as usize;
            let share = Share { hits: count("x"), n: count("n") };
            let interval = share.wilson(row["inputs"]["conf"].as_f64().unwrap_or(0.95)).unwrap();
            close(&row, "lo", Some(interval.low));
            close(&row, "hi", Some(interval.high));
        }
    }

    #[test]
    fn of_no_cases_there_is_no_share() {
        assert_eq!(Share::of([]).value(), None);
        assert_eq!(Share::of([]).interval(), None);
        assert_eq!(Share::of([true, false]).wilson(1.0), None);
    }
}
