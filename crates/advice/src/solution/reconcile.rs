//! What additions should have done to a tank against what its readings show, and stock against both.
//!
//! A difference counts only beyond its uncertainty, and then the likeliest of the usual mistakes is named: what was poured
//! is weighed against what each of them would have left behind.

use std::collections::BTreeMap;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Id;
use fillmark_domain::entries::{Addition, Meter, Reading};
use fillmark_domain::stock::ProductId;

use super::balance::{Rises, spread_of};
use super::record::TankRecord;
use super::record::{DRIFT_A_DAY, READ_TO_EC};
pub use super::uptake::{Loss, LossCause, losses};

mod apart;
mod cause;
mod group;
mod meter;
mod month;
mod ph;
mod told;

pub use apart::{Apart, LastApart, apart, last_apart};
pub use month::{Drawn, Month, MonthVerdict, months};
pub use ph::Movers;
pub use told::Called;

use group::{Group, groups};

/// What was poured between two readings of the EC, or nothing, and what came of it.
#[derive(Debug, Clone, PartialEq)]
pub struct Checked {
    /// When: of the reading after, or of the first addition where there is none.
    pub at: DateTime<Utc>,
    /// The products poured.
    pub poured: Vec<Dosed>,
    /// Water filled in.
    pub water: Vec<Id<Addition>>,
    /// The readings before and after; of a tank filled afresh the one after.
    pub readings: Vec<Id<Reading>>,
    /// The meter of the one after.
    pub meter: Option<Id<Meter>>,
    /// What came of it, where readings and rises can tell.
    pub rise: Option<Rise>,
    /// How far the pH moved at that, where it shows that something moved it.
    pub ph_moved: Option<f64>,
    /// What to make of it.
    pub verdict: Verdict,
}

/// A product poured.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Dosed {
    /// Which addition.
    pub id: Id<Addition>,
    /// Which product.
    pub product: ProductId,
    /// mL or g, as recorded.
    pub amount: f64,
}

/// EC that rose, mS/cm; below nought where it fell.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rise {
    /// By what is recorded.
    pub expected: f64,
    /// By the readings.
    pub observed: f64,
    /// Standard deviation of their difference.
    pub spread: f64,
    /// Part of the expected that the products bring.
    pub by_products: f64,
    /// Part of it that products and water bring, before the tank is counted.
    pub brought: f64,
}

/// What to make of what the readings show.
#[derive(Debug, Clone, PartialEq)]
pub enum Verdict {
    /// They show what is recorded, as far as they can.
    Agrees,
    /// No readings before and after, soon enough and with one meter.
    NotObserved,
    /// This product does not say what it adds.
    RiseUnknown(ProductId),
    /// It was poured under a label of this product that has been revised since.
    EarlierLabel(ProductId),
    /// So many times as much was poured as is recorded: a unit, or a decimal point.
    UnitSlip {
        /// In which additions.
        whose: Whose,
        /// Poured by recorded.
        factor: f64,
    },
    /// Another product was poured.
    WrongProduct {
        /// In which addition.
        whose: Whose,
        /// The likeliest.
        poured: ProductId,
    },
    /// It was recorded, and not poured.
    NotPoured {
        /// Which additions.
        whose: Whose,
    },
    /// EC rose by what is not on record, mS/cm times L.
    UnrecordedAddition {
        /// EC times litres.
        salt: f64,
    },
    /// EC fell with nothing on record, as by so much water.
    UnrecordedWater {
        /// L.
        litres: f64,
    },
    /// All that this meter read is off by one factor, while others agree.
    MeterOut {
        /// Which.
        meter: Id<Meter>,
        /// What it shows by what is.
        factor: f64,
    },
    /// All that this meter read is off by one factor, and there is no other to tell whether it or the products are.
    MeterOrProducts {
        /// Which.
        meter: Id<Meter>,
        /// What it shows by what the records make of it.
        factor: f64,
    },
    /// A difference beyond its uncertainty that no usual mistake explains.
    Unexplained,
}

/// Whose mistake it is among what was poured together.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Whose {
    /// Of one of these, the likeliest first; of more than one where readings do not tell them apart.
    OneOf(Vec<Id<Addition>>),
    /// Of all of these alike.
    All(Vec<Id<Addition>>),
}

/// From reading to reading at most: a day and what a round comes late. What plants do meanwhile is counted in.
const LONGEST: TimeDelta = TimeDelta::hours(36);

