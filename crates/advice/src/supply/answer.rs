//! What the forecast answers: each figure with its spread, its causes and how much it was learnt from.

use chrono::NaiveDate;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Offer, Order, Packs, Product, Supplier, WriteOff};
use fillmark_domain::{Amount, Base, Currency, Id, Money};

use super::baseline::Baseline;
use super::cause::{TankUse, UseByCause};
use super::question::{Expected, Reason};

/// The forecast of a site.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// One for each product asked about, in the order asked.
    pub products: Vec<ProductForecast>,
    /// What to order together, the most urgent first.
    pub orders: Vec<ProposedOrder>,
    /// Additions that look a thousand times off or entered twice, and what was reckoned with instead.
    pub suspected: Vec<SuspectedAddition>,
}

/// The forecast of a product.
#[derive(Debug, Clone, PartialEq)]
pub struct ProductForecast {
    /// Which.
    pub product: Id<Product>,
    /// Each day from today on.
    pub days: Vec<DayForecast>,
    /// What of those days each tank takes, in the order of the days.
    pub of_tanks: Vec<TankUse>,
    /// The tank changes that draw on it, each whole on the day by which it is as likely done as not, in mL (or g).
    pub changes: Vec<(NaiveDate, f64)>,
    /// What the figures were learnt from.
    pub learnt_from: LearntFrom,
    /// What past use alone would forecast; none of a product that was never used, or not for a
    /// whole week yet.
    pub baseline: Option<Baseline>,
    /// What is under way and counted on; what is overdue on the day by which it is as likely there as not.
    pub deliveries: Vec<Expected>,
    /// What will expire before it is used, at the expected use.
    pub spoils: Vec<WriteOff>,
    /// The first day on which the chance of running out exceeds what the service level allows, if nothing is ordered.
    pub may_run_out_on: Option<NaiveDate>,
    /// What to buy; none where no offer was given or the stock lasts.
    pub purchase: Option<Purchase>,
    /// What to keep in mind.
    pub cautions: Vec<Caution>,
}

impl Forecast {
    /// The same answer with the first days only: what to order does not depend on how far somebody looks.
    #[must_use]
    pub fn first_days(mut self, days: u16) -> Self {
        for product in &mut self.products {
            product.days.truncate(usize::from(days));
            product.of_tanks.retain(|one| one.place < usize::from(days));
            let last = product.days.last().map(|day| day.date);
            product.changes.retain(|(on, _)| Some(*on) <= last);
        }
        self
    }
}

impl ProductForecast {
    /// Expected use of the first days, mL (or g).
    pub fn expected_use(&self, days: usize) -> f64 {
        self.days.iter().take(days).map(|day| day.by_cause.total()).sum()
    }

    /// By when more of it is to be made on site.
    pub fn make_before(&self) -> Option<NaiveDate> {
        let before =
            |caution: &Caution| if let Caution::MakeBefore { on } = caution { Some(*on) } else { None };
        self.cautions.iter().find_map(before)
    }

    /// What the use from today until the end of a day (counted from 0) does not exceed with a chance, mL (or g).
    pub fn quantile_until(&self, day: usize, chance: f64) -> f64 {
        let Some(at) = self.days.get(day) else { return self.expected_use(day + 1) };
        (self.expected_use(day + 1) + super::normal::quantile(chance) * at.spread_until).max(0.0)
    }
}

/// One day of a forecast, in mL (or g).
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DayForecast {
    /// Which day.
    pub date: NaiveDate,
    /// Expected use by cause.
    pub by_cause: UseByCause,
    /// Standard deviation of the use from today until the end of this day.
    pub spread_until: f64,
    /// Expected stock at the end of the day, deliveries under way included; below 0 is what would be missing.
    pub balance: f64,
    /// Stock that is left or exceeded with the chance of the service level.
    pub balance_low: f64,
}

/// How many records a forecast was learnt from.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub struct LearntFrom {
    /// Fills in which this product was poured.
    pub fills: usize,
    /// Top-ups in which this product was poured.
    pub top_ups: usize,
    /// Amount poured over amount planned at fills; 1 before anything was learnt, none where no dose is planned.
    pub fill_ratio: Option<f64>,
    /// Changes whose planned day was known: how late they are.
    pub changes_on_plan: usize,
    /// Spans between two visits that taught the plants' uptake.
    pub uptake_spans: usize,
    /// Losses recorded.
    pub losses: usize,
    /// How often something was taken out of the store for another use.
    pub taken: usize,
}

