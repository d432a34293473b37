//! Water and salt of a tank: what is added, drunk and drained is all there is.
//!
//! Conductivity times volume stands for salt here. That is right within a few per cent, since conductivity is not quite
//! straight in concentration; [`super::conductivity`] knows by how much.

/// Part of a tank: so much solution of one conductivity.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Volume {
    /// Litres.
    pub litres: f64,
    /// Conductivity at 25 °C.
    pub ec_ms_cm: f64,
}

impl Volume {
    /// Salt in it, mS/cm times L.
    pub fn salt(self) -> f64 {
        self.litres * self.ec_ms_cm
    }

    /// Both together; of nothing and nothing, nothing.
    #[must_use]
    pub fn with(self, other: Volume) -> Volume {
        let litres = self.litres + other.litres;
        let ec_ms_cm = if litres > 0.0 { (self.salt() + other.salt()) / litres } else { 0.0 };
        Volume { litres, ec_ms_cm }
    }
}

/// A target that what is at hand does not reach.
#[derive(Debug, Clone, Copy, PartialEq, thiserror::Error)]
#[error("{target_ms_cm} mS/cm is not reached from {from_ms_cm} with {with_ms_cm} mS/cm")]
pub struct NotReached {
    /// What there is.
    pub from_ms_cm: f64,
    /// What is added.
    pub with_ms_cm: f64,
    /// What is wanted.
    pub target_ms_cm: f64,
}

/// Water that a depth over an area is, L: one millimetre on a square metre is a litre. `crop_coefficient` is 1 where the
/// depth is the crop's own.
pub fn depth_l(depth_mm: f64, area_m2: f64, crop_coefficient: f64) -> f64 {
    depth_mm * area_m2 * crop_coefficient
}

/// Salt that plants took between two readings beyond what the water that replaces it brings, mS/cm times L.
pub fn salt_used_above_water(before: Volume, after: Volume, water_ms_cm: f64) -> f64 {
    (before.ec_ms_cm - water_ms_cm) * before.litres - (after.ec_ms_cm - water_ms_cm) * after.litres
}

/// Conductivity at which plants drank between two readings, mS/cm; none when the tank lost no water.
pub fn uptake_ms_cm(before: Volume, after: Volume) -> Option<f64> {
    let drunk_l = before.litres - after.litres;
    (drunk_l > 0.0).then(|| (before.salt() - after.salt()) / drunk_l)
}

/// Concentrate that takes a volume to a target, mL, its own volume not counted.
/// `ms_cm_per_ml_l` is what one mL in a litre adds.
pub fn concentrate_ml(there: Volume, target_ms_cm: f64, ms_cm_per_ml_l: f64) -> f64 {
    (target_ms_cm - there.ec_ms_cm) * there.litres / ms_cm_per_ml_l
}

/// Litres of something of another conductivity that take a volume to a target, its own volume counted: water to dilute
/// with, or a concentrate of known conductivity.
/// # Errors
/// [`NotReached`] when the target is not between the two.
pub fn added_l(there: Volume, target_ms_cm: f64, added_ms_cm: f64) -> Result<f64, NotReached> {
    let litres = there.litres * (there.ec_ms_cm - target_ms_cm) / (target_ms_cm - added_ms_cm);
    if litres.is_finite() && litres >= 0.0 {
        Ok(litres)
    } else {
        Err(NotReached { from_ms_cm: there.ec_ms_cm, with_ms_cm: added_ms_cm, target_ms_cm })
    }
}

/// Part of a tank to drain and refill so that it comes to a target.
/// # Errors
/// [`NotReached`] when the target is not between the two.
pub fn fraction_to_replace(ec_ms_cm: f64, target_ms_cm: f64, new_ms_cm: f64) -> Result<f64, NotReached> {
    let fraction = (ec_ms_cm - target_ms_cm) / (ec_ms_cm - new_ms_cm);
    if (0.0..=1.0).contains(&fraction) {
        Ok(fraction)
    } else {
        Err(NotReached { from_ms_cm: ec_ms_cm, with_ms_cm: new_ms_cm, target_ms_cm })
    }
}

/// Conductivity after a part of a tank was drained and refilled, so many times.
pub fn after_partial_changes_ms_cm(ec_ms_cm: f64, new_ms_cm: f64, fraction: f64, times: i32) -> f64 {
    new_ms_cm + (ec_ms_cm - new_ms_cm) * (1.0 - fraction).powi(times)
}

/// How a tank is fed: changed every so many days, and topped up on the others.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Feeding {
    /// Volume of the tank, L.
    pub tank_l: f64,
    /// Conductivity it is filled to.
    pub target_ms_cm: f64,
    /// Conductivity of the water.
    pub water_ms_cm: f64,
    /// What plants drink a day, L.
    pub uptake_l_day: f64,
    /// Conductivity it is topped up with.
    pub top_up_ms_cm: f64,
    /// Days from change to change.
    pub change_every_days: u32,
}

