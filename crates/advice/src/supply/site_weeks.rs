//! How a whole site differs from the usual, week by week: weather, light and season.

use std::f64::consts::TAU;

use super::spans::WEEK;

/// Ways to go on from it: it passes, it lasts, it goes with the sun.
pub(super) const OF_CURVE: usize = 3;

/// Of each week kept for the next week's estimate, by way; our own judgement.
const KEPT_A_WEEK: [f64; OF_CURVE] = [0.45, 0.85, 0.7];

/// Of today's deviation left after each day ahead: weather passes, light and hands stay. Our own judgement.
const PASSES_A_DAY: f64 = 0.9;
const LASTS_A_DAY: f64 = 0.995;

/// Of what is expected, what holds the present deviation near none; our own judgement.
const NOW_HOLD: f64 = 0.2;

/// Of each week kept for how a site goes with the sun: it takes months to see it, and other crops may come. Our own judgement.
const SUN_KEPT_A_WEEK: f64 = 0.98;

/// Squared heights of the sun, summed over weeks, that hold a site near going without it: half a year has ten times as much, and two
/// weeks next to nothing. Our own judgement.
const SUN_HOLD: f64 = 0.2;

/// Nobody's site takes less than this part of its usual, or more; our own judgement.
const LEAST: f64 = 0.4;
const MOST: f64 = 2.5;

/// A week before a day.
pub(super) struct SiteWeek {
    /// Whole weeks before the day.
    pub(super) ago: usize,
    /// What was taken, L at the aim.
    pub(super) taken_l: f64,
    /// What was expected, L at the aim; more than nothing.
    pub(super) usual_l: f64,
}

/// The weeks before a day.
pub(super) struct SiteWeeks {
    weeks: Vec<SiteWeek>,
    day_of_year: f64,
}

impl SiteWeeks {
    /// Of the weeks before a day, counted from the first of a year.
    pub(super) fn new(weeks: Vec<SiteWeek>, day_of_year: f64) -> SiteWeeks {
        SiteWeeks { weeks, day_of_year }
    }

    /// By how much of the usual the site will differ from it so many days ahead, from none to the last, by way.
    pub(super) fn ahead(&self, days: usize) -> Vec<[f64; OF_CURVE]> {
        let [passing, lasting, _] = KEPT_A_WEEK.map(|kept| self.now(kept));
        let with_sun = self.with_sun();
        let without = self.without_sun(with_sun);
        let differs = |day: usize| {
            let left = |share: f64| share.powf(day as f64);
            let sunny = (without + with_sun * self.sun(day as f64)).clamp(LEAST, MOST);
            [(passing - 1.0) * left(PASSES_A_DAY), (lasting - 1.0) * left(LASTS_A_DAY), sunny - 1.0]
        };
        (0..=days).map(differs).collect()
    }

    /// How it does now, as a part of the usual.
    fn now(&self, kept: f64) -> f64 {
        let now = self.mean(kept, |week| week.taken_l / week.usual_l).unwrap_or(1.0);
        ((now + NOW_HOLD) / (1.0 + NOW_HOLD)).clamp(LEAST, MOST)
    }

    /// How high the sun stands so many days from the day, from −1 at midwinter of the north to 1 at its midsummer: its declination
    /// over the greatest (P. I. Cooper 1969, "The absorption of radiation in solar stills"; from memory).
    fn sun(&self, days: f64) -> f64 {
        ((284.0 + self.day_of_year + days) / 365.0 * TAU).sin()
    }

    fn sun_of(&self, week: &SiteWeek) -> f64 {
        self.sun(-((week.ago * WEEK) as f64 + WEEK as f64 / 2.0))
    }

