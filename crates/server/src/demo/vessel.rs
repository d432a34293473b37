//! The solution in a tank: how it changes from day to day, and what is entered about it.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_actions::additions::AdditionEntry;
use fillmark_actions::readings::ReadingEntry;
use fillmark_actions::tank_changes::{ChangeEntry, PouredIn};
use fillmark_domain::entries::{AdditionReason, Meter, MeterKind, SamplePoint, Spot};
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Id, Metric, Quantity, Unit};
use rand::Rng;
use rand::rngs::StdRng;
use uuid::Uuid;

use super::cast::{CastCrop, PRODUCTS};

/// The solution in a tank.
#[derive(Clone, Copy)]
pub(super) struct Vessel {
    pub(super) tank: TankId,
    pub(super) mark_l: f64,
    litres: f64,
    ec: f64,
    ph: f64,
    changed_on: Option<NaiveDate>,
}

/// Who stands at a tank when, and what they know.
#[derive(Clone, Copy)]
pub(super) struct Visit<'a> {
    pub(super) at: DateTime<Utc>,
    pub(super) by: PersonId,
    pub(super) meter: Id<Meter>,
    pub(super) products: &'a [ProductId],
    pub(super) crop: &'static CastCrop,
    pub(super) water_ec: f64,
    /// EC aim of the day, mS/cm.
    pub(super) aim: f64,
}

/// What is entered together at the end of the week, and what it used of each product, mL.
pub(super) struct Sheet {
    pub(super) readings: Vec<ReadingEntry>,
    pub(super) additions: Vec<AdditionEntry>,
    pub(super) changes: Vec<(usize, ChangeEntry)>,
    pub(super) used_ml: Vec<f64>,
}

impl Sheet {
    pub(super) fn new() -> Sheet {
        Sheet {
            readings: Vec::new(),
            additions: Vec::new(),
            changes: Vec::new(),
            used_ml: vec![0.0; PRODUCTS.len()],
        }
    }
}

impl Vessel {
    pub(super) fn empty(tank: TankId, mark_l: f64) -> Vessel {
        Vessel { tank, mark_l, litres: 0.0, ec: 0.0, ph: 6.0, changed_on: None }
    }

    /// Whether it is time for a change: at the start of a cycle, and at the interval, a day late at times.
    pub(super) fn is_due(
        &self,
        crop: &CastCrop,
        starts_on: NaiveDate,
        day: NaiveDate,
        chance: &mut StdRng,
    ) -> bool {
        let interval = i64::from(crop.change_every_days) + i64::from(chance.random_bool(0.2));
        self.changed_on.is_none_or(|last| last < starts_on || (day - last).num_days() >= interval)
    }

    /// Plants take water, and a little less than their share of nutrient; the pH creeps up.
    pub(super) fn drink(&mut self, litres: f64, aim: f64, chance: &mut StdRng) {
        let taken = litres.min(self.litres * 0.3);
        self.ec =
            ((self.ec * self.litres - taken * aim * 0.85) / (self.litres - taken).max(1.0)).clamp(0.2, 6.0);
        self.litres -= taken;
        self.ph = (self.ph + chance.random_range(0.0..0.14)).min(7.6);
    }

    /// Volume, EC and pH as the meters show them.
    pub(super) fn read(&self, visit: Visit<'_>, sheet: &mut Sheet) {
        let shown = [
            (Metric::Volume, self.litres.round(), Unit::Litre),
            (Metric::Ec, self.ec, Unit::MilliSiemensPerCm),
            (Metric::Ph, self.ph, Unit::Ph),
        ];
        let spot = Spot::Tank(self.tank);
        let read = |(metric, value, unit)| {
            reading(spot, SamplePoint::Tank, metric, Quantity::new(round(value, 2), unit), visit)
        };
        sheet.readings.extend(shown.into_iter().map(read));
    }

