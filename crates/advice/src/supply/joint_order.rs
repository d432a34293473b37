//! Which purchases go in one order.

use chrono::NaiveDate;
use fillmark_domain::{Amount, Money};

use super::answer::{BroughtForward, Caution, Gains, ProposedOrder, Purchase, Raised};
use super::freight::{EARLIEST_DAYS, WholeOrder};
use super::order_by::Outlook;
use super::orders::{Known, covered_by_need, raised, used_before_it_expires};
use super::pack_choice::holding;
use super::question::Question;

/// To reach a supplier's least value nobody buys so many weeks further ahead (our own judgement).
const MOST_FURTHER_WEEKS: i64 = 13;

/// Purchases of one supplier that would be made before the next review go in one order. While it is below the supplier's least
/// value the next ones are drawn forward into it, and beyond that those whose own freight costs more than holding them longer. Of
/// all that is in it some weeks' use more is bought where that costs less than the freights it saves.
pub(super) fn by_supplier(
    question: &Question,
    suppliers: &[Known<'_>],
    outlooks: &[Outlook<'_>],
    purchases: &mut [Option<Purchase>],
) -> Vec<ProposedOrder> {
    let bought = |place: &usize| purchases[*place].as_ref().is_some_and(|bought| !bought.lines.is_empty());
    let mut open: Vec<usize> = (0..purchases.len()).filter(bought).collect();
    open.sort_by_key(|place| purchases[*place].as_ref().map(|purchase| purchase.order_by.date()));
    let mut orders = Vec::new();
    while let Some(first) = open.first().and_then(|place| purchases[*place].clone()) {
        let Some(supplier) = suppliers.iter().find(|known| known.terms.supplier == first.supplier) else {
            break;
        };
        let mut joint = Joint::begun_by(question, supplier, &first);
        open.retain(|place| match &mut purchases[*place] {
            Some(purchase) => !joint.takes(*place, &outlooks[*place], purchase),
            None => false,
        });
        joint.reach_least(outlooks, purchases);
        let of_supplier = |purchase: &&Purchase| purchase.supplier == first.supplier;
        let left = open.iter().filter_map(|place| purchases[*place].as_ref()).find(of_supplier);
        let next = left.map(|purchase| purchase.order_by.date());
        joint.save_freight(next, outlooks, purchases);
        orders.push(joint.order());
    }
    orders
}

/// An order as far as it is filled.
struct Joint<'a> {
    question: &'a Question,
    supplier: &'a Known<'a>,
    /// Least value and freight, minor units; none where they are in another currency than the prices: an exchange rate is a fact of
    /// a day, and nobody told it.
    terms_minor: Option<(i64, i64)>,
    order: ProposedOrder,
    /// The purchases in it, by their places.
    places: Vec<usize>,
}

impl<'a> Joint<'a> {
    fn begun_by(question: &'a Question, supplier: &'a Known<'a>, first: &Purchase) -> Joint<'a> {
        let terms = supplier.terms;
        let same = terms.currency == first.cost.currency;
        let other = Caution::TermsInOtherCurrency { currency: terms.currency };
        let order = ProposedOrder {
            supplier: first.supplier,
            order_by: first.order_by,
            products: Vec::new(),
            value: Money::new(0, first.cost.currency),
            freight_minor: same.then_some(terms.freight_minor),
            below_minimum_minor: None,
            cautions: if same { Vec::new() } else { vec![other] },
        };
        let terms_minor = same.then_some((terms.minimum_order_minor, terms.freight_minor));
        Joint { question, supplier, terms_minor, order, places: Vec::new() }
    }

    /// Takes a purchase in, if it belongs here, and notes on it what is gained.
    fn takes(&mut self, place: usize, outlook: &Outlook<'_>, purchase: &mut Purchase) -> bool {
        let days_early = (purchase.order_by.date() - self.order.order_by.date()).num_days();
        let soon = days_early < i64::from(self.question.review_days);
        let gains = if soon { None } else { self.gains(days_early, purchase) };
        let at_most = self.used_before_it_expires(outlook);
        let keeps = at_most.is_none_or(|at_most| purchase.amount <= at_most);
        let joins = purchase.supplier == self.order.supplier && (soon || (gains.is_some() && keeps));
        let Ok(value) = self.order.value.plus(purchase.cost) else { return false };
        if joins {
            self.order.value = value;
            self.order.products.push(purchase.product);
            self.places.push(place);
            if keeps {
                purchase.at_most = at_most;
            }
            purchase.brought_forward =
                gains.map(|gains| BroughtForward { to: self.order.order_by.date(), gains });
        }
        joins
    }

    fn gains(&self, days_early: i64, purchase: &Purchase) -> Option<Gains> {
        let (least_minor, saved_minor) = self.terms_minor?;
        if days_early > EARLIEST_DAYS {
            return None;
        }
        if self.order.value.minor < least_minor {
            return Some(Gains::LeastOrder);
        }
        let holding_minor = (purchase.cost.minor as f64 * holding(days_early as f64)).ceil() as i64;
        (holding_minor < saved_minor).then_some(Gains::Freight { saved_minor, holding_minor })
    }

    /// How much of a product is used before it expires, when it comes with this order.
    fn used_before_it_expires(&self, outlook: &Outlook<'_>) -> Option<Amount> {
        let ordered_on = self.question.offset(self.order.order_by.date());
        used_before_it_expires(outlook, &self.supplier.lead, ordered_on)
    }

    /// Buys more of what is in it anyway, a week's use at a time of what would last shortest, until the supplier's least value is
    /// reached; nothing more where it is not reached so.
    fn reach_least(&mut self, outlooks: &[Outlook<'_>], purchases: &mut [Option<Purchase>]) {
        let Some((least_minor, _)) = self.terms_minor else { return };
        let begun = |place: &usize| Some(Raising::of(*place, purchases[*place].clone()?, outlooks));
        let mut raising: Vec<Raising> = self.places.iter().filter_map(begun).collect();
        let value = |raising: &[Raising]| raising.iter().map(|one| one.purchase.cost.minor).sum::<i64>();
        while value(&raising) < least_minor {
            let open = raising.iter_mut().filter(|one| one.weeks < MOST_FURTHER_WEEKS);
            let Some(one) = open.min_by_key(|one| (one.lasts_days, one.weeks, one.place)) else { return };
            one.raise(self.question, outlooks);
        }
        self.put_back(raising.into_iter().map(|one| (one.place, one.purchase)), purchases);
    }

    /// Buys more of all that is in it where that saves freights, until the next order of the supplier comes.
    fn save_freight(
        &mut self,
        next: Option<NaiveDate>,
        outlooks: &[Outlook<'_>],
        purchases: &mut [Option<Purchase>],
    ) {
        let Some((_, freight_minor)) = self.terms_minor.filter(|(_, freight)| *freight > 0) else { return };
        let bought = |place: &usize| Some((*place, purchases[*place].clone()?));
        let bought = self.places.iter().filter_map(bought).collect();
        let question = self.question;
        let ordered_on = question.offset(self.order.order_by.date());
        let next_on = next.map(|next| question.offset(next));
        let whole = WholeOrder { question, outlooks, freight_minor, ordered_on, next_on, bought };
        if let Some(larger) = whole.larger() {
            self.put_back(larger.into_iter(), purchases);
        }
    }

    fn put_back(
        &mut self,
        bought: impl Iterator<Item = (usize, Purchase)>,
        purchases: &mut [Option<Purchase>],
    ) {
        let mut value_minor = 0;
        for (place, purchase) in bought {
            value_minor += purchase.cost.minor;
            purchases[place] = Some(purchase);
        }
        self.order.value = Money::new(value_minor, self.order.value.currency);
    }

    fn order(self) -> ProposedOrder {
        let value_minor = self.order.value.minor;
        let below_minimum_minor = self.terms_minor.map(|(least, _)| (least - value_minor).max(0));
        ProposedOrder { below_minimum_minor, ..self.order }
    }
}

/// A purchase of which more is bought, week by week.
struct Raising {
    place: usize,
    purchase: Purchase,
    /// Weeks of use that were added.
    weeks: i64,
    /// Days that the stock lasts with it.
    lasts_days: i64,
}

impl Raising {
    fn of(place: usize, purchase: Purchase, outlooks: &[Outlook<'_>]) -> Raising {
        let lasts_days = outlooks[place].lasts_with(purchase.amount.base_units());
        Raising { place, purchase, weeks: 0, lasts_days }
    }

    /// A week's use more, in whole packs; no week more of what would expire first.
    fn raise(&mut self, question: &Question, outlooks: &[Outlook<'_>]) {
        self.weeks += 1;
        let until = covered_by_need(question, &self.purchase) + 7 * self.weeks;
        match raised(question, &outlooks[self.place], &self.purchase, until) {
            Some(more) if more.amount > self.purchase.amount => {
                let without = self.purchase.raised.map_or(self.purchase.amount, |raised| raised.without);
                let raised = Raised { without, weeks: self.weeks, gains: Gains::LeastOrder };
                self.lasts_days = outlooks[self.place].lasts_with(more.amount.base_units());
                self.purchase = Purchase { raised: Some(raised), ..more };
            }
            Some(_) => {}
            None => self.weeks = MOST_FURTHER_WEEKS,
        }
    }
}
