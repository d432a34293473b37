//! A level that rises or falls: Holt's method with a damped trend, and Holt-Winters with an additive season.

/// Weights that the best fit of a damped trend is looked for among. Coarse on purpose: a year of weeks tells them no
/// better (our own judgement), and a search on a grid gives the same answer everywhere.
const ALPHAS: [f64; 10] = [0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.95];
const BETAS: [f64; 5] = [0.02, 0.05, 0.1, 0.2, 0.4];
/// R. J. Hyndman and G. Athanasopoulos, "Forecasting: Principles and Practice", OTexts, the section on damped trends:
/// below 0.8 nothing is left of a trend, above 0.98 it cannot be told from one without damping.
const PHIS: [f64; 5] = [0.8, 0.85, 0.9, 0.95, 0.98];

/// The first differences whose mean starts a trend.
const STARTING_DIFFERENCES: usize = 4;

/// A level and its change a period.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trend {
    /// Use a period.
    pub level: f64,
    /// Change of the level a period.
    pub slope: f64,
}

/// Holt's method with a trend that fades: E. S. Gardner and E. McKenzie, Management Science 31 (1985) 1237–1246.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DampedHolt {
    /// Weight of the newest period in the level.
    pub alpha: f64,
    /// Weight of the newest change of level in the slope (the classical β; state-space texts write α·β for it).
    pub beta: f64,
    /// What is left of the slope a period later; 1 is Holt's method undamped.
    pub phi: f64,
}

/// Where a damped trend got to.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Trending {
    /// How it was followed.
    pub method: DampedHolt,
    /// Level and slope after the last period.
    pub now: Trend,
    /// Sum of the squared errors of forecasts one period ahead.
    pub squared_errors: f64,
}

impl DampedHolt {
    /// Follows uses from a start.
    pub fn follow(self, start: Trend, uses: &[f64]) -> Trending {
        let mut trending = Trending { method: self, now: start, squared_errors: 0.0 };
        for used in uses {
            let Trend { level, slope } = trending.now;
            let faded = self.phi * slope;
            let next = self.alpha * used + (1.0 - self.alpha) * (level + faded);
            trending.squared_errors += (used - level - faded).powi(2);
            trending.now =
                Trend { level: next, slope: self.beta * (next - level) + (1.0 - self.beta) * faded };
        }
        trending
    }

    /// Follows uses with the weights of a grid that would have forecast them best one period ahead, starting at the first
    /// use and the mean of the first differences; none with fewer than two uses, which show no trend.
    pub fn follow_best(uses: &[f64]) -> Option<Trending> {
        let (first, later) = uses.split_first().filter(|(_, later)| !later.is_empty())?;
        let differences = later.len().min(STARTING_DIFFERENCES);
        let start = Trend { level: *first, slope: (uses[differences] - first) / differences as f64 };
        let weights = ALPHAS.iter().flat_map(|alpha| BETAS.iter().map(move |beta| (*alpha, *beta)));
        let methods = weights
            .flat_map(|(alpha, beta)| PHIS.iter().map(move |phi| DampedHolt { alpha, beta, phi: *phi }));
        methods
            .map(|method| method.follow(start, later))
            .min_by(|one, other| one.squared_errors.total_cmp(&other.squared_errors))
    }
}

impl Trending {
    /// Forecast of the period so many periods after the last, 1 being the next: level + (φ + φ² + …)·slope.
    pub fn ahead(&self, periods: i32) -> f64 {
        let faded: f64 = (1..=periods).map(|period| self.method.phi.powi(period)).sum();
        self.now.level + faded * self.now.slope
    }
}

/// Holt-Winters with an additive season: P. R. Winters, Management Science 6 (1960) 324–342.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct HoltWinters {
    /// Weight of the newest period in the level.
    pub alpha: f64,
    /// Weight of the newest change of level in the slope.
    pub beta: f64,
    /// Weight of the newest period in its season (the classical γ, against the level forecast).
    pub gamma: f64,
}

