//! What will be used, how long the stock lasts, and what to order by when.
//!
//! The forecast is made from the plan, not from past totals: a tank change planned for Thursday is known, and no
//! average of past weeks knows it. Past records only teach what the plan leaves open: how far doses poured differ
//! from doses planned, how late changes are done, what the plants take between visits, what is spilt.

mod adjusters;
mod answer;
mod blend;
mod changes;
mod counter;
mod fed;
mod fill_path;
mod fill_plan;
mod guard;
mod history;
mod lead_time;
mod learner;
mod normal;
mod order_by;
mod orders;
mod pours;
mod question;
mod rhythm;
mod rolling;
mod spans;
mod unplanned;
mod uptake;
mod usage;

pub use answer::*;
pub use counter::litres_fed;
pub use fed::{EcRises, fed_days};
pub use question::*;
pub use unplanned::unplanned_use;

use order_by::Outlook;

/// The forecast of each product asked about, the orders that follow, and the records that look mis-keyed.
pub fn forecast(question: &Question) -> Forecast {
    let (records, suspected) = guard::without_slips_of_unit(question);
    let usages = rolling::forecast_use(question, &records);

    let outlooks: Vec<Outlook> = question
        .products
        .iter()
        .zip(usages)
        .map(|(product, usage)| Outlook::new(question, product, usage))
        .collect();
    let purchases = orders::decide(question, &outlooks);
    let proposals = orders::by_supplier(question, &purchases);
    let products =
        outlooks.into_iter().zip(purchases).map(|(outlook, purchase)| outlook.answer(purchase)).collect();
    Forecast { products, orders: proposals, suspected }
}
