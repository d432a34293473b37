//! How a whole site differs from the usual, week by week: weather, light and season.

use std::f64::consts::TAU;

use super::spans::WEEK;

/// Of each week kept for how the site does now, where that passes and where it lasts; our own judgement.
const KEPT_PASSING: f64 = 0.45;
const KEPT_LASTING: f64 = 0.85;

/// Of what it does now beside the season, what is left after each day ahead: weather passes, light and hands stay. Our own judgement.
const PASSES_A_DAY: f64 = 0.9;
const LASTS_A_DAY: f64 = 0.995;

/// Of what is expected, what holds the present deviation near none; our own judgement.
const NOW_HOLD: f64 = 0.2;

/// Of each week kept for how a site goes with the sun: it takes months to see that, and other crops may come. Our own judgement.
const SEASON_KEPT_A_WEEK: f64 = 0.98;

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

/// What a site is expected to take on a day to come.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct SiteAhead {
    /// As a part of the usual, if how it does now beside the season passes.
    pub(super) passing: f64,
    /// As a part of the usual, if that lasts.
    pub(super) lasting: f64,
    /// As a part of what the season has it take today.
    pub(super) season: f64,
}

/// The season at a site, as a part of the usual: a line on the height of the sun.
#[derive(Debug, Clone, Copy)]
struct Season {
    /// At the mean height.
    level: f64,
    mean_height: f64,
    /// From the equator to the greatest height. In the south it is below nought, and under lamps nothing.
    slope: f64,
}

impl Season {
    fn at(&self, height: f64) -> f64 {
        (self.level + self.slope * (height - self.mean_height)).clamp(LEAST, MOST)
    }
}

impl SiteWeeks {
    /// Of the weeks before a day, counted from the first of a year.
    pub(super) fn new(weeks: Vec<SiteWeek>, day_of_year: f64) -> SiteWeeks {
        SiteWeeks { weeks, day_of_year }
    }

    /// What the site will take so many days ahead, from none to the last.
    pub(super) fn ahead(&self, days: usize) -> Vec<SiteAhead> {
        let season = self.season();
        let [passing, lasting] = [KEPT_PASSING, KEPT_LASTING].map(|kept| self.now(kept, season) - 1.0);
        let today = season.at(self.sun(0.0));
        let each = (0..=days).map(|day| {
            let day = day as f64;
            let of_usual = season.at(self.sun(day));
            SiteAhead {
                passing: of_usual * (1.0 + passing * PASSES_A_DAY.powf(day)),
                lasting: of_usual * (1.0 + lasting * LASTS_A_DAY.powf(day)),
                season: of_usual / today,
            }
        });
        each.collect()
    }

    /// What the season has the site take on each of so many days up to the day and of so many from it on, as a part of the usual.
    pub(super) fn seasons(&self, before: usize, from: usize) -> Vec<f64> {
        let season = self.season();
        (0..before + from).map(|day| season.at(self.sun(day as f64 - before as f64))).collect()
    }

    /// How it does now, as a part of what the season has it take.
    fn now(&self, kept: f64, season: Season) -> f64 {
        let of_season = |week: &SiteWeek| week.taken_l / (week.usual_l * season.at(self.sun_of(week)));
        let now = self.mean(kept, of_season).unwrap_or(1.0);
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

    /// The line through the weeks, held near a level one.
    fn season(&self) -> Season {
        let mean = |of: &dyn Fn(&SiteWeek) -> f64| self.mean(SEASON_KEPT_A_WEEK, of);
        let taken = |week: &SiteWeek| week.taken_l / week.usual_l;
        let level = mean(&taken).unwrap_or(1.0);
        let mean_height = mean(&|week| self.sun_of(week)).unwrap_or_default();
        let above = |week: &SiteWeek| self.sun_of(week) - mean_height;
        let spread = mean(&|week| above(week).powi(2)).unwrap_or_default();
        let together = mean(&|week| above(week) * (taken(week) - level)).unwrap_or_default();
        let weeks: f64 = self.weeks.iter().map(|week| SEASON_KEPT_A_WEEK.powf(week.ago as f64)).sum();
        let slope = together / (spread + SUN_HOLD / weeks.max(1.0));
        Season { level, mean_height, slope: slope.clamp(1.0 - MOST, MOST - 1.0) }
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

    /// In autumn, after half a year: 0.3 of the usual more at midsummer, as much less at midwinter. What was taken lately falls too.
    #[test]
    fn what_falls_with_the_sun_goes_on_falling() {
        for sign in [1.0, -1.0] {
            let site = weeks(265.0, 26, |_, sun| 1.0 + sign * 0.3 * sun);
            let now = site.ahead(42)[42];
            // On 3 November, day 307, it stands at −0.68; a tenth less of it is believed.
            for told in [now.passing, now.lasting, now.season] {
                assert!((sign * (told - 1.0) + 0.9 * 0.2).abs() < 0.03, "{now:?}");
            }
        }
    }

    #[test]
    fn what_is_beside_the_season_passes_or_lasts() {
        let site = weeks(265.0, 40, |ago, sun| if ago < 3 { 0.7 } else { 1.0 } * (1.0 + 0.3 * sun));
        let (now, later) = (site.ahead(42)[0], site.ahead(42)[42]);
        assert!(now.passing < now.lasting && now.lasting < 0.95, "{now:?}");
        assert!(
            (later.passing - later.season).abs() < 0.05 && later.lasting < later.passing - 0.03,
            "{later:?}"
        );
    }

    #[test]
    fn a_few_weeks_tell_nothing_of_the_sun() {
        for number in 2..6 {
            let noisy = weeks(265.0, number, |ago, _| if ago % 2 == 0 { 1.3 } else { 0.7 });
            let ahead = noisy.ahead(90)[90];
            assert!((ahead.season - 1.0).abs() < 0.35, "{number} weeks: {ahead:?}");
        }
    }

    #[test]
    fn a_steady_site_goes_without_it() {
        let steady = SiteAhead { passing: 1.0, lasting: 1.0, season: 1.0 };
        let near = |one: f64| (one - 1.0).abs() < 1e-9;
        let ahead = weeks(265.0, 26, |_, _| 1.0).ahead(42);
        assert!(
            ahead.iter().all(|day| near(day.passing) && near(day.lasting) && near(day.season)),
            "{ahead:?}"
        );
        assert_eq!(SiteWeeks::new(Vec::new(), 265.0).ahead(1), vec![steady; 2]);
    }
}
