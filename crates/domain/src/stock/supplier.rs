//! Suppliers and what they offer.

use chrono::NaiveTime;

use super::Product;
use crate::{Amount, Currency, Id, Money, Week};

/// Who sells, and on which terms.
#[derive(Debug, Clone, PartialEq)]
pub struct Supplier {
    /// As people call it.
    pub name: String,
    /// Weekdays on which orders are taken.
    pub order_days: Week,
    /// An order later than this (local time of the site) counts for the next order day.
    pub cut_off: NaiveTime,
    /// Days from order to delivery, by the supplier's own word: the prior of the learnt lead time.
    pub promised_lead_days: u16,
    /// Least value of an order, minor units.
    pub minimum_order_minor: i64,
    /// Freight of one order, minor units.
    pub freight_minor: i64,
    /// Of both.
    pub currency: Currency,
}

impl Supplier {
    /// Least value of an order.
    pub fn minimum_order(&self) -> Money {
        Money::new(self.minimum_order_minor, self.currency)
    }
}

/// A pack of a product at a price. The one with the lower price per litre is not always cheaper: packs are whole.
#[derive(Debug, Clone, PartialEq)]
pub struct Offer {
    /// Whose offer.
    pub supplier: Id<Supplier>,
    /// Of what.
    pub product: Id<Product>,
    /// What one pack holds.
    pub pack: Amount,
    /// Price of one pack.
    pub price: Money,
    /// Packs that must be bought at least.
    pub minimum_packs: u32,
}
