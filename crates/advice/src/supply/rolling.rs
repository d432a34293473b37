//! The forecast made anew as of earlier weeks, so that today's knows how well it does here.
//!
//! What was written into the plan since then cannot be taken out again: as of an earlier day the forecast knows which
//! cycles really came. The spread that comes out is that of what a plan never tells.

use super::baseline::baseline;
use super::blend::{JUDGED_DAYS, Open, Outcomes};
use super::history::History;
use super::learner::Learner;
use super::question::{Addition, Question};
use super::spans::WEEK;
use super::taken_out;
use super::usage::{Usage, use_from};
use super::weekly::settle;

/// Weeks of records before the first forecast that is judged.
const FIRST_WEEKS: usize = 6;

/// Forecasts of longer ago are not made: half a year and its four weeks tell how well it does now.
const MOST_WEEKS: usize = 30;

/// Of the last weeks each is judged, of those before every other one: forecasts of neighbouring weeks are much alike.
const EACH_WEEK: usize = 12;

/// The use of each product asked about.
pub(super) fn forecast_use(question: &Question, records: &[Vec<Addition>]) -> Vec<Usage> {
    let history = History::new(question, records);
    let mut learner = Learner::new(&history);
    let mut outcomes = vec![Outcomes::default(); history.products.len()];
    let recorded_weeks = history.today / WEEK;
    let most = recorded_weeks.saturating_sub(FIRST_WEEKS).min(MOST_WEEKS);
    for weeks_ago in (1..=most).rev().filter(|weeks| *weeks <= EACH_WEEK || weeks % 2 == 0) {
        let origin = history.today - weeks_ago * WEEK;
        learner.advance(origin);
        let known = learner.known(weeks_ago, JUDGED_DAYS);
        let usages = use_from(&history, &learner, &known, origin, JUDGED_DAYS);
        for (place, (outcome, mut usage)) in outcomes.iter_mut().zip(usages).enumerate() {
            outcome.advance(&history.products[place], &known.in_use, origin);
            let open = Open { all: &history.open, origin, days: JUDGED_DAYS };
            outcome.blend(&history, place, &open, &mut usage);
        }
        learner.look_back(&known, weeks_ago);
    }
    learner.advance(history.today);
    let known = learner.known(0, question.horizon());
    let mut usages = use_from(&history, &learner, &known, history.today, question.horizon());
    for (place, (outcome, usage)) in outcomes.iter_mut().zip(&mut usages).enumerate() {
        outcome.advance(&history.products[place], &known.in_use, history.today);
        let open = Open { all: &history.open, origin: history.today, days: question.horizon() };
        outcome.blend(&history, place, &open, usage);
    }
    let of_site = outcomes.iter().map(Outcomes::surprises).sum();
    for (outcome, usage) in outcomes.iter().zip(&mut usages) {
        let widening = outcome.widening(of_site);
        usage.variance_until.iter_mut().for_each(|variance| *variance *= widening);
        settle(usage);
    }
    for ((usage, asked), product) in usages.iter_mut().zip(&question.products).zip(&history.products) {
        usage.baseline = baseline(question, asked, product);
    }
    taken_out::add(question, &mut usages);
    usages
}
