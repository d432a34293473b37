//! One week at a site: what was read, poured, changed, ordered, picked and settled.

use std::collections::HashMap;
use std::f64::consts::TAU;

use chrono::{DateTime, Datelike, Days, NaiveDate, TimeDelta, Utc};
use fillmark_actions::readings::{self, Outcome, ReadingEntry};
use fillmark_actions::records::create;
use fillmark_actions::work::settle::{self, Completion};
use fillmark_actions::{App, Caller, Refusal, additions, alerts, harvests, tank_changes, work};
use fillmark_domain::entries::{Calibration, Reading, SamplePoint, Spot};
use fillmark_domain::growing::{CycleId, Harvest};
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use fillmark_domain::work::{Evidence, Place as At, TaskKind};
use fillmark_domain::{Id, Metric, Quantity, Unit};
use fillmark_store::{Filter, PageQuery};
use rand::Rng;
use rand::rngs::StdRng;
use uuid::Uuid;

use super::business::{Business, GrownRoom, Place, acting, at};
use super::cast::{CROPS, CastRoom, PEOPLE, SITES};
use super::trade::{Keeper, Shelf};
use super::vessel::{Sheet, Vessel, Visit, reading, round};

/// A share of checks that nobody got round to, and of days on which nobody poured though they should have.
const FORGOTTEN: f64 = 0.015;

/// Who works at a site, and what they have in their tanks and on their shelf.
pub(super) struct Hand {
    workers: Vec<(PersonId, Caller)>,
    vessels: HashMap<TankId, Vessel>,
    shelf: Shelf,
}

/// The days that are written together.
#[derive(Clone, Copy)]
pub(super) struct Written {
    pub(super) from: NaiveDate,
    pub(super) until: NaiveDate,
}

impl Hand {
    pub(super) fn new(business: &Business, place: &Place) -> Hand {
        let people = PEOPLE.iter().zip(&business.people);
        let here =
            people.filter(|(cast, _)| cast.site.is_some_and(|site| SITES[site].name == place.cast.name));
        Hand {
            workers: here.map(|(cast, person)| (*person, acting(*person, cast.role))).collect(),
            vessels: HashMap::new(),
            shelf: Shelf::new(),
        }
    }

    pub(super) async fn write_week(
        &mut self,
        app: &App,
        business: &Business,
        place: &Place,
        days: Written,
        chance: &mut StdRng,
    ) -> Result<(), Refusal> {
        let manager = self.workers[0].1.clone();
        let keeper = Keeper { app, business, place, manager: &manager };
        if days.from == business.first_day {
            self.shelf.stock(keeper).await?;
        }
        let mut sheet = Sheet::new();
        for day in days.from.iter_days().take_while(|day| *day < days.until) {
            for room in &place.grown.rooms {
                self.walk_through(business, place, room, day, chance, &mut sheet);
            }
        }
        for (worker, change) in &sheet.changes {
            tank_changes::enter(app, &self.workers[*worker].1, place.id, change).await?;
        }
        let outcomes = readings::enter(app, &manager, place.id, &sheet.readings).await?;
        additions::enter(app, &manager, place.id, &sheet.additions).await?;
        self.shelf.week(keeper, days.from, &sheet.used_ml, chance).await?;
        let taken = Taken::of(&sheet.readings, &outcomes);
        self.settle(app, place, days, &taken, chance).await?;
        close_old_alerts(app, place, &manager).await?;
        self.pick(app, place, days.from, chance).await
    }

    /// The air of a room is read, and each of its tanks: topped up, or changed when that is due.
    fn walk_through(
        &mut self,
        business: &Business,
        place: &Place,
        room: &GrownRoom,
        day: NaiveDate,
        chance: &mut StdRng,
        sheet: &mut Sheet,
    ) {
        let worker = (day.ordinal() as usize + usize::from(room.cast.hygiene_rank)) % self.workers.len();
        let visit = Visit {
            at: at(day, 6) + TimeDelta::minutes(chance.random_range(0..50)),
            by: self.workers[worker].0,
            meter: place.grown.meter,
            products: &business.products,
            crop: &CROPS[room.cast.crop],
            water_ec: place.cast.water_ec,
            aim: 0.0,
        };
        let season = f64::sin((f64::from(day.ordinal()) - 80.0) / 365.0 * TAU);
        air(room, season, visit, chance, sheet);
        let Some((starts_on, ends_on)) = cycle_on(room, day) else { return };
        let age = (day - starts_on).num_days();
        let position = age as f64 / (ends_on - starts_on).num_days().max(1) as f64;
        for (number, (tank, mark_l)) in room.tanks.iter().enumerate() {
            let at = visit.at + TimeDelta::minutes(5 * (number as i64 + 1));
            let visit = Visit { at, aim: aim(room.cast, age), ..visit };
            let vessel = self.vessels.entry(*tank).or_insert_with(|| Vessel::empty(*tank, *mark_l));
            vessel.drink(drank(room, *mark_l, position, season, chance), visit.aim, chance);
            let due = vessel.is_due(visit.crop, starts_on, day, chance);
            if due {
                vessel.change(day, worker, visit, sheet, chance);
            }
            vessel.read(Visit { at: at + TimeDelta::minutes(1), ..visit }, sheet);
            if !due && !chance.random_bool(FORGOTTEN) {
                vessel.top_up(visit, sheet);
            }
        }
    }

