//! What plants take a day, learnt from a tank's balance, and what left it that no plant took.
//!
//! A tank with few spans is drawn to the tanks of the same room and stage, and those to what is published.

use chrono::{DateTime, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::{Addition, Reading};

mod drinking;
mod told;

pub use drinking::{Drinking, peers, stage_led};

use super::balance::{Reckoned, Span, TO_90};

/// The spans of a tank in one stage, and who drinks from it.
#[derive(Debug, Clone, Copy)]
pub struct Drinkers<'a> {
    /// Its spans.
    pub spans: &'a [Span],
    /// Plants that drank.
    pub plants: f64,
    /// EC that it is kept at, mS/cm.
    pub ec_ms_cm: f64,
}

/// What a plant takes a day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Uptake {
    /// L.
    pub water_l: Rate,
    /// mS/cm times L.
    pub nutrient: Rate,
}

impl Uptake {
    /// EC at which plants take up, mS/cm: beside the feed's it tells whether they want it weaker or stronger. None where
    /// they drink nothing that can be told from nought.
    pub fn ec_ms_cm(&self) -> Option<Reckoned> {
        let (water, nutrient) = (self.water_l, self.nutrient);
        let value = nutrient.value / water.value;
        (water.low > 0.0)
            .then(|| Reckoned { value, spread: nutrient.spread.hypot(value * water.spread) / water.value })
    }
}

impl Rate {
    /// Of so many plants together.
    #[must_use]
    pub fn of_plants(self, plants: f64) -> Rate {
        Rate {
            value: self.value * plants,
            spread: self.spread * plants,
            low: self.low * plants,
            high: self.high * plants,
            from_day_to_day: self.from_day_to_day * plants,
            ..self
        }
    }
}

/// So much a plant and day.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rate {
    /// The likeliest mean.
    pub value: f64,
    /// Standard deviation of the mean.
    pub spread: f64,
    /// Lower end of the interval that holds the mean nine times of ten, at least nought.
    pub low: f64,
    /// Upper end of that interval.
    pub high: f64,
    /// How far one day lies from the mean: standard deviation.
    pub from_day_to_day: f64,
    /// How much of it is what was expected before any record of the tank, 0 to 1.
    pub prior_share: f64,
    /// Spans of the tank it was learnt from.
    pub spans: usize,
}

/// Water that left a tank beyond what its plants usually take.
#[derive(Debug, Clone, PartialEq)]
pub struct Loss {
    /// L beyond the usual.
    pub litres: Reckoned,
    /// How it went.
    pub cause: LossCause,
    /// Between when and when.
    pub between: [DateTime<Utc>; 2],
    /// The readings before and after.
    pub readings: [Id<Reading>; 2],
    /// The additions between.
    pub additions: Vec<Id<Addition>>,
}

/// How water went that no plant took.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LossCause {
    /// Without nutrient: it evaporated.
    Evaporation,
    /// With nutrient, as the tank holds it: it leaked, was spilt or drained without a record.
    Leak,
    /// The readings do not tell the two apart.
    Unclear,
}

/// Litres a plant and day, from a young plant to a grown one on a sunny day: R. G. Snyder, Greenhouse Tomato Handbook,
/// publication 1828, Mississippi State University Extension (from memory). Other crops lie within.
const PUBLISHED_L: (f64, f64) = (0.05, 2.7);

/// Plants take up nutrient about as strong as they are fed, give or take this part (common practice, no source).
const AS_FED: f64 = 0.5;

/// Tanks of one room and stage differ by this part (common practice, no source).
const BETWEEN_TANKS: f64 = 0.3;

/// One day differs from the mean by this part before it was measured: weather, mostly (common practice, no source).
const BETWEEN_DAYS: f64 = 0.3;

/// Over less than this many days nothing is drunk that a gauge can show (our own judgement).
const SHORTEST_DAYS: f64 = 0.25;

/// Where Huber's weights begin to fall: 95 % as good as the mean where nothing is wrong (Huber 1964).
const HUBER: f64 = 1.345;

/// What a difference must exceed, in standard deviations, before it counts as one (our own judgement): once in 370 by chance.
pub(super) const SURE: f64 = 3.0;

/// What the plants of a tank take, from its own spans, drawn to its peers of the same room and stage.
pub fn uptake(tank: Drinkers<'_>, peers: &[Drinkers<'_>]) -> Uptake {
    let (low, high) = PUBLISHED_L;
    let published_l = Reckoned { value: (low * high).sqrt(), spread: (high - low) / (2.0 * TO_90) };
    let strength = published_l.value * AS_FED;
    let published = Reckoned {
        value: published_l.value * tank.ec_ms_cm,
        spread: published_l.spread.hypot(strength) * tank.ec_ms_cm,
    };
    let drawn = |rates: &dyn Fn(&Drinkers<'_>) -> Vec<Reckoned>, prior: Reckoned| {
        let of_peers: Vec<Reckoned> = peers.iter().flat_map(rates).collect();
        let room = shrunk(&of_peers, prior);
        let of_room = Reckoned { value: room.value, spread: room.spread.hypot(BETWEEN_TANKS * room.value) };
        shrunk(&rates(&tank), if of_peers.is_empty() { prior } else { of_room })
    };
    let water = |drinkers: &Drinkers<'_>| drinkers.rates(|span| Some(span.water_l()));
    Uptake { water_l: drawn(&water, published_l), nutrient: drawn(&|of| of.rates(Span::nutrient), published) }
}

