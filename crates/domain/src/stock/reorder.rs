//! When to order, if everything went as expected: the plain rule, without chance.

use chrono::{Days, NaiveDate};

use crate::{Amount, OpenDays, Week};

/// What the reorder date follows from.
#[derive(Debug, Clone)]
pub struct Replenishment<'a> {
    /// What is in stock at the start of the first day.
    pub on_hand: Amount,
    /// What is on its way.
    pub arrivals: &'a [(NaiveDate, Amount)],
    /// Use of each day from the first day on.
    pub daily_use: &'a [Amount],
    /// The first day.
    pub from: NaiveDate,
    /// Stock below which no day may end.
    pub safety: Amount,
    /// Calendar days from order to delivery.
    pub lead_days: u16,
    /// Weekdays on which the supplier takes orders.
    pub order_days: Week,
    /// Days on which the site takes deliveries; on its closures nothing is ordered either.
    pub deliveries: &'a OpenDays,
}

/// When to order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reorder {
    /// Stock lasts beyond the days given.
    NotNeeded,
    /// In time if ordered by then.
    By {
        /// The first day that would end below the safety stock.
        need_day: NaiveDate,
        /// The last order day whose delivery is there by the need day.
        order_by: NaiveDate,
    },
    /// No order day is left that would be in time.
    Late {
        /// The first day that would end below the safety stock.
        need_day: NaiveDate,
    },
}

/// The last day on which an order arrives by the day it is needed.
pub fn reorder_date(asked: &Replenishment<'_>) -> Reorder {
    let Some(need_day) = need_day(asked) else { return Reorder::NotNeeded };
    let in_time = |day: &NaiveDate| {
        asked.order_days.has(*day)
            && !asked.deliveries.closures.iter().any(|closure| closure.hold(*day))
            && arrival(*day, asked.lead_days, asked.deliveries).is_some_and(|there| there <= need_day)
    };
    let order_by = asked.from.iter_days().take_while(|day| *day <= need_day).filter(in_time).last();
    match order_by {
        Some(order_by) => Reorder::By { need_day, order_by },
        None => Reorder::Late { need_day },
    }
}

/// When an order of this day is delivered: so many calendar days later, moved to the next day on which somebody
/// is there to take it in. None when the site stays closed for a year.
pub fn arrival(ordered_on: NaiveDate, lead_days: u16, deliveries: &OpenDays) -> Option<NaiveDate> {
    deliveries.on_or_after(ordered_on.checked_add_days(Days::new(lead_days.into()))?)
}

fn need_day(asked: &Replenishment<'_>) -> Option<NaiveDate> {
    let mut held = asked.on_hand;
    for (day, used) in asked.from.iter_days().zip(asked.daily_use) {
        let arrived: Amount =
            asked.arrivals.iter().filter(|(date, _)| *date == day).map(|(_, amount)| *amount).sum();
        held = held + arrived - *used;
        if held < asked.safety {
            return Some(day);
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Days as Span;
    use crate::stock::testing::{Case, cases, day};
    use chrono::Weekday;
    use serde_json::Value;

    fn week(days: &Value) -> Week {
        let days = days.as_array().cloned().unwrap_or_else(|| (0..5).map(Value::from).collect());
        Week::of(days.iter().map(|number| Weekday::try_from(number.as_u64().unwrap() as u8).unwrap()))
    }

    fn litres(value: &Value) -> Amount {
        Amount::rounded(value.as_f64().unwrap() * 1_000.0)
    }

    #[track_caller]
    fn check(case: &Case) {
        let inputs = &case.inputs;
        let arrivals: Vec<_> = inputs["receipts"]
            .as_array()
            .unwrap()
            .iter()
            .map(|receipt| (day(receipt["date"].as_str().unwrap()), litres(&receipt["qty"])))
            .collect();
        let daily_use: Vec<_> = inputs["daily_demand"].as_array().unwrap().iter().map(litres).collect();
        let closures = inputs["closed"].as_array().cloned().unwrap_or_default();
        let closures = closures.iter().map(|date| day(date.as_str().unwrap()));
        let deliveries = OpenDays {
            week: week(&inputs["receive_weekdays"]),
            closures: closures.map(|date| Span { from: date, until: date }).collect(),
        };
        let got = reorder_date(&Replenishment {
            on_hand: litres(&inputs["on_hand"]),
            arrivals: &arrivals,
            daily_use: &daily_use,
            from: day(inputs["start"].as_str().unwrap()),
            safety: litres(&inputs["safety"]),
            lead_days: inputs["lead_days"].as_u64().unwrap() as u16,
            order_days: week(&inputs["order_weekdays"]),
            deliveries: &deliveries,
        });
        let need_day = case.expected["need_day"].as_str().map(day);
        let order_by = case.expected["order_by"].as_str().map(day);
        let expected = match (need_day, order_by) {
            (None, _) => Reorder::NotNeeded,
            (Some(need_day), Some(order_by)) => Reorder::By { need_day, order_by },
            (Some(need_day), None) => Reorder::Late { need_day },
        };
        assert_eq!(got, expected, "{}", case.id);
    }

    #[test]
    fn the_reorder_date_is_the_last_order_day_that_is_in_time() {
        cases("reorder_date").iter().for_each(check);
    }
}
