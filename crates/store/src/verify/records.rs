//! Records with the common life, and checks, against what their journal last told of each of their columns.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::str::FromStr;

use fillmark_domain::Coded;
use fillmark_domain::entries::{Calibration, ChangePlan, Meter};
use fillmark_domain::growing::{Crop, Cycle, Feed, Placement, Programme, ProgrammeRevision};
use fillmark_domain::people::{Device, Membership, Person};
use fillmark_domain::places::{Closure, OutOfUse, Room, Site, Tank, TankRoom, WaterSource};
use fillmark_domain::stock::{LabelRevision, Lot, Offer, Order, Product, Supplier};
use fillmark_domain::work::{Absence, CheckPlan, CheckStanding, Held, Qualification, Shift};
use sea_orm::sea_query::sea_value_to_json_value;
use sea_orm::{ActiveModelTrait, ColumnTrait, EntityTrait, JsonValue, PaginatorTrait, QueryFilter, Select};
use uuid::Uuid;

use super::{Broken, Found, of_site, rows_of, untold};
use crate::checks::{self, WORD as CHECK};
use crate::journal::Entry;
use crate::{Record, Scope, StoreError, Tx};

/// What a journal told of them so far.
#[derive(Default)]
pub(super) struct Records {
    /// How many records of a word it saw created.
    created: HashMap<&'static str, u64>,
    /// Checks that are no longer but planned. Planned ones are made and withdrawn without a word.
    begun: HashSet<Uuid>,
    /// Columns in which a row is not what it was told to be; a later entry may tell it otherwise.
    apart: HashMap<(&'static str, Uuid), BTreeSet<String>>,
}

/// Asks the same of the table of each word with the common life.
macro_rules! of_each_record {
    ($ask:ident $with:tt) => {
        of_each_record!(@ $ask $with
            Absence, Calibration, ChangePlan, CheckPlan, Closure, Crop, Cycle, Device, Feed, Held, LabelRevision,
            Lot, Membership, Meter, Offer, Order, OutOfUse, Person, Placement, Product, Programme,
            ProgrammeRevision, Qualification, Room, Shift, Site, Supplier, Tank, TankRoom, WaterSource)
    };
    (@ $ask:ident $with:tt $($word:ty),+) => { $($ask::<$word> $with.await?;)+ };
}

impl Records {
    /// Looks at the rows of records and checks that entries of a journal tell the columns of.
    pub(super) async fn look(
        &mut self,
        tx: &Tx,
        owner: Uuid,
        entries: &[Entry],
        found: &mut Found,
    ) -> Result<(), StoreError> {
        let mut by_word: HashMap<&str, Vec<&Entry>> = HashMap::new();
        for entry in entries {
            by_word.entry(&entry.word).or_default().push(entry);
        }
        of_each_record!(look_at_records(tx, owner, &by_word, self, found));
        let Some(told) = by_word.get(CHECK) else { return Ok(()) };
        self.look_at_checks(tx, owner, told, found).await
    }

    /// What is still apart after the last entry, and tables with more or fewer rows than the journal tells of.
    pub(super) async fn close(self, tx: &Tx, owner: Uuid, found: &mut Found) -> Result<(), StoreError> {
        of_each_record!(count_records(tx, owner, &self.created, found));
        let begun = of_site::<checks::Entity>(owner)
            .filter(checks::Column::State.ne(CheckStanding::Planned.code()))
            .count(&tx.0)
            .await?;
        untold(owner, CHECK, begun, self.begun.len() as u64, found);
        let mut apart: Vec<_> = self.apart.into_keys().collect();
        apart.sort_unstable();
        found.broken.extend(apart.into_iter().map(|(word, id)| Broken::Entry { owner, word, id }));
        Ok(())
    }

    async fn look_at_checks(
        &mut self,
        tx: &Tx,
        owner: Uuid,
        told: &[&Entry],
        found: &mut Found,
    ) -> Result<(), StoreError> {
        let now = rows_of(tx, of_site::<checks::Entity>(owner), ids(told)).await?;
        found.entries += told.len() as u64;
        for entry in told {
            if entry.deed == CheckStanding::Planned.code() {
                self.begun.remove(&entry.record_id);
                self.apart.remove(&(CHECK, entry.record_id));
                continue;
            }
            self.begun.insert(entry.record_id);
            self.compare(CHECK, entry, now.get(&entry.record_id));
        }
        Ok(())
    }

    /// Holds a row against an entry that tells its columns.
    fn compare<M: ActiveModelTrait>(&mut self, word: &'static str, entry: &Entry, row: Option<&M>) {
        let Some(told) = entry.detail.as_object() else { return };
        let apart = self.apart.entry((word, entry.record_id)).or_default();
        for (name, then) in told {
            if row.is_some_and(|row| stands(row, name, then)) {
                apart.remove(name);
            } else {
                apart.insert(name.clone());
            }
        }
        if apart.is_empty() {
            self.apart.remove(&(word, entry.record_id));
        }
    }
}

async fn look_at_records<R: Record>(
    tx: &Tx,
    owner: Uuid,
    by_word: &HashMap<&str, Vec<&Entry>>,
    records: &mut Records,
    found: &mut Found,
) -> Result<(), StoreError> {
    let Some(entries) = by_word.get(R::WORD) else { return Ok(()) };
    let now = rows_of(tx, of_record::<R>(owner), ids(entries)).await?;
    found.entries += entries.len() as u64;
    for entry in entries {
        if entry.deed == "created" {
            *records.created.entry(R::WORD).or_default() += 1;
        }
        records.compare(R::WORD, entry, now.get(&entry.record_id));
    }
    Ok(())
}

async fn count_records<R: Record>(
    tx: &Tx,
    owner: Uuid,
    created: &HashMap<&'static str, u64>,
    found: &mut Found,
) -> Result<(), StoreError> {
    if R::Scope::OF_SITE != owner.is_nil() {
        let rows = of_record::<R>(owner).count(&tx.0).await?;
        untold(owner, R::WORD, rows, created.get(R::WORD).copied().unwrap_or_default(), found);
    }
    Ok(())
}

fn of_record<R: Record>(owner: Uuid) -> Select<R::Entity> {
    if R::Scope::OF_SITE { of_site::<R::Entity>(owner) } else { R::Entity::find() }
}

fn ids(entries: &[&Entry]) -> impl Iterator<Item = Uuid> {
    entries.iter().map(|entry| entry.record_id).collect::<HashSet<_>>().into_iter()
}

/// Whether a row has what it was told to have. A column that there is no more is not asked.
fn stands<M: ActiveModelTrait>(row: &M, name: &str, then: &JsonValue) -> bool {
    let Ok(column) = <M::Entity as EntityTrait>::Column::from_str(name) else { return true };
    row.get(column).into_value().is_none_or(|now| same(&sea_value_to_json_value(&now), then))
}

/// Whether two values are the same: a whole number is also one that was written with decimals.
fn same(now: &JsonValue, then: &JsonValue) -> bool {
    match (now, then) {
        (JsonValue::Number(now), JsonValue::Number(then)) => now.as_f64() == then.as_f64(),
        (JsonValue::Array(now), JsonValue::Array(then)) => {
            now.len() == then.len() && now.iter().zip(then).all(|(now, then)| same(now, then))
        }
        (JsonValue::Object(now), JsonValue::Object(then)) => {
            now.len() == then.len()
                && now.iter().all(|(name, now)| then.get(name).is_some_and(|then| same(now, then)))
        }
        _ => now == then,
    }
}
