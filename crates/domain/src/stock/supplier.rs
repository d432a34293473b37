//! Suppliers and what they offer.

use chrono::{Days, NaiveDate, NaiveDateTime, NaiveTime};

use super::Product;
use crate::{Amount, Base, Currency, Id, Money, Week};

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
    /// The day an order given at this local time counts for; none when the supplier takes orders on no day.
    pub fn takes_on(&self, given: NaiveDateTime) -> Option<NaiveDate> {
        let late = u64::from(given.time() > self.cut_off);
        let first = given.date().checked_add_days(Days::new(late))?;
        first.iter_days().take(7).find(|day| self.order_days.has(*day))
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
    /// What the pack is counted in: the product's base.
    pub base: Base,
    /// Price of one pack.
    pub price: Money,
    /// Packs that must be bought at least. A price break is one more offer of the same pack: cheaper, from this number on.
    pub minimum_packs: u32,
}

impl Offer {
    /// What one mL (or g) costs, in minor units.
    pub fn price_per_unit(&self) -> f64 {
        self.price.minor as f64 / self.pack.base_units()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use chrono::Weekday;

    #[track_caller]
    fn check(order_days: &[Weekday], given: &str, counts_for: Option<&str>) {
        let supplier = Supplier {
            name: "Greenline".into(),
            order_days: Week::of(order_days.iter().copied()),
            cut_off: "12:00:00".parse().unwrap(),
            promised_lead_days: 2,
            minimum_order_minor: 0,
            freight_minor: 0,
            currency: Currency::from_code("EUR").unwrap(),
        };
        let counts_for = counts_for.map(|day| day.parse().unwrap());
        assert_eq!(supplier.takes_on(given.parse().unwrap()), counts_for, "{given}");
    }

    #[test]
    fn an_order_after_the_cut_off_counts_for_the_next_order_day() {
        // 24 November 2026 is a Tuesday.
        let days = [Weekday::Tue, Weekday::Thu];
        check(&days, "2026-11-24T12:00:00", Some("2026-11-24"));
        check(&days, "2026-11-24T12:00:01", Some("2026-11-26"));
        check(&days, "2026-11-27T09:00:00", Some("2026-12-01"));
        check(&[], "2026-11-24T12:00:00", None);
    }
}
