//! A tank that is looked after every day: what is entered of it, one thing after the other. Two concentrates and an acid, by
//! the labels that a small site might have; what they do differs a little from what their labels say.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_advice::solution::fill::{Acidity, SourceWater};
use fillmark_advice::solution::titration::Titration;
use fillmark_domain::Metric;
use fillmark_domain::stock::{Declared, Reagent};
use rand::rngs::StdRng;
use rand::{Rng, SeedableRng};

/// Volume at its fill mark, L.
pub const MARK_L: f64 = 200.0;

/// What it is filled with.
pub const WATER: SourceWater =
    SourceWater { ec_ms_cm: 0.3, acidity: Some(Acidity { ph: 7.5, alkalinity_meq_l: 1.8 }) };

/// Labels of the two concentrates, mass by volume.
pub const LABELS: [&[(Declared, f64)]; 2] = [
    &[(Declared::NitrateNitrogen, 5.0), (Declared::Calcium, 6.0), (Declared::PotassiumOxide, 2.7)],
    &[
        (Declared::NitrateNitrogen, 1.6),
        (Declared::PhosphorusPentoxide, 4.5),
        (Declared::PotassiumOxide, 11.0),
        (Declared::Magnesium, 1.4),
        (Declared::Sulfur, 1.9),
    ],
];

/// The acid.
pub const ACID: Reagent = Reagent::Nitric;

/// How strong it is, mol/L.
pub const ACID_MOL_L: f64 = 7.4;

/// What one mL/L of each concentrate adds to the EC in truth, mS/cm: near what its label comes to.
const RISES: [f64; 2] = [0.42, 0.44];

/// The acid takes so many times what chemistry says.
const RESPONSE: f64 = 1.15;

/// Phosphate of such a feed, mmol/L: 2 mL/L at 4.5 % P2O5.
const PHOSPHATE_MMOL_L: f64 = 1.27;

/// Something that was done at the tank.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Done {
    /// Something was read, in the metric's canonical unit.
    Read(Metric, f64),
    /// So many mL were poured in.
    Poured(Bottle, f64),
    /// Filled up to the mark with so many L of water.
    ToppedUp(f64),
}

/// What is poured.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Bottle {
    /// A concentrate, by its place among [`LABELS`].
    Feed(usize),
    /// The acid.
    Acid,
}

/// What was done on so many days before an instant, the earliest first: topped up, read, dosed, read, set, and read again.
/// On the instant's own day the tank was only read, and wants both feed and acid. The same each time.
/// # Panics
/// When chemistry does not know the water.
pub fn tended(days: i64, until: DateTime<Utc>) -> Vec<(DateTime<Utc>, Done)> {
    let mut chance = StdRng::seed_from_u64(7);
    let titration = WATER.titration(PHOSPHATE_MMOL_L, ACID).expect("a water that chemistry knows");
    let mut done: Vec<_> = (1..=days)
        .rev()
        .flat_map(|ago| day(until - TimeDelta::days(ago) - TimeDelta::hours(4), &titration, &mut chance))
        .collect();
    done.push((until - TimeDelta::minutes(20), Done::Read(Metric::Ec, 0.9)));
    done.push((until - TimeDelta::minutes(19), Done::Read(Metric::Ph, 6.9)));
    done
}

fn day(at: DateTime<Utc>, titration: &Titration, chance: &mut StdRng) -> Vec<(DateTime<Utc>, Done)> {
    let after = |minutes| at + TimeDelta::minutes(minutes);
    let litres = MARK_L * chance.random_range(0.98..1.02);
    let (ec, gap) = (chance.random_range(0.9..1.2), chance.random_range(0.2..0.5));
    let doses = RISES.map(|_| rounded(gap * MARK_L / 0.8 * chance.random_range(0.8..1.2), 10.0));
    let gained: f64 = doses.iter().zip(RISES).map(|(ml, rise)| ml * rise).sum();
    let ec_after = (ec * litres + gained) / (litres + doses.iter().sum::<f64>() / 1000.0);
    let (ph, to) = (chance.random_range(6.6..7.0), chance.random_range(5.9..6.2));
    let taken = titration.mmol_l(ph, to).expect("an acid lowers the pH") / ACID_MOL_L;
    let acid = rounded(taken * litres * RESPONSE * chance.random_range(0.9..1.1), 10.0);
    let mut read = |metric, value: f64, error: f64| {
        Done::Read(metric, rounded(value + chance.random_range(-error..error), 1000.0))
    };
    vec![
        (at, Done::ToppedUp(10.0)),
        (after(60), read(Metric::Ec, ec, 0.02)),
        (after(61), read(Metric::Ph, ph, 0.04)),
        (after(65), Done::Poured(Bottle::Feed(0), doses[0])),
        (after(66), Done::Poured(Bottle::Feed(1), doses[1])),
        (after(105), read(Metric::Ec, ec_after, 0.02)),
        (after(106), read(Metric::Ph, ph, 0.04)),
        (after(110), Done::Poured(Bottle::Acid, acid)),
        (after(150), read(Metric::Ph, to, 0.04)),
    ]
}

/// To so many steps of one, as it is written down.
fn rounded(value: f64, steps: f64) -> f64 {
    (value * steps).round() / steps
}
