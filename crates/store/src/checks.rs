//! Checks: found, settled, and claimed once each. How plans make them stands in [`crate::planning`].

mod done;
mod find;
mod of_programme;
mod row;

use chrono::{DateTime, Utc};
use fillmark_domain::Coded;
use fillmark_domain::Id;
use fillmark_domain::people::PersonId;
use fillmark_domain::work::{Check, CheckState, Evidence};
use sea_orm::ActiveValue::Unchanged;
use sea_orm::{EntityTrait, Set};
use uuid::Uuid;

pub use done::{Done, done_between};
pub use find::{
    carried_into, due_at_places, find, find_by_client_id, find_many, lock, lock_out_of_use, lock_overdue,
    lock_unwarned, of_day, page,
};
pub use of_programme::{
    coming_of_programme, latest_of_programme, lock_coming_of_programme, lock_due_of_programme,
};
pub(crate) use row::{Column, Entity, Model, columns, of_site, read};

use crate::{SiteScope, Stamp, StoreError, Tx, journal};

/// What the journal calls one.
pub(crate) const WORD: &str = "check";

/// A check as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptCheck {
    /// Its id.
    pub id: Id<Check>,
    /// The check.
    pub check: Check,
    /// How it was typed in, once it is done.
    pub typed: Option<Typed>,
}

/// How something done was typed in: when and by whom may differ from when and by whom it was done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Typed {
    /// Made by the client, so that sending twice has one effect.
    pub client_id: Uuid,
    /// Who typed it.
    pub by: Option<PersonId>,
    /// When the server got it.
    pub received_at: DateTime<Utc>,
}

/// Keeps what became of a check, and how it was typed in when it was done.
/// # Errors
/// When the database fails.
pub async fn settle(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    id: Id<Check>,
    state: &CheckState,
    typed: Option<Typed>,
) -> Result<(), StoreError> {
    let mut change = row::ActiveModel {
        site_id: Unchanged(site.uuid()),
        id: Unchanged(id.uuid()),
        state: Set(state.standing().code().to_owned()),
        ..Default::default()
    };
    match state {
        CheckState::Planned => {}
        CheckState::Open { at, by } => stand(&mut change, *at, Some(*by)),
        CheckState::Missed { at } => stand(&mut change, *at, None),
        CheckState::Excused { at, by, reason } => {
            stand(&mut change, *at, *by);
            change.note = Set(Some(reason.clone()));
        }
        CheckState::Done { at, by, with, evidence, late } => {
            stand(&mut change, *at, Some(*by));
            change.done_with = Set(with.map(Id::uuid));
            change.late = Set(Some(*late));
            show(&mut change, evidence);
        }
    }
    if let Some(typed) = typed {
        change.client_id = Set(Some(typed.client_id));
        change.entered_by = Set(typed.by.map(Id::uuid));
        change.received_at = Set(Some(typed.received_at));
    }
    let detail = journal::told(&change, &[]);
    row::Entity::update(change).exec(&tx.0).await?;
    journal::append(tx, site, stamp, state.standing().code(), WORD, id.uuid(), detail).await
}

fn stand(change: &mut row::ActiveModel, at: DateTime<Utc>, by: Option<PersonId>) {
    change.state_at = Set(Some(at));
    change.state_by = Set(by.map(Id::uuid));
}

fn show(change: &mut row::ActiveModel, evidence: &[Evidence]) {
    let (mut readings, mut calibrations, mut changed, mut note) = (Vec::new(), Vec::new(), None, None);
    for one in evidence {
        match one {
            Evidence::Reading(id) => readings.push(id.uuid()),
            Evidence::Calibration(id) => calibrations.push(id.uuid()),
            Evidence::Change(id) => changed = Some(id.uuid()),
            Evidence::Note(text) => note = Some(text.clone()),
        }
    }
    change.reading_ids = Set(crate::columns::list(readings.into_iter()));
    change.calibration_ids = Set(crate::columns::list(calibrations.into_iter()));
    change.tank_change_id = Set(changed);
    change.note = Set(note);
}