/// When to order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OrderBy {
    /// The last order day that keeps the service level.
    On(NaiveDate),
    /// Even the next order day no longer does: order on it.
    Late(NaiveDate),
}

impl OrderBy {
    /// The day to order on.
    pub fn date(self) -> NaiveDate {
        match self {
            OrderBy::On(date) | OrderBy::Late(date) => date,
        }
    }
}

/// Days from order to delivery.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LeadTime {
    /// By the supplier's word, days.
    pub promised_days: u16,
    /// Expected, days.
    pub mean_days: f64,
    /// Standard deviation, days.
    pub sd_days: f64,
    /// Orders it was learnt from; at 0 it is the supplier's word and how far such words hold.
    pub orders: usize,
}

/// What to buy of one product, from one supplier.
#[derive(Debug, Clone, PartialEq)]
pub struct Purchase {
    /// Of what.
    pub product: Id<Product>,
    /// In what it is counted.
    pub base: Base,
    /// From whom.
    pub supplier: Id<Supplier>,
    /// When.
    pub order_by: OrderBy,
    /// Chance of running out before it arrives when ordered on that day.
    pub chance_of_running_out: f64,
    /// How long the supplier takes.
    pub lead_time: LeadTime,
    /// What keeps the service level until the order after it arrives, before rounding to packs.
    pub needed: Amount,
    /// At most this is used before it expires; none where it does not spoil.
    pub at_most: Option<Amount>,
    /// What other sites can give of it first; only the rest is bought.
    pub transfers: Vec<Transfer>,
    /// The cheapest packs that hold the rest, or some weeks more of it where that is cheaper by the litre; none where they would
    /// expire first or the transfers are enough.
    pub lines: Vec<PurchaseLine>,
    /// Why they hold more than the rest, where they do for the price.
    pub stocks_up: Option<StocksUp>,
    /// What the packs hold together.
    pub amount: Amount,
    /// Price of the packs.
    pub cost: Money,
    /// Ordered earlier than it needed, to be in step with this partner.
    pub in_step_with: Option<Id<Product>>,
    /// Ordered earlier than it needed, with what else is ordered of the supplier.
    pub brought_forward: Option<BroughtForward>,
    /// More than it needed, for the sake of the order it goes in.
    pub raised: Option<Raised>,
}

impl Purchase {
    /// Packs of all sizes.
    pub fn pack_count(&self) -> i64 {
        self.lines.iter().map(|line| line.packs.count).sum()
    }
}

/// Packs of one offer.
#[derive(Debug, Clone, PartialEq)]
pub struct PurchaseLine {
    /// As what.
    pub offer: Offer,
    /// How many, and what they hold.
    pub packs: Packs,
    /// Price of all of them.
    pub cost: Money,
}

/// Packs that hold more than is needed, since they are cheaper by the litre or kilogram.
#[derive(Debug, Clone, PartialEq)]
pub struct StocksUp {
    /// The cheapest packs that would have held what is needed.
    pub instead_of: Vec<PurchaseLine>,
    /// Whole weeks from today that the stock lasts with the packs, in the mean.
    pub lasts_weeks: i64,
}

/// What another site can give before anything is bought.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Transfer {
    /// Which site.
    pub from: SiteId,
    /// How much; with it gone that site still covers its own days at its service level.
    pub amount: Amount,
}

/// A purchase that goes along in an order before its own day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BroughtForward {
    /// The day of the order.
    pub to: NaiveDate,
    /// What is gained.
    pub gains: Gains,
}

/// A purchase of some weeks' use more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Raised {
    /// What would have been bought else.
    pub without: Amount,
    /// How many weeks.
    pub weeks: i64,
    /// What is gained.
    pub gains: Gains,
}

/// What is gained by ordering earlier, or more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Gains {
    /// The order comes nearer to the supplier's least value.
    LeastOrder,
    /// Freights are saved, which is more than holding it longer costs.
    Freight {
        /// The freights, minor units: of a purchase that goes along its own, of one of more weeks those of the orders that all of the
        /// order together saves.
        saved_minor: i64,
        /// What holding costs that is held longer for it, minor units.
        holding_minor: i64,
    },
}

