//! A forecast as it was issued: kept, never changed, and held against what was used once its days are over.

use chrono::{DateTime, NaiveDate, Utc};

use super::{ProductId, UseCause};
use crate::Base;
use crate::people::PersonId;

/// Days ahead that a forecast is kept and scored for.
pub const SCORED_DAYS: [u16; 4] = [7, 14, 28, 42];

/// A forecast of a site as it was issued.
#[derive(Debug, Clone, PartialEq)]
pub struct IssuedForecast {
    /// The first day forecast, in the site's local time.
    pub today: NaiveDate,
    /// When it was issued.
    pub issued_at: DateTime<Utc>,
    /// Who asked for it; nobody for the one of each night.
    pub issued_by: Option<PersonId>,
    /// Chance of not running out that it plans for, 0 to 1.
    pub service_level: f64,
    /// One for each product.
    pub lines: Vec<IssuedLine>,
}

/// What was forecast of a product. Amounts in its base unit.
#[derive(Debug, Clone, PartialEq)]
pub struct IssuedLine {
    /// Which.
    pub product: ProductId,
    /// What it is counted in.
    pub base: Base,
    /// What was held as the day began.
    pub held: f64,
    /// The use until the end of each of [`SCORED_DAYS`].
    pub uses: Vec<IssuedUse>,
    /// When it might run out, if nothing were ordered.
    pub may_run_out_on: Option<NaiveDate>,
    /// What was to be ordered by when.
    pub order: Option<IssuedOrder>,
}

/// Use over the first days of a forecast.
#[derive(Debug, Clone, PartialEq)]
pub struct IssuedUse {
    /// How many days.
    pub days: u16,
    /// Expected.
    pub expected: f64,
    /// What nine times of ten is not exceeded.
    pub high_90: f64,
    /// What nineteen times of twenty is not exceeded.
    pub high_95: f64,
    /// What is expected for each cause; nothing of a forecast that was kept before causes were.
    pub by_cause: Vec<(UseCause, f64)>,
}

/// What was to be ordered.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct IssuedOrder {
    /// By which day.
    pub by: NaiveDate,
    /// How many packs, of all sizes.
    pub packs: i64,
    /// Of how much each, in the mean where they differ.
    pub pack: f64,
}
