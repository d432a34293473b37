//! What is held.

use chrono::NaiveDate;
use fillmark_domain::stock as words;
use fillmark_domain::{Amount, Base, Kept};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{BaseUnit, quantity};
use crate::{Code, Quantity};

/// What a site holds of a product.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProductStock {
    /// The product.
    pub product_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// What it is counted in.
    pub base: BaseUnit,
    /// What its lots hold together.
    pub balance: Quantity,
    /// What of it may be poured today: neither quarantined nor expired.
    pub usable: Quantity,
    /// What was used beyond the record and not settled since.
    pub shortage: Option<Quantity>,
    /// Its lots in the order they are poured, without what is used up.
    #[schema(max_items = 10000)]
    pub lots: Vec<LotHeld>,
    /// What whoever handles it should be told.
    #[schema(max_items = 10)]
    pub cautions: Vec<String>,
}

/// What a site holds of a lot.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LotHeld {
    /// The lot.
    pub lot_id: Uuid,
    /// As printed.
    #[schema(max_length = 60)]
    pub number: String,
    /// Last day on which it may be used.
    pub expiry_on: Option<NaiveDate>,
    /// Held back.
    pub quarantined: bool,
    /// The day it came to this site.
    pub received_on: NaiveDate,
    /// How much of it is there.
    pub balance: Quantity,
}

impl ProductStock {
    /// What is held of a product, as sums.
    pub fn of(
        product: &Kept<words::Product>,
        (balance, usable, short): (Amount, Amount, Amount),
        lots: Vec<LotHeld>,
    ) -> Self {
        let base = product.content.base;
        Self {
            product_id: product.id.uuid(),
            name: product.content.name.clone(),
            base: Code(base),
            balance: quantity(balance, base),
            usable: quantity(usable, base),
            shortage: short.is_positive().then(|| quantity(short, base)),
            lots,
            cautions: product.content.cautions().into_iter().map(str::to_owned).collect(),
        }
    }
}

impl LotHeld {
    /// What is held of a lot.
    pub fn of(lot: &Kept<words::Lot>, held: &words::OnHand, base: Base) -> Self {
        Self {
            lot_id: lot.id.uuid(),
            number: lot.content.number.clone(),
            expiry_on: lot.content.expiry,
            quarantined: lot.content.quarantined,
            received_on: held.received_on,
            balance: quantity(held.held, base),
        }
    }
}
