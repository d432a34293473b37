//! What is kept of a forecast, and how it came out once its days were over.

use std::collections::{BTreeMap, BTreeSet};

use chrono::{DateTime, Days, NaiveDate, Utc};
use fillmark_domain::people::PersonId;
use fillmark_domain::stock::{
    IssuedForecast, IssuedLine, IssuedOrder, IssuedUse, ProductId, SCORED_DAYS, UseCause,
};
use fillmark_domain::{Amount, Base, Coded};

use super::{Forecast, ProductAsked, ProductForecast, Question, UseByCause};

/// What was used of a product on a day, mL or g.
pub type UsedByDay = BTreeMap<(ProductId, NaiveDate), f64>;

/// A forecast as it is issued. `base` gives what a product is counted in.
pub fn issued(
    question: &Question,
    forecast: &Forecast,
    issued_at: DateTime<Utc>,
    issued_by: Option<PersonId>,
    base: impl Fn(ProductId) -> Base,
) -> IssuedForecast {
    let lines = question.products.iter().zip(&forecast.products);
    IssuedForecast {
        today: question.today,
        issued_at,
        issued_by,
        service_level: question.service_level,
        lines: lines.map(|(asked, product)| line(asked, product, base(product.product))).collect(),
    }
}

fn line(asked: &ProductAsked, product: &ProductForecast, base: Base) -> IssuedLine {
    let until = |days: &&u16| usize::from(**days) <= product.days.len();
    let use_of = |days: &u16| {
        let last = usize::from(*days) - 1;
        IssuedUse {
            days: *days,
            expected: product.expected_use(last + 1),
            high_90: product.quantile_until(last, 0.90),
            high_95: product.quantile_until(last, 0.95),
            by_cause: by_cause(product, last + 1),
        }
    };
    IssuedLine {
        product: product.product,
        base,
        held: asked.on_hand.iter().map(|lot| lot.held).sum::<Amount>().base_units(),
        uses: SCORED_DAYS.iter().filter(until).map(use_of).collect(),
        may_run_out_on: product.may_run_out_on,
        order: product.purchase.as_ref().map(|purchase| IssuedOrder {
            by: purchase.order_by.date(),
            packs: purchase.pack_count(),
            pack: purchase.amount.base_units() / purchase.pack_count().max(1) as f64,
        }),
    }
}

fn by_cause(product: &ProductForecast, days: usize) -> Vec<(UseCause, f64)> {
    let mut sum = UseByCause::default();
    product.days.iter().take(days).for_each(|day| sum += day.by_cause);
    UseCause::all().iter().map(|cause| (*cause, sum.of(*cause))).collect()
}

/// How forecasts of a product came out, over so many days each.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Scored {
    /// Which product.
    pub product: ProductId,
    /// Days that each looked ahead.
    pub days: u16,
    /// How many forecasts are scored. They overlap, so they tell less than so many would by themselves.
    pub forecasts: usize,
    /// Mean of the absolute errors over the mean use; none where nothing was used.
    pub error: Option<f64>,
    /// Mean of the errors over the mean use: above 0 where too much was forecast.
    pub bias: Option<f64>,
    /// Share of forecasts whose 90 % quantile was not exceeded.
    pub within_90: f64,
    /// Share of forecasts whose 95 % quantile was not exceeded.
    pub within_95: f64,
}

/// Holds forecasts whose days are over before a day against what was used in them.
pub fn track_record(issued: &[IssuedForecast], used: &UsedByDay, today: NaiveDate) -> Vec<Scored> {
    let lines = || issued.iter().flat_map(|one| one.lines.iter().map(move |line| (one.today, line)));
    let products: BTreeSet<ProductId> = lines().map(|(_, line)| line.product).collect();
    let keys = products.into_iter().flat_map(|product| SCORED_DAYS.map(|days| (product, days)));
    let scored = keys.filter_map(|(product, days)| {
        let of_it = lines().filter(|(_, line)| line.product == product);
        let told = of_it.flat_map(|(from, line)| line.uses.iter().map(move |told| (from, told)));
        let over: Vec<(&IssuedUse, f64)> = told
            .filter(|(_, told)| told.days == days)
            .filter_map(|(from, told)| Some((told, used_between(used, product, from, days, today)?)))
            .collect();
        score(product, days, &over)
    });
    scored.collect()
}

