//! The stock of one product in a run.

use fillmark_advice::supply::{Coming, Expected, ProductAsked};
use fillmark_domain::stock::{Offer, OnHand};
use fillmark_domain::{Amount, Base, Id, Money};
use uuid::Uuid;

use super::super::recorded::Origin;
use super::deliveries::{Delivery, currency, supplier_id};

/// Less than this is a rounding, not a stock-out, mL.
const NOTHING: f64 = 1e-6;

/// What is counted of a product.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Counted {
    /// Weeks in which it ran out.
    pub(super) weeks_out: u32,
    /// Sum over the days of what was held, in days of mean use.
    pub(super) held: f64,
    /// Days.
    pub(super) days: u32,
    /// Orders placed.
    pub(super) orders: u32,
}

/// The stock of one product; below nought is what is owed.
pub(super) struct Shelf<'a> {
    truth: &'a [f64],
    mean: f64,
    pack: f64,
    held: f64,
    coming: Vec<(Delivery, f64)>,
    out_this_week: bool,
    pub(super) counted: Counted,
}

impl<'a> Shelf<'a> {
    /// Filled for so many days of the mean use before the first day, in whole packs of so many mL.
    pub(super) fn new(truth: &'a [f64], first: i64, days: f64, pack: f64) -> Shelf<'a> {
        let before = &truth[..usize::try_from(first).unwrap_or(0).min(truth.len())];
        let mean = before.iter().sum::<f64>() / before.len().max(1) as f64;
        let mean = if mean > 0.0 { mean } else { 1.0 };
        Shelf {
            truth,
            mean,
            pack,
            held: (mean * days / pack).ceil() * pack,
            coming: Vec::new(),
            out_this_week: false,
            counted: Counted::default(),
        }
    }

    /// Takes in what comes this morning, before anybody looks what to order.
    pub(super) fn begin_week(&mut self, day: i64) {
        self.take_in(day);
        self.out_this_week = false;
    }

    fn take_in(&mut self, day: i64) {
        let came = |(delivery, _): &(Delivery, f64)| delivery.arrives <= day;
        self.held += self.coming.iter().filter(|one| came(one)).map(|(_, amount)| amount).sum::<f64>();
        self.coming.retain(|one| !came(one));
    }

    /// Tells a forecast what is held and under way, and as what it can be bought.
    pub(super) fn show(&self, asked: &mut ProductAsked, origin: &Origin) {
        asked.on_hand = vec![OnHand {
            lot: Id::new(Uuid::from_u128(1)),
            held: Amount::rounded(self.held.max(0.0)),
            expiry: None,
            received_on: origin.date,
            released: true,
        }];
        let coming = self.coming.iter();
        asked.on_order = coming
            .map(|(delivery, amount)| Expected {
                on: delivery.expected_on,
                amount: Amount::rounded(*amount),
                coming: Coming::Ordered(delivery.ordered),
            })
            .collect();
        asked.offers = vec![Offer {
            supplier: supplier_id(),
            product: asked.product,
            pack: Amount::rounded(self.pack),
            base: Base::Volume,
            price: Money::new(1_000, currency()),
            minimum_packs: 0,
        }];
    }

    /// What is owed and comes on top of an order.
    pub(super) fn owed(&self) -> f64 {
        (-self.held).max(0.0)
    }

    /// Orders so much, mL, in whole packs.
    pub(super) fn order(&mut self, amount: f64, delivery: Delivery) {
        self.coming.push((delivery, (amount / self.pack - NOTHING).ceil() * self.pack));
        self.counted.orders += 1;
    }

    /// A day passes: what comes is taken in, then what is used is poured.
    pub(super) fn pass(&mut self, day: i64) {
        self.take_in(day);
        let used = usize::try_from(day).ok().and_then(|day| self.truth.get(day));
        self.held -= used.copied().unwrap_or(0.0);
        if self.held < -NOTHING && !self.out_this_week {
            self.out_this_week = true;
            self.counted.weeks_out += 1;
        }
        self.counted.held += self.held.max(0.0) / self.mean;
        self.counted.days += 1;
    }
}
