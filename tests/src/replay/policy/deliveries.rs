//! The supplier of a run: how long each order takes, and what of it is known on a day.

use std::collections::HashMap;

use chrono::{Days, NaiveDate, Weekday};
use fillmark_advice::supply::inventory::normal_tail_inverse;
use fillmark_advice::supply::{Ordered, PastOrder, SupplierAsked};
use fillmark_domain::stock::Supplier;
use fillmark_domain::{Currency, Days as Span, Id, OpenDays, Week};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};
use uuid::Uuid;

use super::super::recorded::{Origin, Recorded};
use super::super::scenario::What;

/// Where a file does not tell how long its supplier takes: a week, and the spread of the middle of the simulated ones.
const UNTOLD_DAYS: f64 = 7.0;
const UNTOLD_LOG_SD: f64 = 0.35;

/// An order on its way.
#[derive(Debug, Clone, Copy)]
pub(super) struct Delivery {
    /// When it will come; nobody knows.
    pub(super) arrives: i64,
    /// When it is expected by what was known as it was placed.
    pub(super) expected_on: NaiveDate,
    /// What the forecast is told of it.
    pub(super) ordered: Ordered,
}

/// All orders of a run. Those on record before it are known to the learner; those recorded later never happened in it.
pub(super) struct Deliveries<'a> {
    site: &'a Recorded,
    open: OpenDays,
    before: Vec<PastOrder>,
    placed: Vec<PastOrder>,
    drawn: StdRng,
    doubles_on: i64,
}

impl<'a> Deliveries<'a> {
    /// Of a run that begins on a day, with lead times twice as long for orders from another day on.
    pub(super) fn new(site: &'a Recorded, begins_on: NaiveDate, doubles_on: i64) -> Deliveries<'a> {
        let seed = site.name.bytes().fold(7, |sum: u64, byte| sum.wrapping_mul(31).wrapping_add(byte.into()));
        let weekdays = site.plan.open_weekdays.iter().filter_map(|day| Weekday::try_from(*day).ok());
        let closures = site.plan.closed_dates.iter().map(|day| Span { from: *day, until: *day }).collect();
        Deliveries {
            site,
            open: OpenDays { week: Week::of(weekdays), closures },
            before: recorded(site, begins_on),
            placed: Vec::new(),
            drawn: StdRng::seed_from_u64(seed),
            doubles_on,
        }
    }

    /// The supplier as he is known on a day.
    pub(super) fn supplier(&self, today: NaiveDate) -> SupplierAsked {
        let (arrived, waited_for): (Vec<_>, Vec<_>) =
            self.placed.iter().partition(|order| order.arrived_on <= today);
        SupplierAsked {
            supplier: supplier_id(),
            order_days: Week::of([super::ORDER_DAY]),
            orders_from: today,
            promised_lead_days: self.promised_days().round() as u16,
            minimum_order_minor: 0,
            freight_minor: 0,
            currency: currency(),
            past_orders: self.before.iter().copied().chain(arrived).collect(),
            waited_for: waited_for.into_iter().map(|order: PastOrder| order.placed_on).collect(),
        }
    }

    fn promised_days(&self) -> f64 {
        self.site.plan.supplier_lead_days.as_ref().map_or(UNTOLD_DAYS, |lead| lead.median_quoted)
    }

    /// Places an order: its lead time is log-normal in whole days, at least one, and comes on a day on which somebody works.
    pub(super) fn draw(&mut self, origin: &Origin, mean_days: f64) -> Delivery {
        let truth = &self.site.truth;
        let median = truth.lead_median_days.unwrap_or_else(|| self.promised_days());
        let factor = if origin.day >= self.doubles_on { 2.0 } else { 1.0 };
        let z = normal_tail_inverse(self.drawn.random_range(1e-9..1.0)).unwrap_or_default();
        let log_sd = truth.lead_sigma_log.unwrap_or(UNTOLD_LOG_SD);
        let days = (factor * median * (log_sd * z).exp()).round().max(1.0);
        let arrived_on = self.open_after(origin.date, days);
        self.placed.push(PastOrder { placed_on: origin.date, arrived_on });
        Delivery {
            arrives: origin.day + (arrived_on - origin.date).num_days(),
            expected_on: self.open_after(origin.date, mean_days.round()),
            ordered: Ordered {
                order: Id::new(Uuid::from_u128(origin.day.unsigned_abs().into())),
                supplier: supplier_id(),
                placed_on: origin.date,
            },
        }
    }

    fn open_after(&self, date: NaiveDate, days: f64) -> NaiveDate {
        let on = date + Days::new(days as u64);
        self.open.on_or_after(on).unwrap_or(on)
    }
}

/// Who sells in a run.
pub(super) fn supplier_id() -> Id<Supplier> {
    Id::new(Uuid::from_u128(1))
}

/// In what prices of a run are told.
pub(super) fn currency() -> Currency {
    Currency::from_code("EUR").expect("it is a code")
}

/// Orders that came in before a day, by the record.
fn recorded(site: &Recorded, before: NaiveDate) -> Vec<PastOrder> {
    let mut placed = HashMap::new();
    let mut orders = Vec::new();
    for event in site.events.iter().filter(|event| event.date < before) {
        match &event.what {
            What::Order { order, .. } => {
                placed.insert(order.as_str(), event.date);
            }
            What::Receipt { order: Some(order), .. } => {
                let placed_on = placed.remove(order.as_str());
                orders.extend(placed_on.map(|placed_on| PastOrder { placed_on, arrived_on: event.date }));
            }
            _ => {}
        }
    }
    orders
}