/// Where more water left than the plants of a tank usually take.
pub fn losses(tank: Drinkers<'_>, usual: &Uptake) -> Vec<Loss> {
    tank.spans.iter().filter_map(|span| loss(span, tank.plants, usual)).collect()
}

fn loss(span: &Span, plants: f64, usual: &Uptake) -> Option<Loss> {
    let plant_days = plants * span.days();
    let water = span.water_l();
    let litres = beyond(water, usual.water_l, plant_days);
    if litres.value <= SURE * litres.spread {
        return None;
    }
    let ec = span.mean_ec_ms_cm();
    let cause = span.nutrient().zip(span.nutrient_beyond(ec)).map_or(LossCause::Unclear, |(all, more)| {
        let evaporated = beyond(all, usual.nutrient, plant_days).sigmas().abs();
        let expected = usual.nutrient.value - ec * usual.water_l.value;
        let scatter = usual.nutrient.from_day_to_day.hypot(ec * usual.water_l.from_day_to_day);
        let spread = more.spread.hypot(scatter * plant_days);
        let leaked = Reckoned { value: more.value - expected * plant_days, spread }.sigmas().abs();
        match (evaporated > SURE, leaked > SURE) {
            (true, _) if leaked < evaporated => LossCause::Leak,
            (_, true) if evaporated < leaked => LossCause::Evaporation,
            _ => LossCause::Unclear,
        }
    });
    let between = [span.from.at, span.to.at];
    let readings = [span.from.reading, span.to.reading];
    Some(Loss { litres, cause, between, readings, additions: span.additions.clone() })
}

/// What left beyond the usual of so many plants times days. The scatter of days holds that of the readings already.
fn beyond(left: Reckoned, usual: Rate, plant_days: f64) -> Reckoned {
    let scatter = left.spread.max(usual.from_day_to_day * plant_days);
    Reckoned {
        value: left.value - usual.value * plant_days,
        spread: scatter.hypot(usual.spread * plant_days),
    }
}

impl Drinkers<'_> {
    fn rates(&self, left: impl Fn(&Span) -> Option<Reckoned>) -> Vec<Reckoned> {
        let long_enough = |span: &&Span| span.days() >= SHORTEST_DAYS && self.plants > 0.0;
        let rate = |span: &Span| {
            let plant_days = self.plants * span.days();
            let Reckoned { value, spread } = left(span)?;
            Some(Reckoned { value: value / plant_days, spread: spread / plant_days })
        };
        self.spans.iter().filter(long_enough).filter_map(rate).collect()
    }
}

/// The mean of rates, robust, drawn to what was expected. Spans that follow each other share a state, whose error lowers one
/// and raises the other, so that the mean is known rather better than it says.
fn shrunk(rates: &[Reckoned], prior: Reckoned) -> Rate {
    let expected = BETWEEN_DAYS * prior.value;
    let middle = median(rates.iter().map(|rate| rate.value).collect()).unwrap_or(prior.value);
    let off = median(rates.iter().map(|rate| (rate.value - middle).abs()).collect());
    // 1.4826 makes a standard deviation of a median deviation (normal distribution).
    let scatter = off.filter(|_| rates.len() >= 3).map_or(expected, |off| 1.4826 * off);
    let scales: Vec<f64> = rates.iter().map(|rate| rate.spread.max(scatter).max(1e-9)).collect();
    let (mut mean, mut precision) = (middle, 0.0);
    // Huber's weights settle within a few rounds.
    for _ in 0..30 {
        let weight = |(rate, scale): (&Reckoned, &f64)| {
            let far = ((rate.value - mean) / scale).abs();
            (rate.value, (HUBER / far.max(HUBER)) / scale.powi(2))
        };
        let weighted: Vec<(f64, f64)> = rates.iter().zip(&scales).map(weight).collect();
        precision = weighted.iter().map(|(_, weight)| weight).sum();
        if precision <= 0.0 {
            break;
        }
        mean = weighted.iter().map(|(value, weight)| value * weight).sum::<f64>() / precision;
    }
    let of_prior = prior.spread.powi(-2);
    let value = (mean * precision + prior.value * of_prior) / (precision + of_prior);
    let spread = (precision + of_prior).sqrt().recip();
    Rate {
        value,
        spread,
        low: (value - TO_90 * spread).max(0.0),
        high: value + TO_90 * spread,
        from_day_to_day: scatter,
        prior_share: of_prior / (precision + of_prior),
        spans: rates.len(),
    }
}

