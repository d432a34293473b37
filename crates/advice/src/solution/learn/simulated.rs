//! Tanks whose products are known, and what is on record of them.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Metric;
use fillmark_domain::entries::AdditionReason;
use fillmark_domain::stock::ProductId;
use proptest::prelude::RngExt;
use proptest::test_runner::{RngAlgorithm, TestRng};
use statrs::distribution::{ContinuousCDF, Normal};
use uuid::Uuid;

use crate::solution::record::TankRecord;
use crate::solution::record::testing::{day, poured, read, watered};

/// Chance that comes out the same each time.
pub(crate) struct Chance(TestRng);

impl Chance {
    pub(crate) fn new(seed: u64) -> Chance {
        let mut bytes = [0; 32];
        bytes[..8].copy_from_slice(&seed.to_le_bytes());
        Chance(TestRng::from_seed(RngAlgorithm::ChaCha, &bytes))
    }

    pub(crate) fn between(&mut self, low: f64, high: f64) -> f64 {
        self.0.random_range(low..high)
    }

    pub(crate) fn falls(&mut self, chance: f64) -> bool {
        self.0.random_bool(chance)
    }

    /// With this standard deviation about nought.
    pub(crate) fn normal(&mut self, sd: f64) -> f64 {
        sd * Normal::standard().inverse_cdf(self.between(1e-9, 1.0 - 1e-9))
    }

    /// A figure as it is entered: five of a hundred off by anything up to a half.
    fn entered(&mut self, value: f64) -> f64 {
        if self.falls(0.05) { value * self.between(0.5, 1.5) } else { value }
    }

    /// An amount as it is entered: of a hundred one a thousandfold, one a thousandth and one tenfold.
    pub(crate) fn slipped(&mut self, amount: f64) -> f64 {
        match self.between(0.0, 100.0) {
            ..1.0 => amount * 1000.0,
            1.0..2.0 => amount / 1000.0,
            2.0..3.0 => amount * 10.0,
            _ => amount,
        }
    }
}

pub(crate) fn product(number: usize) -> ProductId {
    ProductId::new(Uuid::from_u128(number as u128 + 1))
}

/// What is entered one after the other.
struct Sheet {
    record: TankRecord,
    id: u128,
}

impl Sheet {
    fn new(first_id: u128) -> Sheet {
        Sheet { record: TankRecord { fill_mark_l: MARK_L, events: Vec::new() }, id: first_id }
    }

    fn next(&mut self) -> u128 {
        self.id += 1;
        self.id
    }

    /// One of ten readings was forgotten.
    fn read(&mut self, at: DateTime<Utc>, metric: Metric, value: f64, chance: &mut Chance) {
        if !chance.falls(0.1) {
            let id = self.next();
            self.record.events.push(read(id, at, metric, chance.entered(value)));
        }
    }

    fn poured(&mut self, at: DateTime<Utc>, number: usize, amount: f64, reason: AdditionReason) {
        let id = self.next();
        self.record.events.push(poured(id, at, number as u128 + 1, amount, reason));
    }
}

pub(crate) const MARK_L: f64 = 200.0;
pub(crate) const WATER_EC: f64 = 0.3;

/// A tank that is topped up, read, dosed with all products and read again, each day. Products are poured in proportions that
/// vary by a fifth, as a programme's steps and a hand do; the pen shows EC to a part of it.
pub(crate) fn fed_tank(
    rises: &[f64],
    days: i64,
    read_to: f64,
    first_id: u128,
    chance: &mut Chance,
) -> TankRecord {
    let mut sheet = Sheet::new(first_id);
    for on in 0..days {
        let (at, litres) = (day(on), MARK_L * (1.0 + chance.normal(0.02)));
        let id = sheet.next();
        sheet.record.events.push(watered(id, at, chance.between(5.0, 20.0), AdditionReason::TopUp));
        let (ec, gap) = (chance.between(0.8, 1.5), chance.between(0.15, 0.6));
        let shown = ec * (1.0 + chance.normal(read_to));
        sheet.read(at + TimeDelta::minutes(60), Metric::Ec, shown, chance);
        let (mut salt, mut volume) = (ec * litres, litres);
        for (number, rise) in rises.iter().enumerate() {
            // The grower doses by a label that is right on average.
            let meant = gap * MARK_L / rises.len() as f64 / LABEL_RISE * (1.0 + chance.normal(0.2)).max(0.2);
            let went_in = meant * (1.0 + chance.normal(0.03));
            (salt, volume) = (salt + rise * went_in, volume + went_in / 1000.0);
            let entered = chance.slipped(meant);
            sheet.poured(at + TimeDelta::minutes(65), number, entered, AdditionReason::Strength);
        }
        let shown = salt / volume * (1.0 + chance.normal(read_to));
        sheet.read(at + TimeDelta::minutes(105), Metric::Ec, shown, chance);
    }
    sheet.record
}

/// EC that the label of each product says, mS/cm at 1 mL/L.
pub(crate) const LABEL_RISE: f64 = 0.4;

/// Water of 3 meq/L of carbonate in all, the rest of which is carbon dioxide at a pH, without anything else; an acid of
/// 1 meq/mL. First constant of carbonic acid at 25 °C, 6.35 (from memory).
pub(crate) fn titration(from: f64, to: f64) -> Option<f64> {
    let bicarbonate = |ph: f64| 3.0 / (1.0 + 10f64.powf(6.35 - ph));
    let ml_l = bicarbonate(from) - bicarbonate(to);
    (ml_l > 0.0).then_some(ml_l)
}

/// Where an acid of 1 meq/mL takes that water.
pub(crate) fn acidified(from: f64, ml_l: f64) -> f64 {
    let left = (3.0 / (1.0 + 10f64.powf(6.35 - from)) - ml_l).max(0.003);
    6.35 - (3.0 / left - 1.0).log10()
}

/// pH of a fill before it is set.
pub(crate) fn fresh_ph(chance: &mut Chance) -> f64 {
    chance.between(6.8, 7.6)
}

/// What a fill takes more than another, as a factor.
pub(crate) fn of_this_fill(chance: &mut Chance) -> f64 {
    chance.normal(0.1).exp()
}

/// A tank of that water whose fills are each set with one dose of acid, which takes so many times what chemistry predicts.
pub(crate) fn acid_tank(factor: f64, fills: i64, chance: &mut Chance) -> TankRecord {
    let mut sheet = Sheet::new(0);
    for on in 0..fills {
        let (at, litres) = (day(on), MARK_L * (1.0 + chance.normal(0.02)));
        let id = sheet.next();
        sheet.record.events.push(watered(id, at, chance.between(5.0, 20.0), AdditionReason::TopUp));
        let ph = fresh_ph(chance);
        let shown = ph + chance.normal(0.05);
        sheet.read(at + TimeDelta::minutes(60), Metric::Ph, shown, chance);
        let part = chance.between(0.4, 1.0);
        let ml = MARK_L * titration(ph, 6.0).unwrap_or(0.0) * part;
        let entered = chance.slipped(ml);
        sheet.poured(at + TimeDelta::minutes(65), 0, entered, AdditionReason::Ph);
        let after = acidified(ph, ml / litres / factor / of_this_fill(chance));
        let shown = after + chance.normal(0.05);
        sheet.read(at + TimeDelta::minutes(105), Metric::Ph, shown, chance);
    }
    sheet.record
}
