//! Litres fed by day, from what the counter of a tank's water meter showed.

use chrono::{Days, NaiveDate};

use super::question::LitresFed;

/// Litres fed by day, from looks at a counter in order of time: the local day of each and what it showed, L.
///
/// What it rose by from the last look of one day to the last look of the next day that has one was fed on the days
/// after the first, in equal parts, so that the figure does not hang on how often people look. A counter that fell
/// was exchanged: what was fed meanwhile is not known, and is left out rather than guessed.
pub fn litres_fed(looks: &[(NaiveDate, f64)]) -> Vec<LitresFed> {
    let last_of_day: Vec<(NaiveDate, f64)> = looks
        .chunk_by(|(one, _), (next, _)| one == next)
        .filter_map(|of_day| of_day.last().copied())
        .collect();
    last_of_day.windows(2).flat_map(|pair| spread(pair[0], pair[1])).collect()
}

fn spread((seen_on, before): (NaiveDate, f64), (until, after): (NaiveDate, f64)) -> Vec<LitresFed> {
    let over_days = u32::try_from((until - seen_on).num_days()).unwrap_or(0);
    if over_days == 0 || after < before {
        return Vec::new();
    }
    let litres = (after - before) / f64::from(over_days);
    let days = (1..=over_days).filter_map(|day| seen_on.checked_add_days(Days::new(day.into())));
    days.map(|on| LitresFed { on, litres, over_days }).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn march(day: u32) -> NaiveDate {
        NaiveDate::from_ymd_opt(2031, 3, day).unwrap()
    }

    /// Looks by day of March and litres shown; days fed by day of March, litres and days of the rise.
    #[track_caller]
    fn check(looks: &[(u32, f64)], fed: &[(u32, f64, u32)]) {
        let looks: Vec<_> = looks.iter().map(|(day, shown)| (march(*day), *shown)).collect();
        let fed: Vec<_> = fed
            .iter()
            .map(|(day, litres, over_days)| LitresFed {
                on: march(*day),
                litres: *litres,
                over_days: *over_days,
            })
            .collect();
        assert_eq!(litres_fed(&looks), fed);
    }

    #[test]
    fn one_look_a_day_tells_each_day() {
        check(&[(1, 500.0), (2, 600.0), (3, 720.0)], &[(2, 100.0, 1), (3, 120.0, 1)]);
    }

    #[test]
    fn two_looks_a_day_tell_one_day_and_not_two() {
        let looks = [(1, 450.0), (1, 500.0), (2, 550.0), (2, 600.0), (3, 655.0), (3, 700.0)];
        check(&looks, &[(2, 100.0, 1), (3, 100.0, 1)]);
    }

    #[test]
    fn a_look_every_third_day_is_spread_over_three() {
        check(&[(1, 500.0), (4, 800.0)], &[(2, 100.0, 3), (3, 100.0, 3), (4, 100.0, 3)]);
    }

    #[test]
    fn a_counter_that_fell_was_exchanged() {
        check(&[(1, 500.0), (2, 20.0), (3, 120.0)], &[(3, 100.0, 1)]);
    }

    #[test]
    fn one_day_alone_tells_nothing() {
        check(&[], &[]);
        check(&[(1, 500.0), (1, 550.0)], &[]);
    }
}
