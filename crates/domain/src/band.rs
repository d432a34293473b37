//! Bands: what a metric should be.

use crate::Metric;

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
    /// A band, when its numbers are in order.
    /// # Errors
    /// [`NotABand`] unless low ≤ aim ≤ high.
    pub fn new(metric: Metric, low: f64, aim: f64, high: f64) -> Result<Band, NotABand> {
        if low <= aim && aim <= high {
            Ok(Band { metric, low, aim, high })
        } else {
            Err(NotABand { low, aim, high })
        }
    }

    /// Whether a value is in band.
    pub fn holds(&self, value: f64) -> bool {
        (self.low..=self.high).contains(&value)
    }
}

/// Numbers out of order.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
#[error("expected low ≤ aim ≤ high, found {low}, {aim}, {high}")]
pub struct NotABand {
    /// As given.
    pub low: f64,
    /// As given.
    pub aim: f64,
    /// As given.
    pub high: f64,
}
