//! A figure that records have a say in: never bare, but with what it rests on.

use fillmark_domain::Id;
use fillmark_domain::entries::Addition;

/// A figure learnt from records, or expected before there are any.
#[derive(Debug, Clone, PartialEq)]
pub struct Learnt {
    /// The likeliest.
    pub value: f64,
    /// Lower end of the interval that holds it nine times of ten.
    pub low: f64,
    /// Upper end of that interval.
    pub high: f64,
    /// How much of it is what was expected before any record, 0 to 1.
    pub prior_share: f64,
    /// The additions it was learnt from, the earliest first.
    pub records: Vec<Id<Addition>>,
}

impl Learnt {
    /// How many additions it was learnt from, in words.
    pub fn from_additions(&self) -> String {
        match self.records.len() {
            0 => "no addition".to_owned(),
            1 => "one addition".to_owned(),
            count => format!("{count} additions"),
        }
    }
}
