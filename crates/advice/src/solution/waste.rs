//! Run-to-waste: how much drains, and what to do about it.

mod told;

use super::balance::Reckoned;
use super::record::READ_TO_EC;
use super::uptake::SURE;

/// What was fed and what drained over the same time.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct DrainAsked {
    /// Fed, L.
    pub fed_l: Option<f64>,
    /// Drained, L.
    pub drained_l: Option<f64>,
    /// EC of the feed, mS/cm at 25 °C.
    pub feed_ec_ms_cm: Option<f64>,
    /// EC of the drain.
    pub drain_ec_ms_cm: Option<f64>,
    /// EC at which the plants take up, where it is known.
    pub uptake_ec_ms_cm: Option<Reckoned>,
    /// Leaching share that is wanted.
    pub wanted: Leaching,
}

/// A leaching share: drained by fed.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Leaching {
    /// At least.
    pub low: f64,
    /// Best.
    pub aim: f64,
    /// At most.
    pub high: f64,
}

/// Common practice, no source: growers name a tenth to a third, and a fifth to a third on coir.
pub const LEACHING: Leaching = Leaching { low: 0.15, aim: 0.22, high: 0.30 };

/// Gauges of feed and drain are read to this part (common practice, no source).
const VOLUME_TO: f64 = 0.03;

/// A drain that is stronger than its feed by more, mS/cm, tells that salt stays behind (common practice, no source).
const DRAIN_ABOVE_MS_CM: f64 = 1.0;

/// A drain that is weaker than its feed by this part tells that the plants take more than they are fed (common practice, no
/// source).
const DRAIN_BELOW: f64 = 0.1;

/// What drains, and what to do about it.
#[derive(Debug, Clone, PartialEq)]
pub struct Drain {
    /// Leaching share by the litres.
    pub by_litres: Option<Reckoned>,
    /// Leaching share by the salt, as it would be were the root zone steady.
    pub by_salt: Option<Reckoned>,
    /// What to do.
    pub advice: Vec<DrainAdvice>,
}

/// What to do about feed and irrigation.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DrainAdvice {
    /// Too little drains: feed so many times the litres.
    WaterMore {
        /// Litres by litres now.
        times: f64,
    },
    /// Too much drains: feed so many times the litres.
    WaterLess {
        /// Litres by litres now.
        times: f64,
    },
    /// Salt stays behind, and nobody knows how much drains: too little, or the feed is too strong.
    SaltStays {
        /// Drain above feed, mS/cm.
        above_ms_cm: f64,
    },
    /// Enough drains and salt stays behind all the same: a weaker feed.
    WeakerFeed {
        /// Drain above feed, mS/cm.
        above_ms_cm: f64,
    },
    /// The drain is weaker than the feed: the plants want more.
    StrongerFeed {
        /// Drain below feed, mS/cm.
        below_ms_cm: f64,
    },
    /// Litres and salt do not fit: a gauge or a meter is off, or the root zone is not steady.
    DoNotFit,
    /// Nothing to do about what was measured.
    Leave,
    /// Neither litres nor EC of both were measured.
    Measure,
}

/// Advises on what drains.
pub fn drain(asked: &DrainAsked) -> Drain {
    let by_litres = by_litres(asked);
    let by_salt = by_salt(asked);
    let more_than_fed = asked.fed_l.zip(asked.drained_l).is_some_and(|(fed_l, drained_l)| drained_l > fed_l);
    let unfit = more_than_fed
        || by_litres.zip(by_salt).is_some_and(|(litres, salt)| {
            (litres.value - salt.value).abs() > SURE * litres.spread.hypot(salt.spread)
        });
    let mut advice: Vec<DrainAdvice> = unfit.then_some(DrainAdvice::DoNotFit).into_iter().collect();
    let share = by_litres.or(by_salt).map(|share| share.value);
    let too_little = share.is_some_and(|share| share < asked.wanted.low);
    advice.extend(share.and_then(|share| water(share, asked.wanted)));
    advice.extend(strength(asked, share.is_some(), too_little));
    let measured = share.is_some() || asked.feed_ec_ms_cm.zip(asked.drain_ec_ms_cm).is_some();
    if advice.is_empty() {
        advice.push(if measured { DrainAdvice::Leave } else { DrainAdvice::Measure });
    }
    Drain { by_litres, by_salt, advice }
}

