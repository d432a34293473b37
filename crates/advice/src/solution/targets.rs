//! What is published of crops, for a tank that nobody has given bands. A programme's own bands go before all of it.

use fillmark_domain::{Band, Metric};

/// A published range.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Target {
    /// Lowest and highest; the aim lies in the middle.
    pub band: Band,
    /// Whose it is.
    pub source: &'static str,
}

/// Table 2; transcribed, the sheet itself seen in part.
const GUIDE: &str = "H. Singh and B. Dunn, Electrical Conductivity and pH Guide for Hydroponics, HLA-6722, Oklahoma State \
                     University Extension, 2016";
const LETTUCE: &str =
    "M. Brechner and A. J. Both, Hydroponic Lettuce Handbook, Cornell University, set points";

/// Lowest and highest.
type Range = (f64, f64);

/// EC in mS/cm and pH by crop, and whose the pH is.
const PUBLISHED: [(&str, Range, Range, &str); 12] = [
    ("african violet", (1.2, 1.5), (6.0, 7.0), GUIDE),
    ("asparagus", (1.4, 1.8), (6.0, 6.8), GUIDE),
    ("basil", (1.0, 1.6), (5.5, 6.0), GUIDE),
    ("cabbage", (2.5, 3.0), (6.5, 7.0), GUIDE),
    ("cucumber", (1.7, 2.0), (5.0, 5.5), GUIDE),
    ("eggplant", (2.5, 3.5), (6.0, 6.0), GUIDE),
    ("lettuce", (1.2, 1.8), (5.6, 6.0), LETTUCE),
    ("parsley", (1.8, 2.2), (6.0, 6.5), GUIDE),
    ("pepper", (0.8, 1.8), (5.5, 6.0), GUIDE),
    ("spinach", (1.8, 2.3), (6.0, 7.0), GUIDE),
    ("strawberry", (1.8, 2.2), (6.0, 6.0), GUIDE),
    ("tomato", (2.0, 4.0), (6.0, 6.5), GUIDE),
];

/// The published range of a metric for a crop whose name holds the crop's word; of EC and pH only. The EC of lettuce is the
/// guide's too.
pub fn of_crop(name: &str, metric: Metric) -> Option<Target> {
    let name = name.to_lowercase();
    let words: Vec<&str> = name.split(|one: char| !one.is_alphanumeric()).collect();
    let is_named = |crop: &str| crop.split(' ').all(|word| words.contains(&word));
    let (_, ec, ph, source) = PUBLISHED.iter().find(|(crop, ..)| is_named(crop))?;
    let ((low, high), source) = match metric {
        Metric::Ec => (*ec, GUIDE),
        Metric::Ph => (*ph, *source),
        _ => return None,
    };
    let band = Band::new(metric, low, 0.5 * (low + high), high).ok()?;
    Some(Target { band, source })
}

impl Target {
    /// In a sentence.
    pub fn told(&self) -> String {
        let what = if self.band.metric == Metric::Ec { "EC (mS/cm)" } else { "pH" };
        format!(
            "No band of {what} is set for this tank; {} to {} is taken as published ({}). Give the step bands of your own.",
            self.band.low, self.band.high, self.source
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(name: &str, metric: Metric, range: Option<(f64, f64)>) {
        let found = of_crop(name, metric);
        assert_eq!(found.map(|target| (target.band.low, target.band.high)), range, "{name}");
    }

    #[test]
    fn crops_are_found_by_the_words_of_their_names() {
        check("Basil", Metric::Ec, Some((1.0, 1.6)));
        check("Lettuce Brindle", Metric::Ph, Some((5.6, 6.0)));
        check("African violet, blue", Metric::Ec, Some((1.2, 1.5)));
        check("Peppermint", Metric::Ec, None);
        check("Basil", Metric::AirTemperature, None);
    }
}