    /// Settles the days' checks with what was read; a few were forgotten or came late.
    async fn settle(
        &self,
        app: &App,
        place: &Place,
        days: Written,
        taken: &Taken,
        chance: &mut StdRng,
    ) -> Result<(), Refusal> {
        let manager = &self.workers[0].1;
        for day in days.from.iter_days().take_while(|day| *day < days.until) {
            for kept in work::checks::of_day(app, manager, place.id, day).await? {
                if kept.check.is_settled() || chance.random_bool(FORGOTTEN) {
                    continue;
                }
                let anybody = chance.random_range(0..self.workers.len());
                // Of those at hand the manager has learnt all that is wanted.
                let worker = if kept.check.qualification.is_some() { 0 } else { anybody };
                let (person, caller) = &self.workers[worker];
                let minutes = if chance.random_bool(0.02) { 300 } else { chance.random_range(10..120) };
                let done_at = kept.check.due_at + TimeDelta::minutes(minutes);
                let read = taken.at(kept.check.place, day);
                let done_at = read.iter().map(|read| read.at).fold(done_at, DateTime::max);
                let evidence = match kept.check.task.kind() {
                    TaskKind::Measure => read.iter().map(|read| Evidence::Reading(read.id)).collect(),
                    TaskKind::Calibrate => {
                        vec![Evidence::Calibration(calibrate(app, caller, place, *person, done_at).await?)]
                    }
                    TaskKind::Inspect => vec![Evidence::Note("leaves clean, roots white".into())],
                    // Settled by the change itself.
                    TaskKind::ChangeTank => Vec::new(),
                };
                if evidence.is_empty() || done_at > kept.check.limit || done_at > app.now() {
                    continue;
                }
                let client_id = Uuid::new_v4();
                let completion = Completion {
                    client_id,
                    done_at,
                    done_by: Some(*person),
                    with: None,
                    evidence,
                    confirmed: false,
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
        let day = from + Days::new(3);
        for room in &place.grown.rooms {
            for (cycle, starts_on, ends_on) in &room.cycles {
                let length = (*ends_on - *starts_on).num_days() as f64;
                let position = (day - *starts_on).num_days() as f64 / length;
                let crop = &CROPS[room.cast.crop];
                if crop.yield_kg > 0.0 && (crop.picked_from..1.0).contains(&position) {
                    let pickings = (length * (1.0 - crop.picked_from) / 7.0).max(1.0);
                    let kg = f64::from(room.cast.plants) * crop.yield_kg / pickings
                        * chance.random_range(0.8..1.15);
                    let rejected_kg = kg * chance.random_range(0.02..0.07);
                    let picked = picked(*cycle, room, at(day, 9), kg, rejected_kg);
                    harvests::enter(app, &self.workers[0].1, place.id, picked, false).await?;
                }
            }
        }
        Ok(())
    }
}

fn air(room: &GrownRoom, season: f64, visit: Visit<'_>, chance: &mut StdRng, sheet: &mut Sheet) {
    let air_c = 21.0 + 2.0 * season + chance.random_range(-2.5..2.5);
    let humidity = 60.0 - 6.0 * season + chance.random_range(-10.0..10.0);
    let shown =
        [(Metric::AirTemperature, air_c, Unit::Celsius), (Metric::RelativeHumidity, humidity, Unit::Percent)];
    let read = |(metric, value, unit)| {
        reading(Spot::Room(room.id), SamplePoint::Air, metric, Quantity::new(round(value, 1), unit), visit)
    };
    sheet.readings.extend(shown.into_iter().map(read));
}

fn picked(cycle: CycleId, room: &GrownRoom, at: DateTime<Utc>, kg: f64, rejected_kg: f64) -> Harvest {
    Harvest {
        client_id: Uuid::new_v4(),
        cycle,
        room: Some(room.id),
        harvested_at: at,
        received_at: at,
        saleable_kg: round(kg, 1),
        rejected_kg: round(rejected_kg, 1),
        pieces: None,
        grade: Some("A".into()),
        brix: None,
        done_by: None,
        entered_by: None,
        reverses: None,
        reversed: None,
    }
}

/// The readings that were kept, by place and day.
struct Taken(HashMap<(Spot, NaiveDate), Vec<Read>>);

struct Read {
    id: Id<Reading>,
    at: DateTime<Utc>,
}

impl Taken {
    fn of(entries: &[ReadingEntry], outcomes: &[Outcome<Reading>]) -> Taken {
        let mut kept: HashMap<_, Vec<_>> = HashMap::new();
        for (entry, outcome) in entries.iter().zip(outcomes) {
            if let Outcome::Created(id) = outcome {
                let at = entry.recorded_at;
                kept.entry((entry.spot, at.date_naive())).or_default().push(Read { id: *id, at });
            }
        }
        Taken(kept)
    }

    /// What was read at a tank or in a room on a day.
    fn at(&self, place: At, day: NaiveDate) -> &[Read] {
        let spot = match place {
            At::Tank(tank) => Spot::Tank(tank),
            At::Room(room) => Spot::Room(room),
        };
        self.0.get(&(spot, day)).map_or(&[], Vec::as_slice)
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

/// What was missed a week ago is known by now: the manager closes it.
async fn close_old_alerts(app: &App, place: &Place, manager: &Caller) -> Result<(), Refusal> {
    let old = app.now() - TimeDelta::days(7);
    let query = PageQuery {
        limit: 200,
        filters: vec![Filter::Before("raised_at", old.into())],
        ..PageQuery::default()
    };
    for kept in alerts::list(app, manager, place.id, &query).await?.items {
        alerts::close(app, manager, place.id, kept.id).await?;
    }
    Ok(())
}

/// First and last day of the cycle that stands in a room on a day.
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
