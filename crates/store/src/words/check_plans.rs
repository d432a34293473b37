//! Check plans.

use fillmark_domain::work::{CheckPlan, Place, Sharing, Task, TaskKind};
use fillmark_domain::{Coded, Id, Kept};
use sea_orm::{JsonValue, Set};
use uuid::Uuid;

use crate::columns::{self, Reading, Row, table};
use crate::{BrokenRow, Record, Reference, SiteScope};

table!(site "check_plans" {
    name: String,
    task: String,
    metrics: Json,
    sample_point: Option<String>,
    tank_id: Option<Uuid>,
    room_id: Option<Uuid>,
    rule: String,
    starts_local: String,
    window_min: i64,
    limit_min: i64,
    work_min: i64,
    qualification_id: Option<Uuid>,
    two_people: bool,
    weight: i64,
    is_unpleasant: bool,
    meter_id: Option<Uuid>,
});

impl Record for CheckPlan {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "check plan";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];
    const NARROWED_BY: &'static [&'static str] = &["tank_id", "room_id"];

    fn columns(&self) -> row::ActiveModel {
        let (tank, room) = place_ids(self.place);
        let (metrics, point) = measured(&self.task);
        row::ActiveModel {
            name: Set(self.name.clone()),
            task: Set(columns::code(self.task.kind())),
            metrics: Set(metrics),
            sample_point: Set(point),
            tank_id: Set(tank),
            room_id: Set(room),
            rule: Set(self.rule.clone()),
            starts_local: Set(self.start.format("%Y-%m-%dT%H:%M:%S").to_string()),
            window_min: Set(self.window_min.into()),
            limit_min: Set(self.limit_min.into()),
            work_min: Set(self.work_min.into()),
            qualification_id: Set(self.qualification.map(Id::uuid)),
            two_people: Set(self.two_people),
            weight: Set(self.sharing.weight.into()),
            is_unpleasant: Set(self.sharing.is_unpleasant),
            meter_id: Set(self.task.calibrates().map(Id::uuid)),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<CheckPlan>, BrokenRow> {
        let read = row.reading();
        let content = CheckPlan {
            name: row.name.clone(),
            task: task(read, &row.task, row.metrics.clone(), row.sample_point.as_deref(), row.meter_id)?,
            place: place(read, row.tank_id, row.room_id)?,
            rule: row.rule.clone(),
            start: read.parsed(&row.starts_local)?,
            window_min: read.whole(row.window_min)?,
            limit_min: read.whole(row.limit_min)?,
            work_min: read.whole(row.work_min)?,
            qualification: row.qualification_id.map(Id::new),
            two_people: row.two_people,
            sharing: Sharing { weight: read.whole(row.weight)?, is_unpleasant: row.is_unpleasant },
        };
        Ok(row.kept(content))
    }

    fn references(&self) -> Vec<Reference> {
        let place = match self.place {
            Place::Tank(tank) => Reference::of_site("/tank_id", "tanks", tank.uuid()),
            Place::Room(room) => Reference::of_site("/room_id", "rooms", room.uuid()),
        };
        let qualification =
            |id: Id<_>| Reference::of_business("/qualification_id", "qualifications", id.uuid());
        let meter = |id: Id<_>| Reference::of_site("/meter_id", "meters", id.uuid());
        let named =
            self.qualification.map(qualification).into_iter().chain(self.task.calibrates().map(meter));
        std::iter::once(place).chain(named).collect()
    }
}

/// The tank's id or the room's.
pub(crate) fn place_ids(place: Place) -> (Option<Uuid>, Option<Uuid>) {
    match place {
        Place::Tank(tank) => (Some(tank.uuid()), None),
        Place::Room(room) => (None, Some(room.uuid())),
    }
}

/// The place of these ids, of which just one is there.
pub(crate) fn place(read: Reading, tank: Option<Uuid>, room: Option<Uuid>) -> Result<Place, BrokenRow> {
    match (tank, room) {
        (Some(tank), None) => Ok(Place::Tank(Id::new(tank))),
        (None, Some(room)) => Ok(Place::Room(Id::new(room))),
        _ => Err(read.broken("is neither of a tank nor of a room")),
    }
}

/// The metrics and the sample point of a task that measures.
pub(crate) fn measured(task: &Task) -> (JsonValue, Option<String>) {
    match task {
        Task::Measure { metrics, point } => {
            (columns::list(metrics.iter().map(|metric| metric.code())), Some(columns::code(*point)))
        }
        Task::Inspect | Task::Calibrate { .. } | Task::ChangeTank => (JsonValue::Array(Vec::new()), None),
    }
}

/// The task of these columns.
pub(crate) fn task(
    read: Reading,
    kind: &str,
    metrics: JsonValue,
    point: Option<&str>,
    meter: Option<Uuid>,
) -> Result<Task, BrokenRow> {
    Ok(match read.code(kind)? {
        TaskKind::Measure => {
            let metrics: Vec<String> = read.list(metrics)?;
            let metrics = metrics.iter().map(|metric| read.code(metric)).collect::<Result<_, _>>()?;
            Task::Measure { metrics, point: read.code(point.unwrap_or_default())? }
        }
        TaskKind::Inspect => Task::Inspect,
        TaskKind::Calibrate => Task::Calibrate { meter: meter.map(Id::new) },
        TaskKind::ChangeTank => Task::ChangeTank,
    })
}
