//! Bands: what a metric should be.

use crate::{Coded, Metric, Unit};

/// Low, aim and high of one metric, in its canonical unit. Closed: the edges are in band.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Band {
    /// What is banded.
    pub metric: Metric,
    /// Lowest value in band.
    pub low: f64,
    /// What a correction aims at.
    pub aim: f64,
    /// Highest value in band.
    pub high: f64,
}

impl Band {
    /// A band, when its numbers are in order and a meter can show them.
    /// # Errors
    /// [`NotABand`] unless low ≤ aim ≤ high, and both ends are values of the metric.
    pub fn new(metric: Metric, low: f64, aim: f64, high: f64) -> Result<Band, NotABand> {
        if !(low <= aim && aim <= high) {
            return Err(NotABand::OutOfOrder { low, aim, high });
        }
        let (lowest, highest) = metric.limits();
        if low < lowest || high > highest {
            let unit = metric.unit();
            return Err(NotABand::Impossible { low, high, lowest, highest, unit });
        }
        Ok(Band { metric, low, aim, high })
    }

    /// Whether a value is in band.
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// Numbers that are no band.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotABand {
    /// Not from low to high.
    #[error("expected low ≤ aim ≤ high, found {low}, {aim}, {high}")]
    OutOfOrder {
        /// As given.
        low: f64,
        /// As given.
        aim: f64,
        /// As given.
        high: f64,
    },
    /// What no meter can show.
    #[error("expected a band within {lowest} and {highest} {}, found {low} to {high}", unit.code())]
    Impossible {
        /// As given.
        low: f64,
        /// As given.
        high: f64,
        /// The lowest value that can be at all.
        lowest: f64,
        /// The highest.
        highest: f64,
        /// The unit of all four.
        unit: Unit,
    },
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(metric: Metric, (low, aim, high): (f64, f64, f64), expected: Option<&str>) {
        let refused = Band::new(metric, low, aim, high).err().map(|not| not.to_string());
        assert_eq!(refused.as_deref(), expected);
    }

    #[test]
    fn a_band_is_in_order_and_can_be_shown() {
        check(Metric::Ph, (5.8, 6.0, 6.4), None);
        check(Metric::Ph, (0.0, 7.0, 14.0), None);
        check(Metric::Ph, (6.4, 6.0, 5.8), Some("expected low ≤ aim ≤ high, found 6.4, 6, 5.8"));
        let told = "expected a band within 0 and 14 [pH], found 15 to 20";
        check(Metric::Ph, (15.0, 18.0, 20.0), Some(told));
        check(Metric::Ec, (f64::NAN, 1.0, 2.0), Some("expected low ≤ aim ≤ high, found NaN, 1, 2"));
    }
}
