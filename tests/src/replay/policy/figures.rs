//! What is told of runs, and what was published of others on the same sites.

use serde::Serialize;

use super::shelf::Counted;

/// Service levels that are run. The four that are promised to be kept lie between two that show what less and more would cost.
pub const LEVELS: [f64; 6] = [0.80, 0.90, 0.95, 0.98, 0.99, 0.998];

/// Levels whose promise is judged.
pub const JUDGED: [f64; 4] = [0.90, 0.95, 0.98, 0.99];

/// How the weeks of some products came out at one level.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Figures {
    /// Share of weeks in which a product ran out.
    pub weeks_out: f64,
    /// Mean stock, days of mean use.
    pub stock_days: f64,
    /// Orders of a product in a week.
    pub orders_a_week: f64,
}

impl Figures {
    /// Of the products of a site over so many weeks.
    pub(super) fn of<'a>(counted: impl Iterator<Item = &'a Counted>, weeks: usize) -> Figures {
        let mut products = 0;
        let mut sum = Counted::default();
        for one in counted {
            products += 1;
            sum.weeks_out += one.weeks_out;
            sum.held += one.held;
            sum.days += one.days;
            sum.orders += one.orders;
        }
        let weeks = (weeks * products).max(1) as f64;
        Figures {
            weeks_out: f64::from(sum.weeks_out) / weeks,
            stock_days: sum.held / f64::from(sum.days.max(1)),
            orders_a_week: f64::from(sum.orders) / weeks,
        }
    }
}

/// The mean of all sites at one level.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Level {
    /// The promise.
    pub service_level: f64,
    /// Share of weeks in which a product ran out.
    pub weeks_with_stock_out: f64,
    /// The same over what the promise allows: 1 keeps it.
    pub of_what_is_allowed: f64,
    /// Mean stock, days of mean use.
    pub mean_stock_days: f64,
    /// Orders of a product in a week.
    pub orders_per_week: f64,
}

/// Means over sites at each of the [`LEVELS`].
pub fn means(sites: &[Vec<Figures>]) -> Vec<Level> {
    let count = sites.len().max(1) as f64;
    let mean = |place: usize, of: fn(&Figures) -> f64| {
        rounded(sites.iter().map(|levels| of(&levels[place])).sum::<f64>() / count)
    };
    let level = |(place, level): (usize, &f64)| {
        let out = mean(place, |figures| figures.weeks_out);
        Level {
            service_level: *level,
            weeks_with_stock_out: out,
            of_what_is_allowed: rounded(out / (1.0 - level)),
            mean_stock_days: mean(place, |figures| figures.stock_days),
            orders_per_week: mean(place, |figures| figures.orders_a_week),
        }
    };
    LEVELS.iter().enumerate().map(level).collect()
}

fn rounded(figure: f64) -> f64 {
    (figure * 1e6).round() / 1e6
}

/// Mean stock, in days, at which a product ran out in a share of the weeks: between the levels by the logarithm of that share,
/// as the published figures are read. None where the share lies beyond them.
pub fn days_at(share: f64, levels: &[Level]) -> Option<f64> {
    let log = |share: f64| share.max(1e-5).ln();
    levels.windows(2).find_map(|pair| {
        let [more, less] = [pair[0], pair[1]].map(|level| log(level.weeks_with_stock_out));
        let part = (more - log(share)) / (more - less);
        let [from, until] = [pair[0].mean_stock_days, pair[1].mean_stock_days];
        (more >= log(share) && log(share) >= less && more > less)
            .then(|| rounded(from + part * (until - from)))
    })
}

/// What was measured of another method over 210 simulated sites in the same weeks.
#[derive(Debug, Clone, Copy)]
pub struct Published {
    /// The method.
    pub method: &'static str,
    /// Share of weeks with a stock-out, mean days of stock and orders a week at each of the [`JUDGED`], any quantity.
    pub any_quantity: [(f64, f64, f64); 4],
    /// The same in whole packs.
    pub whole_packs: [(f64, f64, f64); 4],
    /// Days of stock at 2 % of weeks with a stock-out: any quantity, whole packs.
    pub days_at_2_percent: [f64; 2],
}

/// The reference of this repository's forecast: a plan-aware prototype and the best of fifteen methods on past use, over seeds
/// 20000 to 20209 (figures: the policy runs of the reference evaluation; the lead times were known to both).
pub const PUBLISHED: [Published; 2] = [
    Published {
        method: "plan-aware prototype",
        any_quantity: [
            (0.0872, 8.43, 0.913),
            (0.0457, 9.91, 0.923),
            (0.0207, 11.77, 0.934),
            (0.0128, 13.17, 0.942),
        ],
        whole_packs: [
            (0.0187, 26.59, 0.477),
            (0.0090, 28.10, 0.483),
            (0.0045, 29.91, 0.491),
            (0.0024, 31.37, 0.494),
        ],
        days_at_2_percent: [11.9, 26.4],
    },
    Published {
        method: "mean of all weeks",
        any_quantity: [
            (0.0968, 10.12, 0.922),
            (0.0486, 12.07, 0.937),
            (0.0189, 14.58, 0.952),
            (0.0116, 16.27, 0.960),
        ],
        whole_packs: [
            (0.0238, 28.23, 0.471),
            (0.0109, 30.19, 0.479),
            (0.0045, 32.75, 0.488),
            (0.0029, 34.38, 0.491),
        ],
        days_at_2_percent: [14.4, 28.7],
    },
];