fn by_litres(asked: &DrainAsked) -> Option<Reckoned> {
    let (fed_l, drained_l) = asked.fed_l.zip(asked.drained_l)?;
    let value = drained_l / fed_l;
    (fed_l > 0.0 && (0.0..=1.0).contains(&value))
        .then_some(Reckoned { value, spread: value * VOLUME_TO * std::f64::consts::SQRT_2 })
}

/// Salt fed is salt taken up and salt drained: EC_feed = (1 − share) · EC_uptake + share · EC_drain. With plants that take up
/// no salt it is the leaching requirement of the US Salinity Laboratory, EC_feed by EC_drain (Richards, Agriculture Handbook
/// 60, 1954, from memory).
fn by_salt(asked: &DrainAsked) -> Option<Reckoned> {
    let (feed, drain) = asked.feed_ec_ms_cm.zip(asked.drain_ec_ms_cm)?;
    let uptake = asked.uptake_ec_ms_cm?;
    let apart = drain - uptake.value;
    let value = (feed - uptake.value) / apart;
    // At the same strength in and out the share is anything.
    if apart <= SURE * (READ_TO_EC * drain).hypot(uptake.spread) || !(0.0..=1.0).contains(&value) {
        return None;
    }
    let of_feed = READ_TO_EC * feed / apart;
    let of_drain = value * READ_TO_EC * drain / apart;
    let of_uptake = (value - 1.0) * uptake.spread / apart;
    Some(Reckoned { value, spread: of_feed.hypot(of_drain).hypot(of_uptake) })
}

/// Plants drink what they drink: fed · (1 − share) stays the same.
fn water(share: f64, wanted: Leaching) -> Option<DrainAdvice> {
    let times = (1.0 - share) / (1.0 - wanted.aim);
    if share < wanted.low {
        Some(DrainAdvice::WaterMore { times })
    } else if share > wanted.high {
        Some(DrainAdvice::WaterLess { times })
    } else {
        None
    }
}