/// Where a trend with a season got to.
#[derive(Debug, Clone, PartialEq)]
pub struct Seasonal {
    /// Level and slope after the last period.
    pub now: Trend,
    /// What each period of the next cycle lies above the level, in order of time.
    pub season: Vec<f64>,
    /// Sum of the squared errors of forecasts one period ahead.
    pub squared_errors: f64,
}

impl HoltWinters {
    /// Follows uses from a start; the season is that of the first cycle to come, in order of time, and its length is the
    /// length of the cycle. A season without periods is one that is always nothing.
    pub fn follow(self, start: Trend, season: &[f64], uses: &[f64]) -> Seasonal {
        let season = if season.is_empty() { vec![0.0] } else { season.to_vec() };
        let mut seasonal = Seasonal { now: start, season, squared_errors: 0.0 };
        let cycle = seasonal.season.len();
        for (place, used) in uses.iter().enumerate() {
            let Trend { level, slope } = seasonal.now;
            let above = seasonal.season[place % cycle];
            let next = self.alpha * (used - above) + (1.0 - self.alpha) * (level + slope);
            seasonal.squared_errors += (used - level - slope - above).powi(2);
            seasonal.season[place % cycle] = self.gamma * (used - level - slope) + (1.0 - self.gamma) * above;
            seasonal.now =
                Trend { level: next, slope: self.beta * (next - level) + (1.0 - self.beta) * slope };
        }
        seasonal.season.rotate_left(uses.len() % cycle);
        seasonal
    }
}

impl Seasonal {
    /// Forecast of the period so many periods after the last, 1 being the next.
    pub fn ahead(&self, periods: usize) -> f64 {
        let above = self.season[periods.saturating_sub(1) % self.season.len()];
        self.now.level + periods as f64 * self.now.slope + above
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::supply::rows::{Case, GOLDEN, cases};

    fn start(case: &Case) -> Trend {
        Trend { level: case.number("l0"), slope: case.number("b0") }
    }

    #[test]
    fn damped_trends_agree_with_golden_rows() {
        for case in cases(GOLDEN, "holt_damped") {
            let [alpha, beta, phi] = ["alpha", "beta", "phi"].map(|name| case.number(name));
            let trending = DampedHolt { alpha, beta, phi }.follow(start(&case), &case.uses());
            case.close("level", trending.now.level);
            case.close("trend", trending.now.slope);
            case.close("sse", trending.squared_errors);
            case.close_each("forecast", |place| trending.ahead(place as i32 + 1));
        }
    }

    #[test]
    fn seasons_agree_with_golden_rows() {
        for case in cases(GOLDEN, "hw_additive") {
            let [alpha, beta, gamma] = ["alpha", "beta", "gamma"].map(|name| case.number(name));
            let season = case.numbers("s0");
            let seasonal = HoltWinters { alpha, beta, gamma }.follow(start(&case), &season, &case.uses());
            case.close("level", seasonal.now.level);
            case.close("trend", seasonal.now.slope);
            case.close("sse", seasonal.squared_errors);
            case.close_each("forecast", |place| seasonal.ahead(place + 1));
        }
    }

    #[track_caller]
    fn check_best(uses: &[f64], next: f64, within: f64) {
        let found = DampedHolt::follow_best(uses).unwrap().ahead(1);
        assert!((found - next).abs() <= within, "{found}");
    }

    #[test]
    fn the_best_damped_trend_goes_on_with_a_level_and_with_a_slope() {
        check_best(&[5.0; 12], 5.0, 0.0);
        let rising: Vec<f64> = (1..=20).map(f64::from).collect();
        check_best(&rising, 21.0, 0.1);
    }

    #[test]
    fn one_use_shows_no_trend() {
        assert_eq!(DampedHolt::follow_best(&[3.0]), None);
        assert_eq!(DampedHolt::follow_best(&[]), None);
    }
}