/// What was used in the days from one on; nothing while they are not all over.
fn used_between(
    used: &UsedByDay,
    product: ProductId,
    from: NaiveDate,
    days: u16,
    today: NaiveDate,
) -> Option<f64> {
    let until = from.checked_add_days(Days::new(days.into())).filter(|until| *until <= today)?;
    Some(used.range((product, from)..(product, until)).map(|(_, amount)| amount).sum())
}

fn score(product: ProductId, days: u16, over: &[(&IssuedUse, f64)]) -> Option<Scored> {
    let forecasts = over.len();
    if forecasts == 0 {
        return None;
    }
    let total: f64 = over.iter().map(|(_, used)| used).sum();
    let of_use = |sum: f64| (total > 0.0).then_some(sum / total);
    let share = |within: &dyn Fn(&IssuedUse, f64) -> bool| {
        over.iter().filter(|(told, used)| within(told, *used)).count() as f64 / forecasts as f64
    };
    Some(Scored {
        product,
        days,
        forecasts,
        error: of_use(over.iter().map(|(told, used)| (told.expected - used).abs()).sum()),
        bias: of_use(over.iter().map(|(told, used)| told.expected - used).sum()),
        within_90: share(&|told, used| used <= told.high_90),
        within_95: share(&|told, used| used <= told.high_95),
    })
}

#[cfg(test)]
mod tests {
    use fillmark_domain::Id;
    use uuid::Uuid;

    use super::*;

    fn day(number: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2031, 3, number).unwrap()
    }

    fn product() -> ProductId {
        Id::new(Uuid::from_u128(1))
    }

    fn forecast(from: u32, expected: f64) -> IssuedForecast {
        let told = IssuedUse {
            days: 7,
            expected,
            high_90: expected * 1.2,
            high_95: expected * 1.3,
            by_cause: Vec::new(),
        };
        let line = IssuedLine {
            product: product(),
            base: Base::Volume,
            held: 0.0,
            uses: vec![told],
            may_run_out_on: None,
            order: None,
        };
        let issued_at = day(from).and_time(chrono::NaiveTime::MIN).and_utc();
        IssuedForecast {
            today: day(from),
            issued_at,
            issued_by: None,
            service_level: 0.95,
            lines: vec![line],
        }
    }

    /// 10 mL a day are used; by hand: errors of −7, +10 and 0 are 17 of 210 and 3 of 210, and 63 · 1.2 = 75.6.
    #[test]
    fn forecasts_are_held_against_what_was_used_once_their_days_are_over() {
        let used: UsedByDay = (1..=31).map(|on| ((product(), day(on)), 10.0)).collect();
        let all = [forecast(1, 63.0), forecast(2, 80.0), forecast(3, 70.0), forecast(20, 500.0)];
        let scored = track_record(&all, &used, day(12));
        let [seven] = scored[..] else { panic!("{scored:?}") };
        assert_eq!((seven.days, seven.forecasts), (7, 3), "the days of the fourth are not over");
        assert!((seven.error.unwrap() - 17.0 / 210.0).abs() < 1e-12);
        assert!((seven.bias.unwrap() - 3.0 / 210.0).abs() < 1e-12);
        assert_eq!((seven.within_90, seven.within_95), (1.0, 1.0));
    }

    #[test]
    fn what_was_exceeded_counts_against_the_quantile() {
        let used: UsedByDay = (1..=14).map(|on| ((product(), day(on)), 12.5)).collect();
        let scored = track_record(&[forecast(1, 70.0), forecast(2, 80.0)], &used, day(14));
        // 87.5 used: above 84, the 90 % quantile of the first, and below 91.
        assert_eq!((scored[0].within_90, scored[0].within_95), (0.5, 1.0));
    }

    #[test]
    fn where_nothing_was_used_no_share_of_it_is_told() {
        let scored = track_record(&[forecast(1, 0.0)], &UsedByDay::new(), day(20));
        assert_eq!((scored[0].error, scored[0].bias, scored[0].within_90), (None, None, 1.0));
    }
}
