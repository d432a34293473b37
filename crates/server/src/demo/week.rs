//! One week at a site: what was read, poured, changed, ordered, picked and settled.

use std::collections::HashMap;

use chrono::{DateTime, Days, NaiveDate, TimeDelta, Utc};
use fillmark_actions::additions::{self, AdditionEntry};
use fillmark_actions::readings::{self, Outcome, ReadingEntry};
use fillmark_actions::records::create;
use fillmark_actions::stock::{self, Done, Packs, Placing, Receipt};
use fillmark_actions::tank_changes::{self, ChangeEntry, PouredIn};
use fillmark_actions::work::settle::{self, Completion};
use fillmark_actions::{App, Caller, Refusal, harvests, work};
use fillmark_domain::entries::{AdditionReason, Calibration, Reading, SamplePoint, Spot};
use fillmark_domain::growing::Harvest;
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use fillmark_domain::stock::Order;
use fillmark_domain::work::{Evidence, Place as At, TaskKind};
use fillmark_domain::{Id, Metric, Quantity, Unit};
use rand::Rng;
use rand::rngs::StdRng;
use uuid::Uuid;

use super::build::{Business, Place, acting, at};
use super::cast::{CROPS, CastRoom, PEOPLE, PRODUCTS};
use super::season::GrownRoom;

/// A share of checks that nobody got round to, and of days on which nobody poured though they should have.
const FORGOTTEN: f64 = 0.015;

/// Who works at a site, and what they have in their tanks.
pub(super) struct Hand {
    workers: Vec<(PersonId, Caller)>,
    tanks: HashMap<TankId, Vessel>,
    /// What is on the shelf by the record, mL a product.
    shelf_ml: Vec<f64>,
    used_ml: Vec<f64>,
    coming: Vec<(NaiveDate, usize, u32, Id<Order>)>,
    lot: u32,
}

/// The solution in a tank.
#[derive(Clone, Copy)]
struct Vessel {
    litres: f64,
    ec: f64,
    ph: f64,
    changed_on: Option<NaiveDate>,
}

/// What is entered together at the end of the week.
#[derive(Default)]
struct Sheet {
    readings: Vec<ReadingEntry>,
    additions: Vec<AdditionEntry>,
    changes: Vec<(usize, ChangeEntry)>,
}

impl Hand {
    pub(super) fn new(business: &Business, place: &Place) -> Hand {
        let here = PEOPLE.iter().zip(&business.people).filter(|(cast, _)| {
            cast.site.is_some_and(|site| super::cast::SITES[site].name == place.cast.name)
        });
        Hand {
            workers: here.map(|(cast, person)| (*person, acting(*person, cast.role))).collect(),
            tanks: HashMap::new(),
            shelf_ml: vec![0.0; PRODUCTS.len()],
            used_ml: vec![0.0; PRODUCTS.len()],
            coming: Vec::new(),
            lot: 0,
        }
    }

    pub(super) async fn write_week(
        &mut self,
        app: &App,
        business: &Business,
        place: &Place,
        from: NaiveDate,
        until: NaiveDate,
        chance: &mut StdRng,
    ) -> Result<(), Refusal> {
        self.trade(app, business, place, from, chance).await?;
        let mut sheet = Sheet::default();
        for day in from.iter_days().take_while(|day| *day < until) {
            for room in &place.grown.rooms {
                self.visit(business, place, room, day, chance, &mut sheet);
            }
        }
        let (_, first) = self.workers[0].clone();
        for (worker, change) in sheet.changes {
            tank_changes::enter(app, &self.workers[worker].1, place.id, &change).await?;
        }
        let outcomes = readings::enter(app, &first, place.id, &sheet.readings).await?;
        additions::enter(app, &first, place.id, &sheet.additions).await?;
        let taken = taken(&sheet.readings, &outcomes);
        self.settle(app, place, from, &taken, chance).await?;
        self.pick(app, place, from, chance).await
    }

