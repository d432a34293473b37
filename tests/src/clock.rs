//! A clock that stands still until it is moved.

use std::sync::atomic::{AtomicI64, Ordering};

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_actions::Clock;

/// Stands still until it is moved.
#[derive(Debug)]
pub struct MovedClock(AtomicI64);

impl MovedClock {
    /// A clock that stands at an instant.
    pub fn at(instant: DateTime<Utc>) -> Self {
        Self(AtomicI64::new(instant.timestamp_millis()))
    }

    /// Moves it to an instant.
    pub fn set(&self, instant: DateTime<Utc>) {
        self.0.store(instant.timestamp_millis(), Ordering::SeqCst);
    }

    /// Moves it by a span.
    pub fn advance(&self, by: TimeDelta) {
        self.0.fetch_add(by.num_milliseconds(), Ordering::SeqCst);
    }
}

impl Clock for MovedClock {
    fn now(&self) -> DateTime<Utc> {
        DateTime::from_timestamp_millis(self.0.load(Ordering::SeqCst)).unwrap_or_default()
    }
}