impl Feeding {
    /// Salt that the feed needs above its water in so many days from a change on, mS/cm times L.
    pub fn salt_in_days(&self, days: u32) -> f64 {
        let changes = days.div_ceil(self.change_every_days.max(1));
        let fills = f64::from(changes) * self.tank_l * (self.target_ms_cm - self.water_ms_cm);
        fills + self.top_up_salt(f64::from(days - changes))
    }

    /// Salt that the feed needs from change to change, with so many days of topping up, mS/cm times L.
    pub fn salt_in_cycle(&self, top_up_days: f64) -> f64 {
        self.tank_l * (self.target_ms_cm - self.water_ms_cm) + self.top_up_salt(top_up_days)
    }

    fn top_up_salt(&self, days: f64) -> f64 {
        self.uptake_l_day * days * (self.top_up_ms_cm - self.water_ms_cm)
    }
}

/// An ion that plants take less of than the water brings, in a tank that is kept full.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Accumulation {
    /// Volume of the tank, L.
    pub tank_l: f64,
    /// Water that goes through the plants a day, L.
    pub uptake_l_day: f64,
    /// What the water brings, mmol/L.
    pub source_mmol_l: f64,
    /// What the plants take, mmol in a litre that they drink.
    pub taken_mmol_l: f64,
    /// What is in the tank at first, mmol/L.
    pub start_mmol_l: f64,
}

impl Accumulation {
    fn mmol_l_day(&self) -> f64 {
        self.uptake_l_day * (self.source_mmol_l - self.taken_mmol_l) / self.tank_l
    }

    /// What is in the tank after so many days, mmol/L.
    pub fn after_days_mmol_l(&self, days: f64) -> f64 {
        (self.start_mmol_l + self.mmol_l_day() * days).max(0.0)
    }

    /// Days until a limit; none when it is never reached.
    pub fn days_to(&self, limit_mmol_l: f64) -> Option<f64> {
        let days = (limit_mmol_l - self.start_mmol_l) / self.mmol_l_day();
        (days.is_finite() && days >= 0.0).then_some(days)
    }
}

/// Days that a stock lasts at a steady use; none when nothing is used.
pub fn days_left(stock: f64, use_per_day: f64) -> Option<f64> {
    (use_per_day > 0.0).then(|| stock / use_per_day)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const fn of(litres: f64, ec_ms_cm: f64) -> Volume {
        Volume { litres, ec_ms_cm }
    }

    #[test]
    fn a_target_outside_what_is_at_hand_is_refused() {
        assert!(added_l(of(100.0, 2.4), 1.8, 1.9).is_err());
        assert!(added_l(of(100.0, 2.4), 1.8, 1.8).is_err());
        assert!(fraction_to_replace(2.6, 1.0, 1.2).is_err());
        assert_eq!(uptake_ms_cm(of(100.0, 1.0), of(100.0, 0.9)), None);
    }

    #[test]
    fn changes_that_do_not_divide_the_days_count_as_begun() {
        let feeding = Feeding {
            tank_l: 100.0,
            target_ms_cm: 2.0,
            water_ms_cm: 0.0,
            uptake_l_day: 1.0,
            top_up_ms_cm: 1.0,
            change_every_days: 10,
        };
        // Changes on days 0, 10 and 20; 25 days of topping up.
        assert!((feeding.salt_in_days(28) - (600.0 + 25.0)).abs() < 1e-9);
    }

    proptest! {
        #[test]
        fn salt_and_water_are_kept(v1 in 0.0..1e4, e1 in 0.0..20.0, v2 in 0.1..1e4, e2 in 0.0..20.0) {
            let both = of(v1, e1).with(of(v2, e2));
            prop_assert!((both.salt() - (v1 * e1 + v2 * e2)).abs() <= 1e-9 * (1.0 + both.salt()));
            prop_assert!((both.litres - v1 - v2).abs() <= 1e-9 * both.litres);
        }

        #[test]
        fn what_is_added_takes_the_tank_to_its_target(v in 1.0..1e4, ec in 1.0..4.0, part in 0.01..0.99) {
            let target = ec * part + 0.2 * (1.0 - part);
            let litres = added_l(of(v, ec), target, 0.2).unwrap();
            prop_assert!((of(v, ec).with(of(litres, 0.2)).ec_ms_cm - target).abs() < 1e-9);
            let fraction = fraction_to_replace(ec, target, 0.2).unwrap();
            prop_assert!((after_partial_changes_ms_cm(ec, 0.2, fraction, 1) - target).abs() < 1e-9);
        }
    }
}