/// Meters show hundredths (common practice, no source).
const SHOWN_TO_MS_CM: f64 = 0.01;

impl Verdict {
    /// Whether somebody should look: readings and records do not fit.
    pub const fn wants_a_look(&self) -> bool {
        !matches!(
            self,
            Verdict::Agrees | Verdict::NotObserved | Verdict::RiseUnknown(_) | Verdict::EarlierLabel(_)
        )
    }

    /// The meter that is in doubt, where one is.
    pub const fn meter(&self) -> Option<Id<Meter>> {
        match self {
            Verdict::MeterOut { meter, .. } | Verdict::MeterOrProducts { meter, .. } => Some(*meter),
            _ => None,
        }
    }

    /// Whose mistake it is, where it is that of an addition.
    pub const fn whose(&self) -> Option<&Whose> {
        match self {
            Verdict::UnitSlip { whose, .. }
            | Verdict::WrongProduct { whose, .. }
            | Verdict::NotPoured { whose } => Some(whose),
            Verdict::Agrees
            | Verdict::NotObserved
            | Verdict::RiseUnknown(_)
            | Verdict::EarlierLabel(_)
            | Verdict::UnrecordedAddition { .. }
            | Verdict::UnrecordedWater { .. }
            | Verdict::MeterOut { .. }
            | Verdict::MeterOrProducts { .. }
            | Verdict::Unexplained => None,
        }
    }
}

impl Whose {
    /// The additions.
    pub fn these(&self) -> &[Id<Addition>] {
        match self {
            Whose::OneOf(these) | Whose::All(these) => these,
        }
    }

    /// Whether it is that of an addition; none where it may be.
    pub fn is_of(&self, addition: Id<Addition>) -> Option<bool> {
        match self {
            Whose::OneOf(these) if these.len() > 1 && these.contains(&addition) => None,
            Whose::OneOf(these) | Whose::All(these) => Some(these.contains(&addition)),
        }
    }
}

impl Rise {
    /// Observed less expected, mS/cm.
    pub fn difference(&self) -> f64 {
        self.observed - self.expected
    }
}

/// Since when what a product adds is what it is: the label in force has been since then.
pub type InForceSince = BTreeMap<ProductId, DateTime<Utc>>;

/// Holds each addition to a tank against the readings around it, and the readings with nothing between against each other;
/// the earliest first. `rises` hold for what was poured since `labels`; `movers` move the pH; `water_ec_ms_cm` is of the water it is
/// filled with, taken for pure where it is not known.
pub fn additions(
    record: &TankRecord,
    (rises, labels): (&Rises, &InForceSince),
    movers: &Movers,
    water_ec_ms_cm: Option<f64>,
) -> Vec<Checked> {
    let checked = |group: Group| {
        let ph = ph::Seen::of(record, &group, movers);
        group.checked(&Known { rises, labels, ph, water_ec_ms_cm: water_ec_ms_cm.unwrap_or(0.0) })
    };
    let mut checks: Vec<Checked> = groups(record, water_ec_ms_cm).into_iter().map(checked).collect();
    meter::tell_meters_out(&mut checks);
    checks
}

/// What may have been poured: a product's rise with its spread, how much of it, and whether it takes room.
#[derive(Debug, Clone, Copy)]
struct Supposed {
    rise: f64,
    rise_spread: f64,
    amount: f64,
    liquid: bool,
}

/// What the reading after would show, mS/cm.
#[derive(Debug, Clone, Copy)]
struct Outcome {
    ec_ms_cm: f64,
    /// Standard deviation of the reading from it, whatever plants did.
    spread: f64,
    /// What the EC rises by at most as plants drink and leave the salt.
    drunk: f64,
    /// Brought by products, and by products and water.
    by_products: f64,
    brought: f64,
}

/// What is known beside the EC of a group.
struct Known<'a> {
    rises: &'a Rises,
    labels: &'a InForceSince,
    ph: ph::Seen<'a>,
    water_ec_ms_cm: f64,
}

