//! What another site can spare of what is to be bought: offered before anybody orders, with that site's own risk counted.

use chrono::{NaiveDate, TimeDelta};
use fillmark_domain::Amount;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{OnHand, ProductId, WriteOff};

use super::answer::{Purchase, Transfer};
use super::{DEFAULT_HORIZON_DAYS, Forecast, ProductForecast};

/// A site keeps what covers so many days at its service level (our own judgement): six weeks, as far as its plan is sure.
const KEEPS_DAYS: usize = 42;

/// Less than this part of what is needed is not worth a ride (our own judgement).
const WORTH: f64 = 0.2;

/// What is ordered within so many days is looked for at other sites first (our own judgement): what they can spare later nobody
/// knows, but for what would expire there.
const SOON_DAYS: i64 = 14;

/// What expires within so many days is offered to nobody (our own judgement): an order is for some four weeks, and would not be used
/// up by then.
const USED_UP_DAYS: i64 = 28;

/// What a site can spare for another.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spare {
    /// Of which product.
    pub product: ProductId,
    /// What the other needs until the order after its next, or uses before it would expire here, mL or g.
    pub needed: f64,
    /// By when it has to be there: the day from which the other may run out.
    pub needed_by: Option<NaiveDate>,
    /// What can be spared of it, mL or g: with it gone the giver still covers its days at its service level, or loses what would
    /// have expired there.
    pub spare: f64,
}

/// A site that may give, with its forecast.
#[derive(Debug, Clone, Copy)]
pub struct Giver<'a> {
    /// Which.
    pub site: SiteId,
    /// What it will use itself.
    pub forecast: &'a Forecast,
}

/// A product that is to be ordered, for which other sites are asked first.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sought {
    /// Which.
    pub product: ProductId,
    /// The least amount that is worth a ride.
    pub least: Amount,
    /// It is ordered so late that only what would expire elsewhere is wanted.
    pub expiring_only: bool,
}

impl Sought {
    /// Whether a site that holds these lots may have enough of it. What keeps beyond the days of a forecast expires in none.
    pub fn may_come_from<'a>(&self, lots: impl IntoIterator<Item = &'a OnHand>, today: NaiveDate) -> bool {
        let last = today + TimeDelta::days(DEFAULT_HORIZON_DAYS.into());
        let counts = |lot: &&OnHand| !self.expiring_only || lot.expiry.is_some_and(|expiry| expiry < last);
        lots.into_iter().filter(counts).map(|lot| lot.held).sum::<Amount>() >= self.least
    }
}

/// What is to be ordered of which other sites may have some.
pub fn sought(needing: &Forecast, today: NaiveDate) -> Vec<Sought> {
    let purchases = needing.products.iter().filter_map(|product| product.purchase.as_ref());
    purchases
        .filter(|purchase| purchase.needed.is_positive())
        .map(|purchase| Sought {
            product: purchase.product,
            least: Amount::rounded(WORTH * purchase.needed.base_units()),
            expiring_only: !is_soon(purchase, today),
        })
        .collect()
}