/// More water comes before a weaker feed: too little of it concentrates any feed.
fn strength(asked: &DrainAsked, share_is_known: bool, too_little: bool) -> Option<DrainAdvice> {
    let (feed, drain) = asked.feed_ec_ms_cm.zip(asked.drain_ec_ms_cm)?;
    let above_ms_cm = drain - feed;
    if above_ms_cm > DRAIN_ABOVE_MS_CM && !share_is_known {
        Some(DrainAdvice::SaltStays { above_ms_cm })
    } else if above_ms_cm > DRAIN_ABOVE_MS_CM && !too_little {
        Some(DrainAdvice::WeakerFeed { above_ms_cm })
    } else if above_ms_cm < -DRAIN_BELOW * feed {
        Some(DrainAdvice::StrongerFeed { below_ms_cm: -above_ms_cm })
    } else {
        None
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn asked(litres: Option<(f64, f64)>, ec: Option<(f64, f64)>, uptake: Option<f64>) -> DrainAsked {
        DrainAsked {
            fed_l: litres.map(|(fed, _)| fed),
            drained_l: litres.map(|(_, drained)| drained),
            feed_ec_ms_cm: ec.map(|(feed, _)| feed),
            drain_ec_ms_cm: ec.map(|(_, drain)| drain),
            uptake_ec_ms_cm: uptake.map(|value| Reckoned { value, spread: 0.0 }),
            wanted: LEACHING,
        }
    }

    #[track_caller]
    fn check(asked: &DrainAsked, share: Option<f64>, advice: &[DrainAdvice]) {
        let got = drain(asked);
        let told = got.by_litres.or(got.by_salt).map(|share| share.value);
        assert!(told.zip(share).map_or(told == share, |(a, b)| (a - b).abs() < 1e-9), "{got:?}");
        assert_eq!(format!("{:.2?}", got.advice), format!("{advice:.2?}"));
    }

    /// By hand: 100 L with 10 L drained are 90 L drunk, which with 22 % drained are 115 L fed.
    #[test]
    fn what_drains_is_brought_to_the_share_that_is_wanted() {
        check(
            &asked(Some((100.0, 10.0)), None, None),
            Some(0.1),
            &[DrainAdvice::WaterMore { times: 1.1538 }],
        );
        check(&asked(Some((100.0, 50.0)), None, None), Some(0.5), &[DrainAdvice::WaterLess { times: 0.641 }]);
        check(&asked(Some((100.0, 15.0)), None, None), Some(0.15), &[DrainAdvice::Leave]);
        check(&asked(Some((100.0, 30.0)), None, None), Some(0.3), &[DrainAdvice::Leave]);
    }

    #[test]
    fn salt_that_stays_behind_asks_for_water_first_and_then_for_a_weaker_feed() {
        let more = DrainAdvice::WaterMore { times: 1.1538 };
        check(&asked(Some((100.0, 10.0)), Some((2.0, 3.5)), None), Some(0.1), &[more]);
        let weaker = DrainAdvice::WeakerFeed { above_ms_cm: 1.5 };
        check(&asked(Some((100.0, 25.0)), Some((2.0, 3.5)), None), Some(0.25), &[weaker]);
        let unknown = DrainAdvice::SaltStays { above_ms_cm: 1.5 };
        check(&asked(None, Some((2.0, 3.5)), None), None, &[unknown]);
        let stronger = DrainAdvice::StrongerFeed { below_ms_cm: 0.5 };
        check(&asked(Some((100.0, 25.0)), Some((2.0, 1.5)), None), Some(0.25), &[stronger]);
    }

    /// By hand: (2.0 − 1.7) / (2.9 − 1.7) = 0.25.
    #[test]
    fn without_litres_the_salt_tells_the_share() {
        check(&asked(None, Some((2.0, 2.9)), Some(1.7)), Some(0.25), &[DrainAdvice::Leave]);
        check(&asked(None, Some((2.0, 2.9)), None), None, &[DrainAdvice::Leave]);
        check(&asked(None, None, Some(1.7)), None, &[DrainAdvice::Measure]);
    }

    #[test]
    fn litres_and_salt_that_do_not_fit_are_told() {
        let got = drain(&asked(Some((100.0, 28.0)), Some((2.0, 10.0)), Some(1.0)));
        assert_eq!(got.advice[0], DrainAdvice::DoNotFit, "{got:?}");
    }

    #[test]
    fn a_share_that_cannot_be_is_none() {
        check(&asked(Some((100.0, 120.0)), None, None), None, &[DrainAdvice::DoNotFit]);
        check(&asked(Some((0.0, 0.0)), None, None), None, &[DrainAdvice::Measure]);
    }

    proptest! {
        #[test]
        fn a_steady_root_zone_tells_the_same_by_litres_and_by_salt(
            share in 0.05..0.6f64, feed in 1.0..3.0f64, uptake in 0.3..0.8f64,
        ) {
            let taken = feed * uptake;
            let drained = (feed - (1.0 - share) * taken) / share;
            let got = drain(&asked(Some((100.0, 100.0 * share)), Some((feed, drained)), Some(taken)));
            prop_assert!((got.by_litres.unwrap().value - share).abs() < 1e-9);
            prop_assert!((got.by_salt.unwrap().value - share).abs() < 1e-9);
            prop_assert!(!got.advice.contains(&DrainAdvice::DoNotFit));
        }
    }
}