/// Purchases from one supplier that go in one order.
#[derive(Debug, Clone, PartialEq)]
pub struct ProposedOrder {
    /// From whom.
    pub supplier: Id<Supplier>,
    /// The earliest day that one of its products asks for.
    pub order_by: OrderBy,
    /// What goes in it: all that would have to be ordered before the next review anyway, and what is brought forward into it.
    pub products: Vec<Id<Product>>,
    /// Price of all packs, without freight.
    pub value: Money,
    /// Freight, minor units of the same currency; none where the supplier's terms are in another.
    pub freight_minor: Option<i64>,
    /// What is missing to the supplier's least order, minor units; 0 when it is reached. None like the freight.
    pub below_minimum_minor: Option<i64>,
    /// What to keep in mind.
    pub cautions: Vec<Caution>,
}

/// Something that makes an answer weaker than it looks.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Caution {
    /// No fill or top-up of it is on record: the plan alone speaks.
    PlanOnly,
    /// No plan tells of it: what was used before speaks alone.
    PastOnly,
    /// No two visits teach what the plants take between them: top-ups reckon with an assumed uptake.
    UptakeAssumed {
        /// L of solution at the aim, per plant and day.
        litres: f64,
    },
    /// No water meter tells what a tank feeds to waste or draws: it is reckoned with an assumed uptake.
    FeedAssumed {
        /// L per plant and day.
        litres: f64,
    },
    /// From this day on plants stand at a tank in a stage that their programme has no step for: nothing is reckoned for it.
    NoStep {
        /// The first such day.
        on: NaiveDate,
    },
    /// Nobody was at a tank that takes it since this day, though plants are planned in it: it counts as far as it may be used again.
    LeftAlone {
        /// The last day on which somebody was there; the earliest of several tanks.
        since: NaiveDate,
    },
    /// The lead time is only the supplier's word.
    LeadTimeUnproven,
    /// Some of what is held is in quarantine: it is not counted on until somebody releases it.
    InQuarantine {
        /// How much.
        amount: Amount,
    },
    /// Some of the stock expires before it is used.
    StockSpoils,
    /// A full pack would expire before it is used, so fewer are proposed than are needed.
    CappedByExpiry,
    /// Some of what is ordered is not used before it expires: no smaller pack is offered.
    SomeLeftOver,
    /// Stock runs out within the horizon and nobody offers it.
    NoOffer,
    /// It may run out before what is under way comes, and no order would come sooner.
    GapUntilItComes {
        /// The first day on which the chance of running out is too large.
        from: NaiveDate,
    },
    /// It runs out within the horizon and is made on site: more of it is to be made before.
    MakeBefore {
        /// The first day on which the chance of running out is too large.
        on: NaiveDate,
    },
    /// The plan ends before the horizon does: later days count only what is planned.
    PlanEnds {
        /// The last day on which a tank that takes it is planned to be fed.
        on: NaiveDate,
    },
    /// An order has not come on its day.
    Overdue {
        /// Which.
        order: Id<Order>,
        /// When it should have come.
        expected_on: NaiveDate,
        /// How much is still to come of the product.
        amount: Amount,
        /// The day by which it is as likely there as not; none once it is later than the supplier's lead times allow, and not
        /// counted on.
        reckoned_on: Option<NaiveDate>,
    },
    /// Another site has sent some of it long ago, and nobody took it in: it is not counted on.
    NotTakenIn {
        /// When it left.
        sent_on: NaiveDate,
        /// How much.
        amount: Amount,
    },
    /// The supplier's least order and freight are in another currency than the prices: neither is reckoned with.
    TermsInOtherCurrency {
        /// The supplier's.
        currency: Currency,
    },
}

/// An addition that looks a thousand times off or entered twice.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SuspectedAddition {
    /// Position of its tank in the question.
    pub tank: usize,
    /// Of what.
    pub product: Id<Product>,
    /// When.
    pub on: NaiveDate,
    /// Why it was poured.
    pub reason: Reason,
    /// As recorded.
    pub recorded: Amount,
    /// As reckoned with: nothing where an equal one of the day counts already.
    pub reckoned: Amount,
    /// Median of the same tank, product and reason, that it was compared with.
    pub usual: Amount,
}
