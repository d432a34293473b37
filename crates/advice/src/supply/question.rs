//! What the forecast needs to know. Days before today are what happened, days from today on what is planned.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use fillmark_domain::stock::{Offer, OnHand, Order, Product, ProductKind, Supplier};
use fillmark_domain::{Amount, Currency, Id, OpenDays, Stage, Week};

/// Service level that is meant when a site names none: the chance of not running out before an order arrives.
pub const DEFAULT_SERVICE_LEVEL: f64 = 0.95;

/// Days that are forecast when nobody asks for another number.
pub const DEFAULT_HORIZON_DAYS: u16 = 90;

/// Days until an order is thought about again when nobody asks for another number.
pub const DEFAULT_REVIEW_DAYS: u16 = 7;

/// All that one site's forecast follows from.
#[derive(Debug, Clone, PartialEq)]
pub struct Question {
    /// The first day that is forecast, in the site's local time. Records end the day before.
    pub today: NaiveDate,
    /// Days to forecast, today included.
    pub horizon_days: u16,
    /// Days on which staff work: tanks are changed and topped up, and deliveries taken in, on these only.
    pub open: OpenDays,
    /// Wanted chance of not running out before an order arrives, between 0 and 1.
    pub service_level: f64,
    /// An order covers at least until the one placed so many days later is there.
    pub review_days: u16,
    /// The site's tanks that are in use.
    pub tanks: Vec<TankAsked>,
    /// The products to forecast. What is poured of others is left out.
    pub products: Vec<ProductAsked>,
    /// Who can be ordered from.
    pub suppliers: Vec<SupplierAsked>,
    /// Products that go together, such as A with B: ordered in step.
    pub in_step: Vec<(Id<Product>, Id<Product>)>,
}

/// How a tank uses what is poured into it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TankMode {
    /// Filled, topped up and changed: recirculating and batch tanks.
    Changed,
    /// Run to waste or a stock tank behind a doser: what is used follows the litres fed.
    Fed,
}

/// One tank, its plan and its records.
#[derive(Debug, Clone, PartialEq)]
pub struct TankAsked {
    /// Volume at the fill mark, L.
    pub working_volume_l: f64,
    /// How it uses product.
    pub mode: TankMode,
    /// The days on which a cycle drinks from it, past ones as they were, future ones as planned; no entry where
    /// nothing grows or the tank is out of use.
    pub fed: BTreeMap<NaiveDate, FedDay>,
    /// Changes that somebody wrote down, past ones too (they teach how late changes are). They win while they
    /// last; after the last one changes are projected from the interval of the programme.
    pub planned_changes: Vec<NaiveDate>,
    /// Coming days whose change somebody skipped: it is left out, and the interval goes on from that day.
    pub skipped_changes: Vec<NaiveDate>,
    /// Full changes that were done, today's too.
    pub changes_done: Vec<NaiveDate>,
    /// Changes of a part of the tank that were done.
    pub partial_changes: Vec<PartialChange>,
    /// Days on which somebody read the tank.
    pub visits: Vec<NaiveDate>,
    /// What was poured, shortages included: they were used, whatever the ledger held.
    pub additions: Vec<Addition>,
    /// Litres fed by day, where the mode is [`TankMode::Fed`].
    pub litres_fed: Vec<LitresFed>,
    /// The first coming day on which plants stand at it in a stage that their programme has no step for.
    pub without_step_on: Option<NaiveDate>,
}

/// What a tank feeds on one day.
#[derive(Debug, Clone, PartialEq)]
pub struct FedDay {
    /// The stage in force.
    pub stage: Stage,
    /// First day of the cycle.
    pub cycle_start: NaiveDate,
    /// Last day of the cycle, as it was or as it is planned.
    pub cycle_end: NaiveDate,
    /// Plants that drink from it.
    pub plants: f64,
    /// EC aimed at, source water included, mS/cm at 25 °C.
    pub ec_aim: f64,
    /// EC of the source water, mS/cm at 25 °C.
    pub source_ec: f64,
    /// Doses of a full change, already scaled to the EC aim.
    pub doses: Vec<Dose>,
    /// Strength of a top-up by the programme over that of a change. What is poured tells it better, once there is any.
    pub top_up_share: f64,
    /// Days between changes by the programme; none where it asks for no changes.
    pub change_every_days: Option<u16>,
}

/// What goes into a preparation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Ingredient {
    /// Which product.
    pub product: Id<Product>,
    /// mL (or g) of it in a mL (or g) of what is made.
    pub per_unit: f64,
}

/// The dose of one product.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dose {
    /// Of what.
    pub product: Id<Product>,
    /// mL (or g) in one litre.
    pub per_l: f64,
}

/// A change of a part of the tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PartialChange {
    /// When.
    pub on: NaiveDate,
    /// Part of the working volume that was replaced, between 0 and 1.
    pub share: f64,
}

/// Why something was poured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Reason {
    /// Filling after a change.
    Change,
    /// Filling up to the mark.
    TopUp,
    /// Correcting the pH.
    Ph,
    /// Correcting the EC.
    Strength,
}

