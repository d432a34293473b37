//! What will be used, how long the stock lasts, and what to order by when.
//!
//! The forecast is made from the plan, not from past totals: a tank change planned for Thursday is known, and no
//! average of past weeks knows it. Past records only teach what the plan leaves open: how far doses poured differ
//! from doses planned, how late changes are done, what the plants take between visits, what is spilt.

mod adjusters;
mod answer;
mod baseline;
mod blend;
mod cause;
mod changes;
pub mod costs;
mod counter;
pub mod counting;
mod fed;
mod fill_path;
mod fill_plan;
mod freight;
mod guard;
mod history;
mod in_use;
pub mod inventory;
mod issue;
mod joint_order;
mod layout;
mod lead_belief;
mod lead_time;
mod learner;
mod lot_trace;
pub mod methods;
mod normal;
mod order_by;
mod orders;
mod pack_choice;
mod parts;
mod pours;
mod question;
mod reach;
mod rhythm;
mod rhythm_belief;
mod rolling;
#[cfg(test)]
mod rows;
mod site_weeks;
mod spans;
mod spare;
mod taken_out;
mod to_waste;
mod told;
mod under_way;
mod unplanned;
mod uptake;
mod usage;
pub mod warnings;
mod ways;
mod weekly;

pub use answer::*;
pub use baseline::{Baseline, SimpleMethod};
pub use cause::{DatedCause, TankUse, UseByCause};
pub use counter::litres_fed;
pub use fed::{EcRises, fed_days, without_step_on};
pub use issue::{Scored, UsedByDay, issued, track_record};
pub use lot_trace::{Exposure, FedSince, Handled, Handling, LotTrace, fed_since, handled, trace_lot};
pub use question::*;
pub use reach::{Drank, Drunk, drank, lots_drunk, picked};
pub use spare::{Giver, Sought, Spare, sought, spare_for, whole_of};
pub use taken_out::TakenOut;
pub use unplanned::unplanned_use;

use chrono::NaiveDate;
use fillmark_domain::OpenDays;

use order_by::Outlook;

/// How long a supplier takes, from the promise, the orders that arrived and those still waited for, at a site with these open days.
pub fn lead_time(supplier: &SupplierAsked, open: &OpenDays, today: NaiveDate) -> LeadTime {
    lead_time::LeadOdds::learn(supplier, open, today).answer()
}

/// What a site will use, whatever it holds: the part of a forecast that does not hang on stock, suppliers or service level.
#[derive(Debug, Clone)]
pub struct SiteUse {
    usages: Vec<usage::Usage>,
    suspected: Vec<SuspectedAddition>,
}

/// What a site will use of each product asked about, and the records that look mis-keyed.
pub fn use_of(question: &Question) -> SiteUse {
    let (records, suspected) = guard::without_slips(question);
    SiteUse { usages: rolling::forecast_use(question, &records), suspected }
}

/// The forecast of each product asked about, the orders that follow, and the records that look mis-keyed.
pub fn forecast(question: &Question) -> Forecast {
    answer(question, use_of(question))
}

/// The forecast from what will be used, for the stock, suppliers and service level of a question. The use is that of the same
/// question but for these, so that several of them are answered with one forecast of use.
pub fn answer(question: &Question, used: SiteUse) -> Forecast {
    answer_with(question, used, &[])
}

/// The same, with what other sites can give of what is soon to be bought: only the rest is ordered.
pub fn answer_with(question: &Question, used: SiteUse, givers: &[Giver<'_>]) -> Forecast {
    let outlooks: Vec<Outlook> = question
        .products
        .iter()
        .zip(used.usages)
        .map(|(product, usage)| Outlook::new(question, product, usage))
        .collect();
    let suppliers = orders::known(question);
    let mut purchases = orders::decide(question, &suppliers, &outlooks);
    for (purchase, outlook) in purchases.iter_mut().zip(&outlooks) {
        let Some(whole) = purchase.take() else { continue };
        let transfers = spare::transfers(&whole, question.today, givers, |day| outlook.lacking_by(day));
        *purchase = Some(orders::less_transfers(question, outlook, whole, transfers));
    }
    let proposals = joint_order::by_supplier(question, &suppliers, &outlooks, &mut purchases);
    let products =
        outlooks.into_iter().zip(purchases).map(|(outlook, purchase)| outlook.answer(purchase)).collect();
    Forecast { products, orders: proposals, suspected: used.suspected }
}
