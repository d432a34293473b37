//! What is under way, and how surely it is there by a day. A delivery comes on its day until that day has passed; then it comes
//! by what is believed of the supplier, given that it has not come yet, and in the end nobody counts on it.

use chrono::{Days, NaiveDate};

use super::answer::Caution;
use super::lead_belief::SLIPS;
use super::lead_time::{LeadOdds, last_open_before};
use super::question::{Coming, Expected, Ordered, ProductAsked, Question, SupplierAsked};

/// An order is counted on as long as this part of the supplier's lead times allows: beyond it one of twenty orders that come at all
/// would still come. Our own judgement.
const COUNTED_ON: f64 = 0.95;

/// Nobody gives up an order sooner than this after the day it was promised for, nor what another site has sent (our own judgement): a
/// weekend and a telephone call.
const PATIENCE_DAYS: u64 = 7;

/// The deliveries of one product.
pub(super) struct UnderWay {
    /// Those that are counted on, overdue ones on the day by which they are as likely there as not.
    pub(super) deliveries: Vec<Expected>,
    /// What of them somebody should know.
    pub(super) cautions: Vec<Caution>,
    sure: Vec<(i64, f64)>,
    late: Vec<Late>,
}

/// A delivery that is overdue.
struct Late {
    amount: f64,
    /// Days from today on which it may come, each with its chance. They do not add up to one: it may be lost.
    may_come: Vec<(i64, f64)>,
}

impl UnderWay {
    /// Of a product.
    pub(super) fn of(question: &Question, product: &ProductAsked) -> UnderWay {
        let mut all =
            UnderWay { deliveries: Vec::new(), cautions: Vec::new(), sure: Vec::new(), late: Vec::new() };
        for expected in &product.on_order {
            let day = question.offset(expected.on);
            let terms =
                |ordered: Ordered| question.suppliers.iter().find(|one| one.supplier == ordered.supplier);
            match expected.coming {
                Coming::Sent { on } if -question.offset(on) > PATIENCE_DAYS as i64 => {
                    all.cautions.push(Caution::NotTakenIn { sent_on: on, amount: expected.amount });
                }
                Coming::Ordered(ordered)
                    if day < 0
                        && let Some(terms) = terms(ordered) =>
                {
                    all.overdue(question, terms, ordered, expected);
                }
                // Of an order of which the supplier is not known it is only said that it is late, not lost.
                Coming::Ordered(_) | Coming::Sent { .. } => {
                    all.sure.push((if day < 0 { 1 } else { day }, expected.amount.base_units()));
                    all.deliveries.push(*expected);
                }
            }
        }
        all
    }

    fn overdue(&mut self, question: &Question, terms: &SupplierAsked, ordered: Ordered, expected: &Expected) {
        let wait = Wait::of(question, terms, ordered, expected.on);
        let told = |reckoned_on| Caution::Overdue {
            order: ordered.order,
            expected_on: expected.on,
            amount: expected.amount,
            reckoned_on,
        };
        let may_come = if wait.is_given_up() { Vec::new() } else { wait.may_come() };
        let Some(reckoned_on) = middle(&may_come).map(|day| question.date(day)) else {
            self.cautions.push(told(None));
            return;
        };
        self.cautions.push(told(Some(reckoned_on)));
        self.deliveries.push(Expected { on: reckoned_on, ..*expected });
        self.late.push(Late { amount: expected.amount.base_units(), may_come });
    }

    /// What of the overdue can have come by the end of a day, each with its chance. What keeps one order back keeps the others back
    /// too, so the less likely never comes before the likelier: that is the surer guess, and few cases.
    pub(super) fn late_by(&self, day: i64) -> Vec<(f64, f64)> {
        let mut late: Vec<(f64, f64)> = self.late.iter().map(|one| (one.there_by(day), one.amount)).collect();
        late.sort_by(|one, other| other.0.total_cmp(&one.0));
        let mut cases = Vec::with_capacity(late.len() + 1);
        let (mut there, mut before) = (0.0, 1.0);
        for (chance, amount) in late {
            cases.push((there, before - chance));
            there += amount;
            before = chance;
        }
        cases.push((there, before));
        cases
    }

    /// What of the overdue has come by the end of a day with a chance at least.
    pub(super) fn likely_late_by(&self, day: i64, chance: f64) -> f64 {
        let likely = self.late.iter().filter(|one| one.there_by(day) >= chance);
        likely.map(|one| one.amount).sum()
    }

    /// What comes by the end of a day that is not overdue.
    pub(super) fn surely_by(&self, day: i64) -> f64 {
        self.sure.iter().filter(|(on, _)| *on <= day).map(|(_, amount)| amount).sum()
    }
}

impl Late {
    fn there_by(&self, day: i64) -> f64 {
        self.may_come.iter().take_while(|(on, _)| *on <= day).map(|(_, chance)| chance).sum()
    }
}

/// The day by which it is as likely there as not, if it comes at all.
fn middle(may_come: &[(i64, f64)]) -> Option<i64> {
    let total: f64 = may_come.iter().map(|(_, chance)| chance).sum();
    let mut below = 0.0;
    may_come.iter().find_map(|(day, chance)| {
        below += chance;
        (below >= total / 2.0).then_some(*day)
    })
}

/// The wait for one order.
struct Wait<'a> {
    question: &'a Question,
    lead: LeadOdds,
    /// From when the supplier's time counts, in days from today: a day that was agreed on later than usual is no slowness.
    began: i64,
    /// The last day on which it is counted on.
    until: NaiveDate,
}

impl Wait<'_> {
    fn of<'a>(
        question: &'a Question,
        terms: &SupplierAsked,
        ordered: Ordered,
        expected_on: NaiveDate,
    ) -> Wait<'a> {
        // What is waited for would make the supplier slower the later it is, and so never late; the wait itself is counted below.
        let terms = SupplierAsked { waited_for: Vec::new(), ..terms.clone() };
        let lead = LeadOdds::learn(&terms, &question.open, question.today);
        let agreed = question.offset(expected_on) - i64::from(terms.promised_lead_days);
        let began = agreed.max(question.offset(ordered.placed_on));
        let patient = expected_on.checked_add_days(Days::new(PATIENCE_DAYS)).unwrap_or(expected_on);
        let until = patient.max(question.date(began + lead.within(COUNTED_ON)));
        Wait { question, lead, began, until }
    }

    fn is_given_up(&self) -> bool {
        self.question.today > self.until
    }

    /// Days on which it may come, by the supplier's lead times that are longer than it has been waited for. It is the likelier lost the
    /// fewer of them there are.
    fn may_come(&self) -> Vec<(i64, f64)> {
        // Behind a door that was closed since it may stand already.
        let seen = last_open_before(&self.question.open, self.question.today);
        let waited = self.question.offset(seen) - self.began;
        let still = self.lead.longer_than(waited);
        let left: f64 = still.iter().map(|(_, chance)| chance).sum();
        if left <= 0.0 {
            return vec![(self.question.offset(self.until).max(1), 1.0 - SLIPS)];
        }
        let known = SLIPS + (1.0 - SLIPS) * left;
        let mut days: Vec<(i64, f64)> = Vec::with_capacity(still.len());
        for (lasts, chance) in still {
            let date = self.question.date((self.began + lasts).max(1));
            let day = self.question.offset(self.question.open.on_or_after(date).unwrap_or(date));
            let chance = (1.0 - SLIPS) * chance / known;
            match days.last_mut().filter(|(last, _)| *last >= day) {
                Some((_, sum)) => *sum += chance,
                None => days.push((day, chance)),
            }
        }
        days
    }
}

#[cfg(test)]
mod tests;