    /// A room is walked through: each tank is read, topped up, changed when it is due.
    fn visit(
        &mut self,
        business: &Business,
        place: &Place,
        room: &GrownRoom,
        day: NaiveDate,
        chance: &mut StdRng,
        sheet: &mut Sheet,
    ) {
        let worker = (day.to_string().bytes().map(usize::from).sum::<usize>()
            + room.cast.hygiene_rank as usize)
            % self.workers.len();
        let by = self.workers[worker].0;
        let morning = at(day, 6) + TimeDelta::minutes(chance.random_range(0..50));
        let entry = |spot, point, metric, value: f64, unit, at| {
            reading(place, spot, point, metric, value, unit, at, by)
        };
        let season = f64::sin(
            (day.format("%j").to_string().parse::<f64>().unwrap_or_default() - 80.0) / 365.0
                * std::f64::consts::TAU,
        );
        let air_c = 21.0 + 2.0 * season + chance.random_range(-2.5..2.5);
        let humidity = 60.0 - 6.0 * season + chance.random_range(-10.0..10.0);
        sheet.readings.push(entry(
            Spot::Room(room.id),
            SamplePoint::Air,
            Metric::AirTemperature,
            air_c,
            Unit::Celsius,
            morning,
        ));
        sheet.readings.push(entry(
            Spot::Room(room.id),
            SamplePoint::Air,
            Metric::RelativeHumidity,
            humidity,
            Unit::Percent,
            morning,
        ));
        let Some((starts_on, ends_on)) = cycle_on(room, day) else { return };
        let position = (day - starts_on).num_days() as f64 / ((ends_on - starts_on).num_days().max(1)) as f64;
        let aim = aim(room.cast, (day - starts_on).num_days());
        for (number, (tank, mark_l)) in room.tanks.iter().enumerate() {
            let at = morning + TimeDelta::minutes(5 * (number as i64 + 1));
            let drank = drank(room, *mark_l, position, season, chance);
            let vessel =
                self.tanks.entry(*tank).or_insert(Vessel { litres: 0.0, ec: 0.0, ph: 6.0, changed_on: None });
            let interval = i64::from(CROPS[room.cast.crop].change_every_days);
            let due = vessel.changed_on.is_none_or(|last| {
                last < starts_on || (day - last).num_days() >= interval + i64::from(chance.random_bool(0.25))
            });
            if due {
                *vessel = Vessel { litres: *mark_l, ec: aim, ph: 6.0, changed_on: Some(day) };
                let change = change(business, place, room.cast, *tank, *mark_l, aim, at, by, chance);
                for (product, poured) in change.products.iter().enumerate() {
                    self.used_ml[product.min(PRODUCTS.len() - 1)] += poured.amount.value;
                }
                sheet.changes.push((worker, change));
                continue;
            }
            vessel.drink(drank, aim, chance);
            let shown = [
                (Metric::Volume, vessel.litres.round(), Unit::Litre),
                (Metric::Ec, round(vessel.ec, 2), Unit::MilliSiemensPerCm),
                (Metric::Ph, round(vessel.ph, 2), Unit::Ph),
            ];
            for (metric, value, unit) in shown {
                sheet.readings.push(entry(Spot::Tank(*tank), SamplePoint::Tank, metric, value, unit, at));
            }
            if !chance.random_bool(FORGOTTEN) {
                vessel.top_up(
                    business,
                    place,
                    room.cast,
                    *tank,
                    *mark_l,
                    aim,
                    at + TimeDelta::minutes(2),
                    by,
                    &mut sheet.additions,
                );
            }
        }
    }

