//! What each record with the common life must keep to.

mod growing;
mod instruments;
mod people;
mod places;
mod stock;
mod work;

use chrono::NaiveDate;
use fillmark_domain::Faults;
use fillmark_domain::growing::is_keepable;

/// Days that are open at the end: in order, and of the years that are kept.
fn span(from: NaiveDate, until: Option<NaiveDate>, faults: &mut Faults) {
    keepable(Some(from), "/from_on", faults);
    keepable(until, "/until_on", faults);
    let in_order = until.is_none_or(|until| from <= until);
    faults.unless(in_order, "/until_on", "out_of_order", "expected a day on or after from_on");
}

/// A date, where there is one, of the years that are kept.
fn keepable(date: Option<NaiveDate>, pointer: &str, faults: &mut Faults) {
    let kept = "expected a date of the years 2000 to 2100";
    faults.unless(date.is_none_or(is_keepable), pointer, "out_of_range", kept);
}
