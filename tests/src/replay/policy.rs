//! A site that orders once a week what the forecast proposes, day by day through the weeks that are scored: how often it runs
//! out, and what it holds for that.

mod deliveries;
mod figures;
mod shelf;

use chrono::{Datelike, Weekday};
use fillmark_advice::supply::{Purchase, SiteUse, answer, use_of};

use self::deliveries::Deliveries;
pub use self::figures::{Figures, JUDGED, LEVELS, Level, PUBLISHED, Published, days_at, means};
use self::shelf::Shelf;
use super::direct::Records;
use super::recorded::{Origin, Recorded};

/// Days between two orders, and between two days of asking.
const WEEK: i64 = 7;

/// The weekday of the first day of each file, on which a week begins.
const ORDER_DAY: Weekday = Weekday::Mon;

/// Days that the shelf is filled for before the first order.
const FIRST_STOCK_DAYS: f64 = 28.0;

/// In what an order is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sold {
    /// As much as is needed, to the drop.
    AnyQuantity,
    /// In the packs of the file.
    WholePacks,
}

/// How it came out at each of the [`LEVELS`], in any quantity and in whole packs; nothing for a file that has but one day of asking.
pub fn played(site: &Recorded, lead_doubles: bool) -> Option<[Vec<Figures>; 2]> {
    let weeks = weeks(site)?;
    let each =
        |sold| LEVELS.iter().map(|level| Run::new(site, &weeks, *level, sold, lead_doubles).play()).collect();
    Some([each(Sold::AnyQuantity), each(Sold::WholePacks)])
}

/// The days of asking that are scored, each with what will be used by its forecast.
fn weeks(site: &Recorded) -> Option<Vec<(Origin, SiteUse)>> {
    let records = Records::new(site);
    let days = site.days_of_asking();
    let scored: Vec<Origin> = days.into_iter().filter(|origin| site.scores(origin)).collect();
    let in_step = scored.len() > 1 && scored.windows(2).all(|pair| pair[1].day - pair[0].day == WEEK);
    let asked = |origin: Origin| {
        let used = use_of(&records.question(&origin));
        (origin, used)
    };
    in_step.then(|| scored.into_iter().map(asked).collect())
}

/// One run through the weeks.
struct Run<'a> {
    records: Records<'a>,
    weeks: &'a [(Origin, SiteUse)],
    level: f64,
    sold: Sold,
    deliveries: Deliveries<'a>,
    shelves: Vec<Shelf<'a>>,
}

impl<'a> Run<'a> {
    fn new(
        site: &'a Recorded,
        weeks: &'a [(Origin, SiteUse)],
        level: f64,
        sold: Sold,
        lead_doubles: bool,
    ) -> Run<'a> {
        let first = weeks[0].0.day;
        let last = weeks[weeks.len() - 1].0.day;
        let doubles_on = if lead_doubles { first.midpoint(last) } else { i64::MAX };
        let shelves = site.plan.products.iter().map(|product| {
            let truth = site.truth.daily_use_ml.get(&product.name).map_or(&[][..], Vec::as_slice);
            Shelf::new(truth, first, FIRST_STOCK_DAYS, pack(sold, product.pack_ml))
        });
        Run {
            records: Records::new(site),
            weeks,
            level,
            sold,
            deliveries: Deliveries::new(site, weeks[0].0.date, doubles_on),
            shelves: shelves.collect(),
        }
    }

    fn play(mut self) -> Figures {
        for (origin, used) in self.weeks {
            self.shelves.iter_mut().for_each(|shelf| shelf.begin_week(origin.day));
            self.order(origin, used);
            for day in origin.day..origin.day + WEEK {
                self.shelves.iter_mut().for_each(|shelf| shelf.pass(day));
            }
        }
        Figures::of(self.shelves.iter().map(|shelf| &shelf.counted), self.weeks.len())
    }

    /// What the forecast says to order today, and what was used that was not there: it is owed.
    fn order(&mut self, origin: &Origin, used: &SiteUse) {
        let mut question = self.records.question(origin);
        question.service_level = self.level;
        question.suppliers = vec![self.deliveries.supplier(origin.date)];
        // The published runs write their orders on closed Mondays too.
        question.open.closures.retain(|closure| closure.from.weekday() != ORDER_DAY);
        for (shelf, asked) in self.shelves.iter().zip(&mut question.products) {
            shelf.show(asked, origin);
        }
        let told = answer(&question, used.clone());
        for (shelf, product) in self.shelves.iter_mut().zip(&told.products) {
            let today = |purchase: &&Purchase| purchase.order_by.date() == origin.date;
            let Some(purchase) = product.purchase.as_ref().filter(today) else { continue };
            let ordered = match self.sold {
                Sold::AnyQuantity => purchase.needed,
                Sold::WholePacks => purchase.amount,
            };
            if ordered.is_positive() {
                let delivery = self.deliveries.draw(origin, purchase.lead_time.mean_days);
                // What is left in the packs goes to what is owed too.
                let with_owed = purchase.needed.base_units() + shelf.owed();
                shelf.order(ordered.base_units().max(with_owed), delivery);
            }
        }
    }
}

/// What a pack holds, mL: the least that is told apart where any quantity is sold.
fn pack(sold: Sold, pack_ml: f64) -> f64 {
    match sold {
        Sold::AnyQuantity => 1.0,
        Sold::WholePacks => pack_ml,
    }
}
