//! Suppliers and offers.

use chrono::NaiveTime;
use fillmark_domain::stock as words;
use fillmark_domain::{Amount, Base, Currency, Faults, Id, Money};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::quantity;
use crate::places::{week, weekdays};
use crate::{Body, Patch, Quantity, Stored, Weekday};

/// A supplier as kept.
pub type Supplier = Stored<NewSupplier>;
/// A change of a supplier.
pub type SupplierPatch = Patch<NewSupplier>;
/// An offer as kept.
pub type Offer = Stored<NewOffer>;
/// A change of an offer.
pub type OfferPatch = Patch<NewOffer>;

/// The largest sum of money, minor units: beyond it nobody orders nutrients.
const LARGEST_MINOR: f64 = 1e12;
/// The largest pack, a tanker: packs times lines of an order still fit the ledger.
const LARGEST_PACK: Amount = Amount::from_thousandths(10_000_000_000);

/// Who sells, and on which terms.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "Greenline", "order_days": ["tuesday", "thursday"], "cut_off_local": "12:00",
    "promised_lead_days": 3, "minimum_order_minor": 10000, "freight_minor": 990, "currency": "EUR"}))]
pub struct NewSupplier {
    /// Unique in the business.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// Weekdays on which orders are taken, one at least.
    #[schema(min_items = 1, max_items = 7)]
    pub order_days: Vec<Weekday>,
    /// An order later than this, HH:MM in the site's time, counts for the next order day.
    #[serde(default = "end_of_day")]
    #[schema(min_length = 5, max_length = 5)]
    pub cut_off_local: String,
    /// Days from order to delivery, by the supplier's word.
    #[schema(minimum = 0, maximum = 365)]
    pub promised_lead_days: u16,
    /// Least value of an order, minor units.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 1000000000000i64)]
    pub minimum_order_minor: i64,
    /// Freight of one order, minor units.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 1000000000000i64)]
    pub freight_minor: i64,
    /// ISO 4217 code of both.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
}

fn end_of_day() -> String {
    "23:59".to_owned()
}

impl Body for NewSupplier {
    type Word = words::Supplier;

    fn word(&self) -> Result<words::Supplier, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        let some = "expected one weekday at least; a supplier who takes no orders any more is archived";
        faults.unless(!self.order_days.is_empty(), "/order_days", "count", some);
        faults.range("/promised_lead_days", self.promised_lead_days.into(), 0.0, 365.0);
        faults.range("/minimum_order_minor", self.minimum_order_minor as f64, 0.0, LARGEST_MINOR);
        faults.range("/freight_minor", self.freight_minor as f64, 0.0, LARGEST_MINOR);
        let cut_off = NaiveTime::parse_from_str(&self.cut_off_local, "%H:%M");
        let cut_off = cut_off.map_err(|_| "expected a time like 14:30");
        let cut_off = faults.take("/cut_off_local", "not_a_time", cut_off);
        let currency = currency(&mut faults, &self.currency);
        let supplier = cut_off.zip(currency).map(|(cut_off, currency)| words::Supplier {
            name: self.name.trim().to_owned(),
            order_days: week(&self.order_days),
            cut_off,
            promised_lead_days: self.promised_lead_days,
            minimum_order_minor: self.minimum_order_minor,
            freight_minor: self.freight_minor,
            currency,
        });
        faults.or(supplier)
    }

    fn of(word: &words::Supplier) -> Self {
        Self {
            name: word.name.clone(),
            order_days: weekdays(&word.order_days),
            cut_off_local: word.cut_off.format("%H:%M").to_string(),
            promised_lead_days: word.promised_lead_days,
            minimum_order_minor: word.minimum_order_minor,
            freight_minor: word.freight_minor,
            currency: word.currency.code(),
        }
    }
}

fn currency(faults: &mut Faults, code: &str) -> Option<Currency> {
    let currency = Currency::from_code(code).ok_or("expected an ISO 4217 code like EUR");
    faults.take("/currency", "unknown_currency", currency)
}

/// A pack of a product at a price, at a site.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"supplier_id": "019a0000-0000-7000-8000-000000000005", "product_id": "019a0000-0000-7000-8000-000000000003",
    "pack": {"value": 5000.0, "unit": "mL"}, "price_minor": 1990, "currency": "EUR", "minimum_packs": 1}))]
pub struct NewOffer {
    /// Whose offer.
    pub supplier_id: Uuid,
    /// Of what.
    pub product_id: Uuid,
    /// What one pack holds.
    pub pack: Quantity,
    /// Price of one pack, minor units.
    #[schema(minimum = 0, maximum = 1000000000000i64)]
    pub price_minor: i64,
    /// ISO 4217 code of the price: the site's.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
    /// Packs that must be bought at least. A price break is one more offer of the same pack: cheaper, from this number on.
    #[serde(default)]
    #[schema(minimum = 0, maximum = 100000)]
    pub minimum_packs: u32,
}

impl Body for NewOffer {
    type Word = words::Offer;

    fn word(&self) -> Result<words::Offer, Faults> {
        let mut faults = Faults::default();
        // The product says which base is right; the unit says which one was meant.
        let entered = self.pack.word();
        let read = Amount::entered(entered, Base::Volume).map(|pack| (pack, Base::Volume));
        let read = read.or_else(|not| match not {
            fillmark_domain::amount::NotAnAmount::WrongUnit { .. } => {
                Amount::entered(entered, Base::Mass).map(|pack| (pack, Base::Mass))
            }
            other => Err(other),
        });
        let pack = faults.take("/pack", "not_an_amount", read);
        let packable = pack.is_none_or(|(pack, _)| pack.is_positive() && pack <= LARGEST_PACK);
        faults.unless(packable, "/pack", "out_of_range", "expected more than nothing, at most 10000 L or kg");
        faults.range("/price_minor", self.price_minor as f64, 0.0, LARGEST_MINOR);
        faults.range("/minimum_packs", self.minimum_packs.into(), 0.0, 1e5);
        let currency = currency(&mut faults, &self.currency);
        let offer = pack.zip(currency).map(|((pack, base), currency)| words::Offer {
            supplier: Id::new(self.supplier_id),
            product: Id::new(self.product_id),
            pack,
            base,
            price: Money::new(self.price_minor, currency),
            minimum_packs: self.minimum_packs,
        });
        faults.or(offer)
    }

    fn of(word: &words::Offer) -> Self {
        Self {
            supplier_id: word.supplier.uuid(),
            product_id: word.product.uuid(),
            pack: quantity(word.pack, word.base),
            price_minor: word.price.minor,
            currency: word.price.currency.code(),
            minimum_packs: word.minimum_packs,
        }
    }
}
