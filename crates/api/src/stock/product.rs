//! Products and lots.

use chrono::NaiveDate;
use fillmark_domain::stock as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{BaseUnit, ProductKind, may_be_blank};
use crate::{Body, Code, Patch, Stored};

/// A product as kept.
pub type Product = Stored<NewProduct>;
/// A change of a product.
pub type ProductPatch = Patch<NewProduct>;
/// A lot as kept.
pub type Lot = Stored<NewLot>;
/// A change of a lot.
pub type LotPatch = Patch<NewLot>;

/// Something bought or made to be poured.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Grow A", "base": "mL", "kind": "concentrate", "mixing_rank": 20,
    "goes_with": [], "hazards": "", "storage": "cool and dark", "cautions": []}))]
pub struct NewProduct {
    /// Unique in the business.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Counted in mL or in g; stays as it is once there is a lot of it.
    pub base: BaseUnit,
    /// What it is for.
    pub kind: ProductKind,
    /// Order of pouring, lower first: silicates, then part A, then part B.
    #[schema(minimum = 0, maximum = 1000)]
    pub mixing_rank: i16,
    /// Parts that are useless without each other; ordered in step.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub goes_with: Vec<Uuid>,
    /// Hazards, in the words of label and safety data sheet.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub hazards: String,
    /// How it is stored.
    #[serde(default)]
    #[schema(max_length = 2000)]
    pub storage: String,
    /// What whoever handles it should be told. Answered only: what is sent is not looked at.
    #[serde(default)]
    #[schema(read_only, max_items = 10)]
    pub cautions: Vec<String>,
}

impl Body for NewProduct {
    type Word = words::Product;

    fn word(&self) -> Result<words::Product, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        faults.range("/mixing_rank", self.mixing_rank.into(), 0.0, 1000.0);
        faults.unless(self.goes_with.len() <= 20, "/goes_with", "too_many", "expected at most 20 products");
        may_be_blank(&mut faults, "/hazards", &self.hazards, 2000);
        may_be_blank(&mut faults, "/storage", &self.storage, 2000);
        faults.or(Some(words::Product {
            name: self.name.trim().to_owned(),
            base: self.base.0,
            kind: self.kind.0,
            mixing_rank: self.mixing_rank,
            goes_with: self.goes_with.iter().copied().map(Id::new).collect(),
            hazards: self.hazards.trim().to_owned(),
            storage: self.storage.trim().to_owned(),
        }))
    }

    fn of(word: &words::Product) -> Self {
        Self {
            name: word.name.clone(),
            base: Code(word.base),
            kind: Code(word.kind),
            mixing_rank: word.mixing_rank,
            goes_with: word.goes_with.iter().map(|product| product.uuid()).collect(),
            hazards: word.hazards.clone(),
            storage: word.storage.clone(),
            cautions: word.cautions().into_iter().map(str::to_owned).collect(),
        }
    }
}

/// One batch of a product, as printed on the pack. Receiving it makes it too.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"product_id": "019a0000-0000-7000-8000-000000000003", "revision_id": null, "number": "L2611",
    "expiry_on": "2027-11-30", "quarantined": false}))]
pub struct NewLot {
    /// Of which product; stays as it is.
    pub product_id: Uuid,
    /// The label it was made under.
    #[serde(default)]
    pub revision_id: Option<Uuid>,
    /// As printed; unique among the product's lots.
    #[schema(min_length = 1, max_length = 60)]
    pub number: String,
    /// Last day on which it may be used.
    #[serde(default)]
    pub expiry_on: Option<NaiveDate>,
    /// Held back: counted, and never issued.
    #[serde(default)]
    pub quarantined: bool,
}

impl Body for NewLot {
    type Word = words::Lot;

    fn word(&self) -> Result<words::Lot, Faults> {
        let mut faults = Faults::default();
        faults.text("/number", &self.number, 60);
        expiry(&mut faults, self.expiry_on);
        faults.or(Some(words::Lot {
            product: Id::new(self.product_id),
            revision: self.revision_id.map(Id::new),
            number: self.number.trim().to_owned(),
            expiry: self.expiry_on,
            quarantined: self.quarantined,
        }))
    }

    fn of(word: &words::Lot) -> Self {
        Self {
            product_id: word.product.uuid(),
            revision_id: word.revision.map(Id::uuid),
            number: word.number.clone(),
            expiry_on: word.expiry,
            quarantined: word.quarantined,
        }
    }
}

pub(super) fn expiry(faults: &mut Faults, expiry_on: Option<NaiveDate>) {
    let keepable = expiry_on.is_none_or(fillmark_domain::growing::is_keepable);
    faults.unless(keepable, "/expiry_on", "out_of_range", "expected a date of the years 2000 to 2100");
}
