//! What to count, and what came of a count.

use chrono::NaiveDate;
use fillmark_domain::stock as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::SlipKind;
use crate::{Code, Instant, Quantity, Unit};

/// Which products are counted, by its code.
pub type CountKind = Code<words::CountKind>;
/// Why a product is to be counted, by its code.
pub type WhyCount = Code<words::WhyCount>;
/// What a difference may come from, by its code.
pub type DifferenceKind = Code<words::DifferenceKind>;

/// What to count. What the ledger holds is not in it, so that people write down what they find.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CountList {
    /// Which products were asked for.
    pub kind: CountKind,
    /// The products, in the order to count them.
    #[schema(max_items = 10000)]
    pub products: Vec<ProductToCount>,
}

/// A product to count.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProductToCount {
    /// Which.
    pub product_id: Uuid,
    /// Its name.
    pub name: String,
    /// The unit to count it in.
    pub unit: Unit,
    /// Where it stands.
    pub storage: String,
    /// Numbers of the lots that should be there; count what is there, whatever they are.
    #[schema(max_items = 10000)]
    pub lot_numbers: Vec<String>,
    /// When all of it was counted last; null where it never was in the past year.
    pub counted_on: Option<NaiveDate>,
    /// Why it is to be counted.
    pub why: WhyCount,
}

/// A count that was made.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct StockCount {
    /// The slip of the count.
    pub slip_id: Uuid,
    /// What was counted.
    pub product_id: Uuid,
    /// Its name.
    pub name: String,
    /// The lot, where one alone was counted.
    pub lot_id: Option<Uuid>,
    /// When.
    pub done_at: Instant,
    /// Who entered it.
    pub entered_by: Option<Uuid>,
    /// What was found.
    pub counted: Quantity,
    /// By how much it changed the ledger as it was entered: below nought something was missing. What the difference is by now, with
    /// what was entered later for before it, `read_count` tells.
    pub changed: Quantity,
    /// Whether it was taken back, in whole or for one lot.
    pub taken_back: bool,
}

/// What a count found.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CountFound {
    /// The slip of the count.
    pub slip_id: Uuid,
    /// Its kind.
    pub kind: SlipKind,
    /// What was counted.
    pub product_id: Uuid,
    /// Its name.
    pub name: String,
    /// The lot, where one alone was counted.
    pub lot_id: Option<Uuid>,
    /// When.
    pub done_at: Instant,
    /// The count before, from which on the records were looked at; a year before where there is none.
    pub since_at: Instant,
    /// Whether there was a count before.
    pub counted_before: bool,
    /// What was found.
    pub counted: Quantity,
    /// What the ledger held.
    pub held: Quantity,
    /// Found less held: below nought something is missing.
    pub difference: Quantity,
    /// Taken out for use since then.
    pub taken: Quantity,
    /// What the difference may come from, the surest first.
    #[schema(max_items = 100000)]
    pub causes: Vec<DifferenceCause>,
    /// What to keep in mind.
    #[schema(max_items = 10)]
    pub cautions: Vec<String>,
}

/// What a difference may come from.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct DifferenceCause {
    /// Which kind it is.
    pub kind: DifferenceKind,
    /// The tank that shows it.
    pub tank_id: Option<Uuid>,
    /// The additions to look at.
    #[schema(max_items = 1000)]
    pub addition_ids: Vec<Uuid>,
    /// How much of the difference it explains, with its sign; null where nothing tells.
    pub explains: Option<Quantity>,
    /// In words.
    pub told: String,
}