/// Product poured into the tank; what went in with a change is an addition too.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Addition {
    /// Of what.
    pub product: Id<Product>,
    /// When.
    pub on: NaiveDate,
    /// How much.
    pub amount: Amount,
    /// Why.
    pub reason: Reason,
}

/// Litres that a tank fed on one day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LitresFed {
    /// When.
    pub on: NaiveDate,
    /// L.
    pub litres: f64,
    /// Days, at least one, whose litres were counted together: they are alike, so they tell of the spread but once.
    pub over_days: u32,
}

/// One product, its stock and what is on its way.
#[derive(Debug, Clone, PartialEq)]
pub struct ProductAsked {
    /// Which.
    pub product: Id<Product>,
    /// What it is for.
    pub kind: ProductKind,
    /// EC that one mL (or g) in one litre adds, mS/cm at 25 °C; weighs products where a top-up is several.
    pub ec_rise_per_unit_per_l: Option<f64>,
    /// What is held, lot by lot, as today begins.
    pub on_hand: Vec<OnHand>,
    /// What is ordered and still to come.
    pub on_order: Vec<Expected>,
    /// Use that no plan knew: write-offs that were no expiry, and count adjustments as found (more found than
    /// the ledger held is negative). A count that settles a shortage is none: the addition counted already.
    pub unplanned: Vec<Unplanned>,
    /// What was taken out of the store for other uses than tanks and preparations.
    pub taken: Vec<Unplanned>,
    /// What was taken out for preparations, by what was made.
    pub prepared: BTreeMap<Id<Product>, Vec<Unplanned>>,
    /// What a unit of it is made of, where it is made on site.
    pub made_of: Vec<Ingredient>,
    /// What it may be bought as, in the currency of the site.
    pub offers: Vec<Offer>,
    /// Days that a fresh pack may be used; none where it does not spoil.
    pub shelf_life_days: Option<u32>,
}

/// A delivery still to come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Expected {
    /// When, as it was agreed; a day that has passed makes it overdue.
    pub on: NaiveDate,
    /// How much.
    pub amount: Amount,
    /// From where.
    pub coming: Coming,
}

impl Expected {
    /// The order it belongs to, unless another site has sent it.
    pub fn order(&self) -> Option<Id<Order>> {
        match self.coming {
            Coming::Ordered(ordered) => Some(ordered.order),
            Coming::Sent { .. } => None,
        }
    }
}

/// From where something comes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Coming {
    /// From a supplier.
    Ordered(Ordered),
    /// From another site.
    Sent {
        /// The day on which it left.
        on: NaiveDate,
    },
}

/// An order that something is still to come of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ordered {
    /// Which.
    pub order: Id<Order>,
    /// From whom.
    pub supplier: Id<Supplier>,
    /// When it was placed.
    pub placed_on: NaiveDate,
}

/// Use that no plan knew.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Unplanned {
    /// When it was noticed.
    pub on: NaiveDate,
    /// How much is gone.
    pub amount: Amount,
}

/// A supplier's terms and how long past orders took.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplierAsked {
    /// Who.
    pub supplier: Id<Supplier>,
    /// Weekdays on which orders are taken.
    pub order_days: Week,
    /// The first day an order can count for: today, or tomorrow when the cut-off has passed.
    pub orders_from: NaiveDate,
    /// Days from order to delivery by the supplier's word.
    pub promised_lead_days: u16,
    /// Least value of an order, minor units.
    pub minimum_order_minor: i64,
    /// Freight of an order, minor units.
    pub freight_minor: i64,
    /// Of both; the business buys from one supplier for sites of several currencies.
    pub currency: Currency,
    /// Orders that arrived.
    pub past_orders: Vec<PastOrder>,
    /// When each order was placed that has not come yet.
    pub waited_for: Vec<NaiveDate>,
}

/// An order that arrived.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PastOrder {
    /// When it was placed.
    pub placed_on: NaiveDate,
    /// When it came.
    pub arrived_on: NaiveDate,
}

impl Question {
    /// Days from today to a date; negative before today.
    pub(super) fn offset(&self, date: NaiveDate) -> i64 {
        (date - self.today).num_days()
    }

    /// The date so many days from today.
    pub(super) fn date(&self, offset: i64) -> NaiveDate {
        self.today.checked_add_signed(chrono::TimeDelta::days(offset)).unwrap_or(self.today)
    }

    /// Days to forecast; at most two years, which no plan reaches.
    pub(super) fn horizon(&self) -> usize {
        usize::from(self.horizon_days).clamp(1, 731)
    }

    /// Position of a product among those asked about.
    pub(super) fn position(&self, product: Id<Product>) -> Option<usize> {
        self.products.iter().position(|asked| asked.product == product)
    }
}

impl FedDay {
    /// mL (or g) of a product in one litre; 0 where the programme has none.
    pub(super) fn dose_of(&self, product: Id<Product>) -> f64 {
        self.doses.iter().filter(|dose| dose.product == product).map(|dose| dose.per_l).sum()
    }
}
