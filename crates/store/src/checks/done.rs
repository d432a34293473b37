//! Checks that were done, as work of people.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::people::PersonId;
use fillmark_domain::work::{CheckStanding, Place};
use sea_orm::{ColumnTrait, FromQueryResult, QueryFilter, QuerySelect};
use uuid::Uuid;

use super::row::{Column, of_site};
use crate::columns::{Reading, code};
use crate::words::check_plans::place;
use crate::{SiteScope, StoreError, Tx};

/// A check that somebody did, alone or as the second.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Done {
    /// Who.
    pub person: PersonId,
    /// When.
    pub at: DateTime<Utc>,
    /// Minutes of work, as planned.
    pub minutes: i64,
    /// Whether nobody likes to do it.
    pub is_unpleasant: bool,
    /// Where.
    pub place: Place,
}

/// The checks that people did in these instants.
/// # Errors
/// When the database fails or a row is broken.
pub async fn done_between(
    tx: &Tx,
    site: SiteScope,
    from: DateTime<Utc>,
    until: DateTime<Utc>,
) -> Result<Vec<Done>, StoreError> {
    let rows: Vec<DoneRow> = of_site(site)
        .select_only()
        .columns([Column::Id, Column::StateAt, Column::StateBy, Column::DoneWith, Column::WorkMin])
        .columns([Column::IsUnpleasant, Column::TankId, Column::RoomId])
        .filter(Column::State.eq(code(CheckStanding::Done)))
        .filter(Column::StateAt.gte(from))
        .filter(Column::StateAt.lt(until))
        // The limit of a check lies within a week of when it is due: this is for the index.
        .filter(Column::DueAt.gte(from - TimeDelta::days(8)))
        .filter(Column::DueAt.lt(until + TimeDelta::days(1)))
        .into_model()
        .all(&tx.0)
        .await?;
    let mut done = Vec::new();
    for row in rows {
        let place = place(Reading { table: "checks", id: row.id }, row.tank_id, row.room_id)?;
        let Some(at) = row.state_at else { continue };
        let (minutes, is_unpleasant) = (row.work_min, row.is_unpleasant);
        let people = row.state_by.into_iter().chain(row.done_with);
        done.extend(people.map(|id| Done { person: PersonId::new(id), at, minutes, is_unpleasant, place }));
    }
    Ok(done)
}

#[derive(FromQueryResult)]
struct DoneRow {
    id: Uuid,
    state_at: Option<DateTime<Utc>>,
    state_by: Option<Uuid>,
    done_with: Option<Uuid>,
    work_min: i64,
    is_unpleasant: bool,
    tank_id: Option<Uuid>,
    room_id: Option<Uuid>,
}