/// What other sites give towards a purchase, in whole mL (or g), where a ride is worth it: first where it expires soonest, then those
/// that can spare most. Towards one that is ordered later they give what would expire with them: nobody will use it there, and it is
/// welcome as far as it is used up before. `lacking_by`
/// tells what the use until a day exceeds what is there.
pub(super) fn transfers(
    purchase: &Purchase,
    today: NaiveDate,
    givers: &[Giver<'_>],
    lacking_by: impl Fn(NaiveDate) -> f64,
) -> Vec<Transfer> {
    let gives = if is_soon(purchase, today) { spared } else { would_expire };
    let needed = purchase.needed.base_units();
    let mut able: Vec<(Given, SiteId)> = givers
        .iter()
        .filter_map(|giver| {
            let product = giver.forecast.products.iter().find(|other| other.product == purchase.product)?;
            Some((gives(product, needed)?, giver.site))
        })
        .collect();
    able.sort_by(|(one, here), (other, there)| {
        let soonest = one.keeps_until().cmp(&other.keeps_until());
        soonest.then(other.amount.total_cmp(&one.amount)).then(here.cmp(there))
    });
    let mut given = 0.0;
    let mut transfers = Vec::new();
    for (spare, from) in able {
        let wanted = spare.wanted(needed, &lacking_by) - given;
        let amount = whole_of(spare.amount, wanted);
        if wanted > 0.0 && amount >= WORTH * needed {
            transfers.push(Transfer { from, amount: Amount::rounded(amount) });
            given += amount;
        }
    }
    transfers
}

/// What a site can give.
struct Given {
    /// mL or g.
    amount: f64,
    /// Where it would expire there, its last day.
    last_day: Option<NaiveDate>,
}

impl Given {
    fn keeps_until(&self) -> NaiveDate {
        self.last_day.unwrap_or(NaiveDate::MAX)
    }

    /// How much of it another site takes that needs so much by its next order: of what would expire, what it uses up before.
    fn wanted(&self, needed: f64, lacking_by: impl Fn(NaiveDate) -> f64) -> f64 {
        self.last_day.map_or(needed, |last_day| needed.max(lacking_by(last_day)))
    }
}

fn is_soon(purchase: &Purchase, today: NaiveDate) -> bool {
    (purchase.order_by.date() - today).num_days() <= SOON_DAYS
}

/// What of the purchases of one site another can spare.
pub fn spare_for(needing: &Forecast, giving: &Forecast) -> Vec<Spare> {
    let mut spares = Vec::new();
    for product in &needing.products {
        let Some(purchase) = &product.purchase else { continue };
        let Some(giver) = giving.products.iter().find(|other| other.product == product.product) else {
            continue;
        };
        let needed = purchase.needed.base_units();
        if let Some(given) = spared(giver, needed) {
            let needed = given.wanted(needed, |day| lacking_by(product, day));
            let (needed_by, spare) = (product.may_run_out_on, given.amount.min(needed));
            spares.push(Spare { product: product.product, needed, needed_by, spare });
        }
    }
    spares
}

/// What is given of an amount where so much is wanted, in whole mL (or g): what is enough is enough.
pub fn whole_of(spare: f64, wanted: f64) -> f64 {
    if spare >= wanted { wanted.ceil() } else { spare.floor() }
}

/// What the use of a product until a day exceeds what is there and under way, mL or g.
fn lacking_by(product: &ProductForecast, day: NaiveDate) -> f64 {
    let until = product.days.iter().take_while(|one| one.date <= day).last();
    until.map_or(0.0, |one| (-one.balance).max(0.0))
}

/// What a site can spare of a product, where it is worth a ride to one that needs so much. Where more is to be bought there
/// that is no more than what would expire.
fn spared(giver: &ProductForecast, needed: f64) -> Option<Given> {
    let left = match giver.purchase {
        None => Given { amount: left_of(giver, KEEPS_DAYS), last_day: None }.worth_a_ride(needed),
        Some(_) => None,
    };
    let expires = would_expire(giver, needed);
    let most = |given: &Option<Given>| given.as_ref().map_or(0.0, |given| given.amount);
    if most(&expires) >= most(&left) { expires } else { left }
}

/// What of it would expire there unused.
fn would_expire(giver: &ProductForecast, needed: f64) -> Option<Given> {
    let last_day = expiring(giver).filter_map(|lot| lot.on.pred_opt()).min();
    Given { amount: left_until_it_expires(giver), last_day }.worth_a_ride(needed)
}

impl Given {
    fn worth_a_ride(self, needed: f64) -> Option<Given> {
        (needed > 0.0 && self.amount >= WORTH * needed).then_some(self)
    }
}

/// The least that is left at the service level on any of the first days, with nothing counted that is still under way. What
/// expires unused is left too.
fn left_of(giver: &ProductForecast, days: usize) -> f64 {
    let coming: f64 = giver.deliveries.iter().map(|delivery| delivery.amount.base_units()).sum();
    let expired_by = |date| -> f64 {
        expiring(giver).filter(|lot| lot.on <= date).map(|lot| lot.amount.base_units()).sum()
    };
    let left = giver.days.iter().take(days).map(|day| day.balance_low + expired_by(day.date));
    (left.fold(f64::INFINITY, f64::min) - coming).max(0.0)
}

fn left_until_it_expires(giver: &ProductForecast) -> f64 {
    let Some(last) = expiring(giver).map(|lot| lot.on).max() else { return 0.0 };
    let days = giver.days.iter().take_while(|day| day.date <= last).count();
    left_of(giver, days).min(expiring(giver).map(|lot| lot.amount.base_units()).sum())
}

/// What would expire unused, so late that another site has time to use it.
fn expiring(giver: &ProductForecast) -> impl Iterator<Item = &WriteOff> {
    let today = giver.days.first().map(|day| day.date);
    let in_time =
        move |lot: &&WriteOff| today.is_some_and(|today| (lot.on - today).num_days() >= USED_UP_DAYS);
    giver.spoils.iter().filter(in_time)
}