    /// Looks at the shelf once a week: what would not last is ordered, what was ordered comes in.
    async fn trade(
        &mut self,
        app: &App,
        business: &Business,
        place: &Place,
        day: NaiveDate,
        chance: &mut StdRng,
    ) -> Result<(), Refusal> {
        let manager = self.workers[0].1.clone();
        if day == business.first_day {
            for (product, cast) in PRODUCTS.iter().enumerate() {
                self.receive(app, business, place, &manager, product, 3.0 * cast.pack_ml as f64, day, None)
                    .await?;
            }
        }
        let (arrived, coming): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.coming).into_iter().partition(|(on, ..)| *on <= day);
        self.coming = coming;
        for (on, product, packs, order) in arrived {
            let ml = f64::from(packs) * PRODUCTS[product].pack_ml as f64;
            self.receive(app, business, place, &manager, product, ml, on, Some(order)).await?;
        }
        for (product, cast) in PRODUCTS.iter().enumerate() {
            let weekly = std::mem::take(&mut self.used_ml[product]);
            self.shelf_ml[product] -= weekly;
            let on_the_way: f64 = self
                .coming
                .iter()
                .filter(|(_, ordered, ..)| *ordered == product)
                .map(|(_, _, packs, _)| f64::from(*packs) * cast.pack_ml as f64)
                .sum();
            let short = weekly.max(cast.pack_ml as f64 * 0.05) * 5.0 - self.shelf_ml[product] - on_the_way;
            if short > 0.0 {
                let packs = (short / cast.pack_ml as f64).ceil() as u32 + 1;
                let draft = stock::draft_order(
                    app,
                    &manager,
                    place.id,
                    &[Packs { offer: place.offers[product], packs }],
                )
                .await?;
                let placing = Placing { at: Some(at(day, 9)), expected_on: None };
                let order = stock::place_order(app, &manager, place.id, draft.id, placing).await?.id;
                self.coming.push((day + Days::new(chance.random_range(5..15)), product, packs, order));
            }
        }
        Ok(())
    }

    #[expect(clippy::too_many_arguments, reason = "what came where, of what, when, on which order")]
    async fn receive(
        &mut self,
        app: &App,
        business: &Business,
        place: &Place,
        manager: &Caller,
        product: usize,
        ml: f64,
        day: NaiveDate,
        order: Option<Id<Order>>,
    ) -> Result<(), Refusal> {
        self.lot += 1;
        self.shelf_ml[product] += ml;
        let initials: String = place.cast.name.chars().filter(char::is_ascii_uppercase).collect();
        let receipt = Receipt {
            done: Done { client_id: Uuid::new_v4(), at: Some(at(day, 10)) },
            product: business.products[product],
            lot_number: format!("{initials}{:04}", self.lot),
            expiry: Some(day + Days::new(420)),
            amount: Quantity::new(ml, Unit::MilliLitre),
            order,
        };
        stock::receive_product(app, manager, place.id, receipt).await.map(drop)
    }

    /// Settles the week's checks with what was read; a few were forgotten or came late.
    async fn settle(
        &self,
        app: &App,
        place: &Place,
        from: NaiveDate,
        taken: &Taken,
        chance: &mut StdRng,
    ) -> Result<(), Refusal> {
        let first = &self.workers[0].1;
        for day in from.iter_days().take(7) {
            for kept in work::checks::of_day(app, first, place.id, day).await? {
                if kept.check.is_settled() || kept.check.due_at > app.now() || chance.random_bool(FORGOTTEN) {
                    continue;
                }
                let (person, caller) = &self.workers[chance.random_range(0..self.workers.len())];
                let late = chance.random_bool(0.03);
                let done_at = kept.check.due_at
                    + TimeDelta::minutes(if late { 300 } else { chance.random_range(10..120) });
                let evidence = match kept.check.task.kind() {
                    TaskKind::Measure => taken.evidence(place, kept.check.place, day),
                    TaskKind::Calibrate => {
                        vec![Evidence::Calibration(calibrate(app, caller, place, *person, done_at).await?)]
                    }
                    TaskKind::Inspect | TaskKind::ChangeTank => {
                        vec![Evidence::Note("leaves clean, roots white".into())]
                    }
                };
                if evidence.is_empty() || done_at > kept.check.limit || done_at > app.now() {
                    continue;
                }
                let completion = Completion {
                    client_id: Uuid::new_v4(),
                    done_at,
                    done_by: Some(*person),
                    with: None,
                    evidence,
                };
                settle::settle(app, caller, place.id, kept.id, completion).await?;
            }
        }
        Ok(())
    }

    /// Cycles that bear are picked once a week.
    async fn pick(
        &self,
        app: &App,
        place: &Place,
        from: NaiveDate,
        chance: &mut StdRng,
    ) -> Result<(), Refusal> {
        for room in &place.grown.rooms {
            let cast = &CROPS[room.cast.crop];
            let day = from + Days::new(3);
            for (cycle, starts_on, ends_on) in &room.cycles {
                let length = (*ends_on - *starts_on).num_days() as f64;
                let position = (day - *starts_on).num_days() as f64 / length;
                if cast.yield_kg == 0.0 || !(cast.picked_from..1.0).contains(&position) {
                    continue;
                }
                let pickings = (length * (1.0 - cast.picked_from) / 7.0).max(1.0);
                let kg =
                    f64::from(room.cast.plants) * cast.yield_kg / pickings * chance.random_range(0.8..1.15);
                let harvest = Harvest {
                    client_id: Uuid::new_v4(),
                    cycle: *cycle,
                    room: Some(room.id),
                    harvested_at: at(day, 9),
                    received_at: at(day, 9),
                    saleable_kg: round(kg, 1),
                    rejected_kg: round(kg * chance.random_range(0.02..0.07), 1),
                    pieces: None,
                    grade: Some("A".into()),
                    brix: None,
                    done_by: None,
                    entered_by: None,
                    reverses: None,
                    reversed: None,
                };
                harvests::enter(app, &self.workers[0].1, place.id, harvest).await?;
            }
        }
        Ok(())
    }
}