    /// Water to the mark, nutrient to the aim, and acid when the pH has crept too far.
    pub(super) fn top_up(&mut self, visit: Visit<'_>, sheet: &mut Sheet) {
        let water = self.mark_l - self.litres;
        self.ec = (self.ec * self.litres + visit.water_ec * water) / self.mark_l;
        self.litres = self.mark_l;
        let visit = Visit { at: visit.at + TimeDelta::minutes(2), ..visit };
        // Within a few per cent of the aim nobody doses.
        if visit.aim - self.ec > 0.06 * visit.aim {
            for (product, ml) in doses(visit.crop, (visit.aim - self.ec) * self.mark_l) {
                self.pour(product, ml, AdditionReason::TopUp, visit, sheet);
            }
            self.ec = visit.aim;
        }
        if self.ph > 6.4 {
            self.pour(
                PRODUCTS.len() - 1,
                (self.ph - 6.0) * self.mark_l * 0.05,
                AdditionReason::Ph,
                visit,
                sheet,
            );
            self.ph = 6.0;
        }
    }

    fn pour(&self, product: usize, ml: f64, reason: AdditionReason, visit: Visit<'_>, sheet: &mut Sheet) {
        let ml = round(ml, 0).max(1.0);
        sheet.used_ml[product] += ml;
        sheet.additions.push(AdditionEntry {
            client_id: Uuid::new_v4(),
            tank: self.tank,
            product: Some(visit.products[product]),
            amount: Quantity::new(ml, Unit::MilliLitre),
            lot: None,
            reason,
            change: None,
            advice: None,
            recorded_at: visit.at,
            done_by: Some(visit.by),
            poured_all_the_same: true,
            confirmed: true,
        });
    }

    /// Drained, refilled, dosed to the aim, a few per cent off as people are.
    pub(super) fn change(
        &mut self,
        day: NaiveDate,
        worker: usize,
        visit: Visit<'_>,
        sheet: &mut Sheet,
        chance: &mut StdRng,
    ) {
        let mut amounts = doses(visit.crop, (visit.aim - visit.water_ec) * self.mark_l);
        amounts.push((PRODUCTS.len() - 1, self.mark_l * 0.05));
        let mut products = Vec::new();
        for (product, ml) in amounts {
            let ml = round(ml * chance.random_range(0.96..1.05), 0).max(1.0);
            sheet.used_ml[product] += ml;
            let amount = Quantity::new(ml, Unit::MilliLitre);
            products.push(PouredIn {
                product: visit.products[product],
                amount,
                lot: None,
                poured_all_the_same: true,
            });
        }
        let volume = Quantity::new(self.mark_l, Unit::Litre);
        sheet.changes.push((
            worker,
            ChangeEntry {
                client_id: Uuid::new_v4(),
                tank: self.tank,
                fraction: 1.0,
                drained: volume,
                drained_to: Some("reed bed".into()),
                water_in: volume,
                products,
                readings: Vec::new(),
                advice: None,
                recorded_at: visit.at,
                done_by: Some(visit.by),
                confirmed: true,
            },
        ));
        let ec = visit.aim * chance.random_range(0.97..1.04);
        *self = Vessel { litres: self.mark_l, ec, ph: 6.0, changed_on: Some(day), ..*self };
    }
}

/// mL of each product that raise so many litres × mS/cm, by the crop's shares.
fn doses(crop: &CastCrop, ec_litres: f64) -> Vec<(usize, f64)> {
    let dose = |(number, share): (usize, &f64)| {
        let rise = PRODUCTS[number].ec_rise?;
        (*share > 0.0).then(|| (number, ec_litres * share / rise))
    };
    crop.shares.iter().enumerate().filter_map(dose).collect()
}

/// What the meter of each site is.
pub(super) const PEN: MeterKind = MeterKind::PhAndEc;

pub(super) fn reading(
    spot: Spot,
    sample_point: SamplePoint,
    metric: Metric,
    entered: Quantity,
    visit: Visit<'_>,
) -> ReadingEntry {
    ReadingEntry {
        client_id: Uuid::new_v4(),
        spot,
        sample_point,
        metric,
        entered,
        compensation: None,
        meter: PEN.measures(metric).then_some(visit.meter),
        change: None,
        recorded_at: visit.at,
        sent_at: None,
        done_by: Some(visit.by),
        confirmed: true,
    }
}

pub(super) fn round(value: f64, digits: i32) -> f64 {
    let factor = 10f64.powi(digits);
    (value * factor).round() / factor
}
