//! How a check stands in its row.

use fillmark_domain::work::{Cause, Check, CheckStanding, CheckState, Evidence, Sharing};
use fillmark_domain::{Coded, Id};
use sea_orm::{ColumnTrait, JsonValue, QueryFilter, Set};

use super::{KeptCheck, Typed};
use crate::columns::{self as words, Reading};
use crate::words::check_plans::{measured, place, place_ids, task};
use crate::{BrokenRow, SiteScope, Stamp};

pub(crate) use entity::{ActiveModel, Column, Entity, Model};

pub(crate) fn of_site(site: SiteScope) -> sea_orm::Select<Entity> {
    use sea_orm::EntityTrait;
    Entity::find().filter(Column::SiteId.eq(site.uuid()))
}

/// The columns of a check that is planned; id and creation are those of the stamp.
pub(crate) fn columns(site: SiteScope, stamp: &Stamp<'_>, check: &Check) -> ActiveModel {
    let (tank, room) = place_ids(check.place);
    let (metrics, point) = measured(&check.task);
    let none = || JsonValue::Array(Vec::new());
    ActiveModel {
        site_id: Set(site.uuid()),
        id: Set(stamp.fresh::<Check>().uuid()),
        created_at: Set(stamp.at),
        cause: Set(check.cause.code().to_owned()),
        plan_id: Set(check.cause.plan().map(Id::uuid)),
        due_on: Set(check.date),
        due_time: Set(check.time.to_string()),
        name: Set(check.name.clone()),
        task: Set(words::code(check.task.kind())),
        metrics: Set(metrics),
        sample_point: Set(point),
        tank_id: Set(tank),
        room_id: Set(room),
        due_at: Set(check.due_at),
        window_until_at: Set(check.window_until),
        limit_at: Set(check.limit),
        work_min: Set(check.work_min.into()),
        qualification_id: Set(check.qualification.map(Id::uuid)),
        two_people: Set(check.two_people),
        weight: Set(check.sharing.weight.into()),
        is_unpleasant: Set(check.sharing.is_unpleasant),
        meter_id: Set(check.task.calibrates().map(Id::uuid)),
        state: Set(CheckStanding::Planned.code().to_owned()),
        reading_ids: Set(none()),
        calibration_ids: Set(none()),
        tank_change_id: Set(None),
        state_at: Set(None),
        state_by: Set(None),
        done_with: Set(None),
        late: Set(None),
        note: Set(None),
        client_id: Set(None),
        entered_by: Set(None),
        received_at: Set(None),
    }
}

pub(crate) fn read(row: Model) -> Result<KeptCheck, BrokenRow> {
    let read = Reading { table: "checks", id: row.id };
    let check = Check {
        cause: cause(read, &row)?,
        date: row.due_on,
        time: read.parsed(&row.due_time)?,
        name: row.name.clone(),
        task: task(read, &row.task, row.metrics.clone(), row.sample_point.as_deref(), row.meter_id)?,
        place: place(read, row.tank_id, row.room_id)?,
        due_at: row.due_at,
        window_until: row.window_until_at,
        limit: row.limit_at,
        work_min: read.whole(row.work_min)?,
        qualification: row.qualification_id.map(Id::new),
        two_people: row.two_people,
        sharing: Sharing { weight: read.whole(row.weight)?, is_unpleasant: row.is_unpleasant },
        state: state(read, &row)?,
    };
    let typed = row.client_id.zip(row.received_at).map(|(client_id, received_at)| Typed {
        client_id,
        by: row.entered_by.map(Id::new),
        received_at,
    });
    Ok(KeptCheck { id: Id::new(row.id), check, typed })
}

fn cause(read: Reading, row: &Model) -> Result<Cause, BrokenRow> {
    let without_plan = if row.cause == Cause::Advice.code() { Cause::Advice } else { Cause::Programme };
    let cause = row.plan_id.map_or(without_plan, |plan| Cause::Plan(Id::new(plan)));
    if cause.code() == row.cause { Ok(cause) } else { Err(read.broken("cause and plan do not fit")) }
}

fn state(read: Reading, row: &Model) -> Result<CheckState, BrokenRow> {
    let by = row.state_by.map(Id::new);
    Ok(match (read.code(&row.state)?, row.state_at, by) {
        (CheckStanding::Planned, ..) => CheckState::Planned,
        (CheckStanding::Open, Some(at), Some(by)) => CheckState::Open { at, by },
        (CheckStanding::Done, Some(at), Some(by)) => CheckState::Done {
            at,
            by,
            with: row.done_with.map(Id::new),
            evidence: evidence(read, row)?,
            late: row.late.unwrap_or_default(),
        },
        (CheckStanding::Missed, Some(at), _) => CheckState::Missed { at },
        (CheckStanding::Excused, Some(at), by) => {
            CheckState::Excused { at, by, reason: row.note.clone().unwrap_or_default() }
        }
        _ => return Err(read.broken(format!("{} lacks who or when", row.state))),
    })
}

fn evidence(read: Reading, row: &Model) -> Result<Vec<Evidence>, BrokenRow> {
    let readings: Vec<uuid::Uuid> = read.list(row.reading_ids.clone())?;
    let calibrations: Vec<uuid::Uuid> = read.list(row.calibration_ids.clone())?;
    let readings = readings.into_iter().map(|id| Evidence::Reading(Id::new(id)));
    let calibrations = calibrations.into_iter().map(|id| Evidence::Calibration(Id::new(id)));
    let change = row.tank_change_id.map(|id| Evidence::Change(Id::new(id)));
    Ok(readings.chain(calibrations).chain(change).chain(row.note.clone().map(Evidence::Note)).collect())
}

mod entity {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "checks")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub created_at: ChronoDateTimeUtc,
        pub cause: String,
        pub plan_id: Option<Uuid>,
        pub due_on: ChronoDate,
        pub due_time: String,
        pub name: String,
        pub task: String,
        pub metrics: Json,
        pub sample_point: Option<String>,
        pub tank_id: Option<Uuid>,
        pub room_id: Option<Uuid>,
        pub due_at: ChronoDateTimeUtc,
        pub window_until_at: ChronoDateTimeUtc,
        pub limit_at: ChronoDateTimeUtc,
        pub work_min: i64,
        pub qualification_id: Option<Uuid>,
        pub two_people: bool,
        pub weight: i64,
        pub is_unpleasant: bool,
        pub meter_id: Option<Uuid>,
        pub state: String,
        pub state_at: Option<ChronoDateTimeUtc>,
        pub state_by: Option<Uuid>,
        pub done_with: Option<Uuid>,
        pub late: Option<bool>,
        pub reading_ids: Json,
        pub calibration_ids: Json,
        pub tank_change_id: Option<Uuid>,
        pub note: Option<String>,
        pub client_id: Option<Uuid>,
        pub entered_by: Option<Uuid>,
        pub received_at: Option<ChronoDateTimeUtc>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