    /// By how much of the usual it takes more from the mean to the height of the sun: the slope of a line through the weeks. In the
    /// south it is below nought, and under lamps nothing.
    fn with_sun(&self) -> f64 {
        let mean = |of: &dyn Fn(&SiteWeek) -> f64| self.mean(SUN_KEPT_A_WEEK, of).unwrap_or_default();
        let taken = |week: &SiteWeek| week.taken_l / week.usual_l;
        let (sun, usual) = (mean(&|week| self.sun_of(week)), mean(&taken));
        let spread = mean(&|week| (self.sun_of(week) - sun).powi(2));
        let together = mean(&|week| (self.sun_of(week) - sun) * (taken(week) - usual));
        let weeks: f64 = self.weeks.iter().map(|week| SUN_KEPT_A_WEEK.powf(week.ago as f64)).sum();
        (together / (spread + SUN_HOLD / weeks.max(1.0))).clamp(1.0 - MOST, MOST - 1.0)
    }

    /// How it does now apart from the sun.
    fn without_sun(&self, with_sun: f64) -> f64 {
        let apart = |week: &SiteWeek| week.taken_l / week.usual_l - with_sun * self.sun_of(week);
        self.mean(KEPT_A_WEEK[2], apart).unwrap_or(1.0)
    }

    /// A mean over the weeks by what was expected in each, of which a part is kept for each week since.
    fn mean(&self, kept: f64, of: impl Fn(&SiteWeek) -> f64) -> Option<f64> {
        let weight = |week: &SiteWeek| kept.powf(week.ago as f64) * week.usual_l;
        let all: f64 = self.weeks.iter().map(weight).sum();
        (all > 0.0).then(|| self.weeks.iter().map(|week| weight(week) * of(week)).sum::<f64>() / all)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Weeks of which 7 L are expected, before a day of the year; each week's part of that by how long ago it was and by the sun.
    fn weeks(day_of_year: f64, number: usize, part: impl Fn(usize, f64) -> f64) -> SiteWeeks {
        let empty = SiteWeeks::new(Vec::new(), day_of_year);
        let week = |ago: usize| {
            let sun = empty.sun(-7.0 * ago as f64 - 3.5);
            SiteWeek { ago, taken_l: 7.0 * part(ago, sun), usual_l: 7.0 }
        };
        SiteWeeks::new((0..number).map(week).collect(), day_of_year)
    }

    /// At the equinoxes the sun stands over the equator, and at the solstices highest (22 September is day 265, 21 June 172).
    #[test]
    fn the_sun_is_where_the_calendar_has_it() {
        let sun = |day: f64| SiteWeeks::new(Vec::new(), day).sun(0.0);
        assert!((sun(172.0) - 1.0).abs() < 0.01 && (sun(355.0) + 1.0).abs() < 0.01);
        assert!(sun(265.0).abs() < 0.03 && sun(81.0).abs() < 0.03, "{} {}", sun(265.0), sun(81.0));
    }

    /// In autumn, after half a year: 0.3 of the usual more at midsummer, as much less at midwinter.
    #[test]
    fn what_falls_with_the_sun_goes_on_falling() {
        for sign in [1.0, -1.0] {
            let site = weeks(265.0, 26, |_, sun| 1.0 + sign * 0.3 * sun);
            let [_, lasting, with_sun] = site.ahead(42)[42];
            // On 3 November, day 307, it stands at −0.68; a tenth less of it is believed.
            assert!((sign * with_sun + 0.9 * 0.2).abs() < 0.01, "{with_sun}");
            assert!(lasting.abs() < 0.1, "{lasting}");
        }
    }

    #[test]
    fn a_few_weeks_tell_nothing_of_the_sun() {
        for number in 2..6 {
            let noisy = weeks(265.0, number, |ago, _| if ago % 2 == 0 { 1.3 } else { 0.7 });
            let [.., with_sun] = noisy.ahead(90)[90];
            assert!(with_sun.abs() < 0.35, "{number} weeks: {with_sun}");
        }
    }

    #[test]
    fn a_steady_site_goes_without_it() {
        let ahead = weeks(265.0, 26, |_, _| 1.0).ahead(42);
        assert!(ahead.iter().flatten().all(|differs| differs.abs() < 1e-9), "{ahead:?}");
        assert_eq!(SiteWeeks::new(Vec::new(), 265.0).ahead(1), vec![[0.0; OF_CURVE]; 2]);
    }
}