/// The middle of values; none of none.
pub(super) fn median(mut values: Vec<f64>) -> Option<f64> {
    values.sort_by(f64::total_cmp);
    let upper = *values.get(values.len() / 2)?;
    Some(if values.len().is_multiple_of(2) { 0.5 * (upper + values[values.len() / 2 - 1]) } else { upper })
}

#[cfg(test)]
mod tests {
    use fillmark_domain::Metric;

    use super::super::balance::{Rises, spans};
    use super::super::record::testing::{day, read};
    use super::super::record::{Event, TankRecord};
    use super::super::simulated::Chance;
    use super::*;

    /// Each day so many litres leave and so much nutrient, read with the noise of a gauge; fresh and full again by a reading
    /// after each.
    fn tank(chance: &mut Chance, days: &[(f64, f64)]) -> Vec<Span> {
        let mut events: Vec<Event> = Vec::new();
        let hour = chrono::TimeDelta::hours(1);
        for (n, (litres, salt)) in days.iter().enumerate() {
            let (id, at) = (10 * n as u128, day(n as i64));
            let (left_l, left) = (200.0 - litres, 200.0 * 1.8 - salt);
            for (id, at, litres, salt) in [(id, at, 200.0, 360.0), (id + 5, at + hour * 23, left_l, left)] {
                let ec = salt / litres * (1.0 + 0.01 * chance.normal());
                events.push(read(id, at, Metric::Ec, ec));
                events.push(read(id + 1, at, Metric::Volume, litres + chance.normal()));
            }
        }
        let all = spans(&TankRecord { fill_mark_l: 200.0, events }, 0.3, &Rises::new());
        all.into_iter().step_by(2).collect()
    }

    fn of(spans: &[Span]) -> Drinkers<'_> {
        Drinkers { spans, plants: 40.0, ec_ms_cm: 1.8 }
    }

    #[test]
    fn nothing_on_record_is_what_is_published() {
        let got = uptake(of(&[]), &[]).water_l;
        assert!((got.value - 0.367).abs() < 1e-3 && got.prior_share == 1.0 && got.low == 0.0, "{got:?}");
    }

    /// 10 L in 23 hours by 40 plants are 0.261 L a plant and day.
    #[test]
    fn a_few_weeks_outweigh_what_is_published_and_an_outlier() {
        let mut days = vec![(10.0, 15.0); 30];
        days[7] = (120.0, 15.0);
        let spans = tank(&mut Chance::seeded(1), &days);
        let got = uptake(of(&spans), &[]);
        assert!((got.water_l.value - 0.261).abs() < 0.02, "{got:?}");
        assert!(got.water_l.prior_share < 0.01 && got.water_l.spans == 30, "{got:?}");
        assert!(got.water_l.low < 0.261 && 0.261 < got.water_l.high, "{got:?}");
        assert!((got.ec_ms_cm().unwrap().value - 1.5).abs() < 0.2, "{got:?}");
    }

    #[test]
    fn a_new_tank_is_drawn_to_its_room() {
        let peers = tank(&mut Chance::seeded(2), &[(40.0, 60.0); 30]);
        let own = tank(&mut Chance::seeded(3), &[(10.0, 15.0); 1]);
        let (alone, among) = (uptake(of(&own), &[]), uptake(of(&own), &[of(&peers)]));
        assert!(among.water_l.value > alone.water_l.value, "{alone:?} {among:?}");
        assert!(among.water_l.prior_share > 0.1 && among.water_l.prior_share < 1.0, "{among:?}");
    }

    #[track_caller]
    fn check_loss(planted: (f64, f64), cause: LossCause) {
        let mut found = 0;
        for seed in 0..200 {
            let mut chance = Chance::seeded(seed);
            let mut days: Vec<(f64, f64)> =
                (0..20).map(|_| (chance.between(8.0, 12.0), chance.between(8.0, 14.0))).collect();
            days[9] = planted;
            let spans = tank(&mut chance, &days);
            let got = losses(of(&spans), &uptake(of(&spans), &[]));
            let hit = |loss: &Loss| loss.cause == cause && loss.readings[0] == spans[9].from.reading;
            found += usize::from(got.len() == 1 && got.iter().any(hit));
        }
        println!("{cause:?}: {found} of 200");
        assert!(found >= 190, "{cause:?}: {found} of 200");
    }

    /// 60 L more than usual, with 1.8 mS/cm and without.
    #[test]
    fn a_leak_takes_nutrient_along_and_evaporation_does_not() {
        check_loss((70.0, 11.0 + 60.0 * 1.8), LossCause::Leak);
        check_loss((70.0, 11.0), LossCause::Evaporation);
    }
}