impl Group {
    fn checked(&self, known: &Known<'_>) -> Checked {
        let (rise, by_ec) = self.judged(known);
        let verdict = known.ph.other_bottle(self).unwrap_or(by_ec);
        Checked {
            at: self.at(),
            poured: self
                .doses
                .iter()
                .map(|dose| Dosed { id: dose.id, product: dose.product, amount: dose.amount })
                .collect(),
            water: self.water.iter().map(|(id, _)| *id).collect(),
            readings: self.seen.as_ref().map(group::Seen::readings).unwrap_or_default(),
            meter: self.seen.as_ref().and_then(|seen| seen.after.meter),
            rise,
            ph_moved: known.ph.shown(),
            verdict,
        }
    }

    fn judged(&self, known: &Known<'_>) -> (Option<Rise>, Verdict) {
        let Some(seen) = &self.seen else { return (None, Verdict::NotObserved) };
        let mut supposed = Vec::new();
        for dose in &self.doses {
            if known.labels.get(&dose.product).is_some_and(|since| self.begun() < *since) {
                return (None, Verdict::EarlierLabel(dose.product));
            }
            let Some(rise) = known.rises.get(&dose.product) else {
                return (None, Verdict::RiseUnknown(dose.product));
            };
            supposed.push(Supposed {
                rise: rise.value,
                rise_spread: spread_of(rise),
                amount: dose.amount,
                liquid: dose.liquid,
            });
        }
        let outcome = self.outcome(&supposed, self.water_l(), known.water_ec_ms_cm);
        let rise = outcome.map(|outcome| Rise {
            expected: outcome.ec_ms_cm - seen.before.ec_ms_cm(),
            observed: seen.after.ec_ms_cm - seen.before.ec_ms_cm(),
            spread: outcome.spread_with_plants(),
            by_products: outcome.by_products,
            brought: outcome.brought,
        });
        (rise, cause::verdict(self, &supposed, outcome, known))
    }

    /// L that left between two readings with nothing put in. Beside what is put in that is lost in how well a top-up is known.
    fn left_l(&self) -> f64 {
        let is_bare = self.doses.is_empty() && self.water.is_empty();
        self.seen.as_ref().filter(|_| is_bare).map_or(0.0, |seen| seen.left_l)
    }

    /// What the reading after would show had this been poured and so much water filled in; none when the tank cannot have
    /// held it.
    fn outcome(&self, supposed: &[Supposed], water_l: f64, water_ec_ms_cm: f64) -> Option<Outcome> {
        let seen = self.seen.as_ref()?;
        let liquid = supposed.iter().filter(|one| one.liquid).map(|one| one.amount).sum::<f64>() / 1000.0;
        let came_l = water_l + liquid;
        let (before_l, after_l) = if seen.litres_are_after {
            (seen.litres.litres - came_l, seen.litres.litres)
        } else {
            (seen.litres.litres, seen.litres.litres + came_l)
        };
        if before_l <= 0.0 {
            return None;
        }
        let before = seen.before.ec_ms_cm();
        let salt: f64 = supposed.iter().map(|one| one.rise * one.amount).sum();
        let (by_products, of_water) = (salt / after_l, water_ec_ms_cm * water_l / after_l);
        let ec_ms_cm = before * before_l / after_l + by_products + of_water;
        let of_rises: f64 = supposed.iter().map(|one| (one.rise_spread * one.amount).powi(2)).sum();
        let spread = SHOWN_TO_MS_CM
            .hypot(READ_TO_EC * ec_ms_cm)
            .hypot(seen.before.spread_ms_cm() * before_l / after_l)
            .hypot((before - ec_ms_cm) / after_l * seen.litres.spread_l)
            .hypot(of_rises.sqrt() / after_l)
            .hypot(DRIFT_A_DAY * before * seen.days());
        let drunk = before * self.left_l() / after_l;
        Some(Outcome { ec_ms_cm, spread, drunk, by_products, brought: by_products + of_water })
    }
}

/// Plants take up to so many times the salt that stands in what they drink (common practice, no source).
const MOST_TAKEN_UP: f64 = 2.5;

impl Outcome {
    /// How far a reading is from it beyond what plants may have done, in standard deviations: drinking leaves all of the salt at most,
    /// and takes along some more than stands in the water.
    fn far(&self, read_ms_cm: f64) -> f64 {
        let off = read_ms_cm - self.ec_ms_cm;
        (off - off.clamp(-(MOST_TAKEN_UP - 1.0) * self.drunk, self.drunk)) / self.spread
    }

    /// Standard deviation of the reading from it, plants included.
    fn spread_with_plants(&self) -> f64 {
        self.spread.hypot(self.drunk)
    }
}

#[cfg(test)]
mod tests;
