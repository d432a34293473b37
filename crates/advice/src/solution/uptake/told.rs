//! What plants take and what a tank lost, as a person is told it.

use super::{Loss, LossCause, Uptake};

impl Uptake {
    /// Whether plants want the feed weaker or stronger, in a sentence; nothing where the readings do not tell.
    pub fn told_beside(&self, feed_ec_ms_cm: f64) -> Option<String> {
        let ec = self.ec_ms_cm()?.interval();
        let (value, low, high) = (ec.value, ec.low.max(0.0), ec.high);
        let taken = format!(
            "Plants take up at an EC of {value:.2} mS/cm ({low:.2} to {high:.2}) and are fed at {feed_ec_ms_cm:.2}"
        );
        Some(if high < feed_ec_ms_cm {
            format!("{taken}: the EC climbs as they drink, a weaker feed would hold it.")
        } else if low > feed_ec_ms_cm {
            format!("{taken}: the EC falls as they drink, a stronger feed would hold it.")
        } else {
            format!("{taken}: no difference can be told.")
        })
    }

    /// What the figures rest on, in a sentence.
    pub fn told(&self) -> String {
        let (spans, share) = (self.water_l.spans, self.water_l.prior_share * 100.0);
        format!(
            "What plants drink is learnt from {spans} spans between readings of this tank; {share:.0} % of the figure is what \
             was expected of its neighbours, or is published."
        )
    }
}

impl Loss {
    /// In a sentence, with what to look at.
    pub fn told(&self) -> String {
        let litres = self.litres.interval();
        let lost = format!(
            "{:.0} L ({:.0} to {:.0}) more left the tank than its plants usually drink",
            litres.value,
            litres.low.max(0.0),
            litres.high
        );
        let what = match self.cause {
            LossCause::Leak => {
                "with the nutrient in it: it leaked, was spilt, or was drained without a record. Look at hoses, valves and \
                 overflow, and at what was entered between the two readings."
            }
            LossCause::Evaporation => {
                "without nutrient: it evaporated, or water was taken for topped up that was not. Look at the lid and at the \
                 top-ups between the two readings."
            }
            LossCause::Unclear => {
                "and the readings do not tell whether nutrient went with it. Look at the tank, and at the volumes entered."
            }
        };
        format!("{lost}, {what}")
    }
}

#[cfg(test)]
mod tests {
    use super::super::Rate;
    use super::*;

    fn rate(value: f64, spread: f64) -> Rate {
        let (low, high) = (value - 1.645 * spread, value + 1.645 * spread);
        Rate { value, spread, low, high, from_day_to_day: 0.0, prior_share: 0.25, spans: 3 }
    }

    #[track_caller]
    fn check(feed_ec_ms_cm: f64, part: &str) {
        let uptake = Uptake { water_l: rate(0.1, 0.002), nutrient: rate(0.15, 0.003) };
        let told = uptake.told_beside(feed_ec_ms_cm).unwrap();
        assert!(told.contains(part), "{told}");
    }

    /// 0.15 mS/cm·L in 0.1 L are 1.5 mS/cm.
    #[test]
    fn a_feed_beside_what_plants_take_is_told_weaker_or_stronger() {
        check(1.8, "a weaker feed");
        check(1.5, "no difference");
        check(1.2, "a stronger feed");
    }
}
