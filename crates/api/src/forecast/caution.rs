//! What to keep in mind of a forecast, in words.

use chrono::NaiveDate;
use fillmark_advice::supply as answers;
use fillmark_domain::stock::Order;

use crate::stock::terms_in;

/// A caution as it is read. `of` says of what its amounts are, such as `mL of Grow A`.
pub(super) fn caution(caution: &answers::Caution, of: &str) -> String {
    match caution {
        answers::Caution::PlanOnly => {
            "no fill or top-up of it is on record: the amounts are the plan's alone".into()
        }
        answers::Caution::PastOnly => {
            "no programme doses it where plants grow: the amounts are what was used before, and go on as it did".into()
        }
        answers::Caution::UptakeAssumed { litres } => format!(
            "nothing on record tells what the plants take between visits: top-ups assume {litres} L per plant and day"
        ),
        answers::Caution::FeedAssumed { litres } => format!(
            "no water meter tells what a tank feeds to waste or draws: it is taken for {litres} L per plant and day"
        ),
        answers::Caution::NoStep { on } => format!(
            "from {on} on plants stand at a tank in a stage that their programme has no step for: nothing is reckoned for it"
        ),
        answers::Caution::LeftAlone { since } => format!(
            "nobody was at a tank that takes it since {since}, though plants are planned in it: it counts as far as it may be used again; end its feed if it stands empty"
        ),
        answers::Caution::LeadTimeUnproven => "the lead time is only the supplier's word".into(),
        answers::Caution::InQuarantine { amount } => {
            format!("{} {of} are in quarantine and not counted on until somebody releases them", amount.to_read())
        }
        answers::Caution::StockSpoils => "some of the stock expires before it is used".into(),
        answers::Caution::CappedByExpiry => {
            "a full pack would expire before it is used, so less is proposed than is needed".into()
        }
        answers::Caution::SomeLeftOver => {
            "some of a pack will be left when it expires; no smaller one is offered".into()
        }
        answers::Caution::NoOffer => "the stock runs out within the horizon and nobody offers it".into(),
        answers::Caution::GapUntilItComes { from } => format!(
            "it may run out from {from} on, before what is under way comes, and an order would come no sooner: ask the supplier"
        ),
        answers::Caution::MakeBefore { on } => {
            format!("it is made on site, and may run out from {on} on: make more of it before")
        }
        answers::Caution::PlanEnds { on } => {
            format!("nothing is planned after {on}: later days count only what is planned")
        }
        answers::Caution::Overdue { order, expected_on, amount, reckoned_on } => {
            let reference = Order::reference(*order);
            let order = format!("{} {of} on order {reference}", amount.to_read());
            overdue(&format!("{order}, expected on {expected_on}, has not come"), *reckoned_on)
        }
        answers::Caution::NotTakenIn { sent_on, amount } => {
            let amount = amount.to_read();
            format!("{amount} {of} left another site on {sent_on} and were not taken in: they are not counted on; take them in if they are there, or ask that site to take them back")
        }
        answers::Caution::TermsInOtherCurrency { currency } => terms_in(*currency),
    }
}

fn overdue(told: &str, reckoned_on: Option<NaiveDate>) -> String {
    match reckoned_on {
        Some(on) => format!("{told}: it is as likely there by {on} as not; ask the supplier"),
        None => format!(
            "{told}: it is not counted on; ask the supplier, or cancel it (or close it short, where a part came)"
        ),
    }
}