/// The readings that were kept, by place and day.
struct Taken(HashMap<(Spot, NaiveDate), Vec<Id<Reading>>>);

fn taken(entries: &[ReadingEntry], outcomes: &[Outcome<Reading>]) -> Taken {
    let mut kept: HashMap<_, Vec<_>> = HashMap::new();
    for (entry, outcome) in entries.iter().zip(outcomes) {
        if let Outcome::Created(id) = outcome {
            kept.entry((entry.spot, entry.recorded_at.date_naive())).or_default().push(*id);
        }
    }
    Taken(kept)
}

impl Taken {
    /// What shows that the tanks of a room were read on a day.
    fn evidence(&self, place: &Place, at: At, day: NaiveDate) -> Vec<Evidence> {
        let At::Room(room) = at else { return Vec::new() };
        let tanks = place.grown.rooms.iter().filter(|grown| grown.id == room).flat_map(|grown| &grown.tanks);
        let spots = tanks.map(|(tank, _)| Spot::Tank(*tank)).chain([Spot::Room(room)]);
        let read = spots.filter_map(|spot| self.0.get(&(spot, day))).flatten();
        read.map(|id| Evidence::Reading(*id)).collect()
    }
}

impl Vessel {
    /// Plants take water, and a little less than their share of nutrient; the pH creeps up.
    fn drink(&mut self, litres: f64, aim: f64, chance: &mut StdRng) {
        let taken = litres.min(self.litres * 0.3);
        let nutrient = taken * aim * 0.85;
        self.ec = ((self.ec * self.litres - nutrient) / (self.litres - taken).max(1.0)).clamp(0.2, 6.0);
        self.litres -= taken;
        self.ph = (self.ph + chance.random_range(0.0..0.16)).min(7.6);
    }

    /// Water to the mark, nutrient to the aim, and acid when the pH has crept too far.
    #[expect(clippy::too_many_arguments, reason = "what goes where, up to which aim, by whom")]
    fn top_up(
        &mut self,
        business: &Business,
        place: &Place,
        room: &CastRoom,
        tank: TankId,
        mark_l: f64,
        aim: f64,
        at: DateTime<Utc>,
        by: PersonId,
        additions: &mut Vec<AdditionEntry>,
    ) {
        let water = mark_l - self.litres;
        self.ec = (self.ec * self.litres + place.cast.water_ec * water) / mark_l;
        self.litres = mark_l;
        let missing = (aim - self.ec) * mark_l;
        let cast = &CROPS[room.crop];
        if missing > 0.04 * mark_l {
            for (number, (product, share)) in PRODUCTS.iter().zip(&cast.shares).enumerate() {
                let Some(rise) = product.ec_rise.filter(|_| *share > 0.0) else { continue };
                let ml = round(missing * share / rise, 0);
                additions.push(pour(business, tank, number, ml, AdditionReason::TopUp, at, by));
            }
            self.ec = aim;
        }
        if self.ph > 6.4 {
            let ml = round((self.ph - 6.0) * mark_l * 0.05, 0).max(1.0);
            additions.push(pour(business, tank, PRODUCTS.len() - 1, ml, AdditionReason::Ph, at, by));
            self.ph = 6.0;
        }
    }
}

fn pour(
    business: &Business,
    tank: TankId,
    product: usize,
    ml: f64,
    reason: AdditionReason,
    recorded_at: DateTime<Utc>,
    by: PersonId,
) -> AdditionEntry {
    AdditionEntry {
        client_id: Uuid::new_v4(),
        tank,
        product: Some(business.products[product]),
        amount: Quantity::new(ml.max(1.0), Unit::MilliLitre),
        lot: None,
        reason,
        change: None,
        recorded_at,
        done_by: Some(by),
        poured_all_the_same: true,
    }
}

#[expect(clippy::too_many_arguments, reason = "which tank, to which mark and aim, when and by whom")]
fn change(
    business: &Business,
    place: &Place,
    room: &CastRoom,
    tank: TankId,
    mark_l: f64,
    aim: f64,
    recorded_at: DateTime<Utc>,
    by: PersonId,
    chance: &mut StdRng,
) -> ChangeEntry {
    let shares = PRODUCTS.iter().zip(&CROPS[room.crop].shares).zip(&business.products);
    let poured_in = |product, ml: f64| PouredIn {
        product,
        amount: Quantity::new(round(ml, 0).max(1.0), Unit::MilliLitre),
        lot: None,
        poured_all_the_same: true,
    };
    let mut products: Vec<PouredIn> = shares
        .filter_map(|((product, share), kept)| {
            let ml = (aim - place.cast.water_ec) * mark_l * share / product.ec_rise?
                * chance.random_range(0.96..1.05);
            (*share > 0.0).then(|| poured_in(*kept, ml))
        })
        .collect();
    products.extend(business.products.last().map(|acid| poured_in(*acid, mark_l * 0.05)));
    let volume = Quantity::new(mark_l, Unit::Litre);
    ChangeEntry {
        client_id: Uuid::new_v4(),
        tank,
        fraction: 1.0,
        drained: volume,
        drained_to: Some("reed bed".into()),
        water_in: volume,
        products,
        readings: Vec::new(),
        recorded_at,
        done_by: Some(by),
    }
}

#[expect(clippy::too_many_arguments, reason = "what was read where, when and by whom")]
fn reading(
    place: &Place,
    spot: Spot,
    sample_point: SamplePoint,
    metric: Metric,
    value: f64,
    unit: Unit,
    recorded_at: DateTime<Utc>,
    by: PersonId,
) -> ReadingEntry {
    ReadingEntry {
        client_id: Uuid::new_v4(),
        spot,
        sample_point,
        metric,
        entered: Quantity::new(round(value, 2), unit),
        compensation: None,
        meter: matches!(metric, Metric::Ec | Metric::Ph).then_some(place.grown.meter),
        recorded_at,
        sent_at: None,
        done_by: Some(by),
        confirmed: true,
    }
}

async fn calibrate(
    app: &App,
    caller: &Caller,
    place: &Place,
    person: PersonId,
    at: DateTime<Utc>,
) -> Result<Id<Calibration>, Refusal> {
    let calibration = Calibration {
        meter: place.grown.meter,
        calibrated_at: at,
        done_by: Some(person),
        standards: "pH 4.01 and 7.00, 1413 µS/cm".into(),
        slope_percent: Some(97.0),
        offset: Some(3.0),
        passed: true,
        next_due_on: Some(at.date_naive() + Days::new(15)),
    };
    Ok(create(app, caller, place.id, calibration).await?.id)
}

/// The cycle that stands in a room on a day.
fn cycle_on(room: &GrownRoom, day: NaiveDate) -> Option<(NaiveDate, NaiveDate)> {
    let standing = room.cycles.iter().find(|(_, starts_on, ends_on)| (*starts_on..=*ends_on).contains(&day));
    standing.map(|(_, starts_on, ends_on)| (*starts_on, *ends_on))
}

/// The EC aim so many days into a cycle.
fn aim(room: &CastRoom, mut days: i64) -> f64 {
    let cast = &CROPS[room.crop];
    for ((_, length), ec) in cast.stages.iter().zip(cast.ec) {
        days -= i64::from(*length);
        if days < 0 {
            return *ec;
        }
    }
    cast.ec.last().copied().unwrap_or(1.0)
}

/// Water drunk from a tank in a day: by the plants on it, more as they grow and as the year warms.
fn drank(room: &GrownRoom, mark_l: f64, position: f64, season: f64, chance: &mut StdRng) -> f64 {
    let litres: f64 = room.tanks.iter().map(|(_, litres)| litres).sum();
    let plants = f64::from(room.cast.plants) * mark_l / litres;
    let canopy = 1.0 / (1.0 + (-(position - 0.3) / 0.1).exp());
    plants * CROPS[room.cast.crop].drinks_l * canopy * (1.0 + 0.15 * season) * chance.random_range(0.85..1.15)
}

fn round(value: f64, digits: i32) -> f64 {
    let factor = 10f64.powi(digits);
    (value * factor).round() / factor
}
