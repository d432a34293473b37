//! Records with the common life, and checks, against what their journal last told of each of their columns.

use std::collections::{BTreeSet, HashMap, HashSet};
use std::pin::Pin;

use fillmark_domain::Coded;
use fillmark_domain::entries::{Calibration, ChangePlan, Meter};
use fillmark_domain::growing::{Crop, Cycle, Feed, Placement, Programme, ProgrammeRevision};
use fillmark_domain::people::{Device, Membership, Person};
use fillmark_domain::places::{Closure, OutOfUse, Room, Site, Tank, TankRoom, WaterSource};
use fillmark_domain::stock::{LabelRevision, Lot, Offer, Order, Product, Supplier};
use fillmark_domain::work::{Absence, CheckPlan, CheckStanding, Held, Qualification, Shift};
use sea_orm::sea_query::{Expr, ExprTrait, sea_value_to_json_value};
use sea_orm::{
    ActiveModelTrait, EntityName, EntityTrait, IdenStatic, IntoActiveModel, Iterable, JsonValue, QueryFilter,
    Select,
};
use uuid::Uuid;

use super::{Broken, Found, count_rows, of_site, untold};
use crate::checks::{self, WORD as CHECK};
use crate::journal::Entry;
use crate::{Record, Scope, StoreError, Tx};

/// A row by the names of its columns.
type Columns = HashMap<String, JsonValue>;

/// Rows by their ids, as a question answers them.
type Asked<'a> = Pin<Box<dyn Future<Output = Result<HashMap<Uuid, Columns>, StoreError>> + Send + 'a>>;

/// A kind of record with the common life.
struct Kind {
    word: &'static str,
    table: &'static str,
    of_site: bool,
    rows: for<'a> fn(&'a Tx, Uuid, Vec<Uuid>) -> Asked<'a>,
}

impl Kind {
    fn of<R: Record>() -> Kind {
        Kind {
            word: R::WORD,
            table: R::Entity::default().table_name(),
            of_site: R::Scope::OF_SITE,
            rows: |tx, owner, ids| Box::pin(rows::<R>(tx, owner, ids)),
        }
    }
}

macro_rules! kinds {
    ($($record:ty),+ $(,)?) => { [$(Kind::of::<$record>()),+] };
}

fn kinds() -> [Kind; 30] {
    kinds![
        Absence,
        Calibration,
        ChangePlan,
        CheckPlan,
        Closure,
        Crop,
        Cycle,
        Device,
        Feed,
        Held,
        LabelRevision,
        Lot,
        Membership,
        Meter,
        Offer,
        Order,
        OutOfUse,
        Person,
        Placement,
        Product,
        Programme,
        ProgrammeRevision,
        Qualification,
        Room,
        Shift,
        Site,
        Supplier,
        Tank,
        TankRoom,
        WaterSource,
    ]
}

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
        for kind in kinds() {
            let Some(told) = by_word.get(kind.word) else { continue };
            let now = (kind.rows)(tx, owner, ids(told)).await?;
            found.entries += told.len() as u64;
            for entry in told {
                if entry.deed == "created" {
                    *self.created.entry(kind.word).or_default() += 1;
                }
                self.compare(kind.word, entry, now.get(&entry.record_id));
            }
        }
        match by_word.get(CHECK) {
            Some(told) => self.look_at_checks(tx, owner, told, found).await,
            None => Ok(()),
        }
    }

    /// What is still apart after the last entry, and tables with more or fewer rows than the journal tells of.
    pub(super) async fn close(self, tx: &Tx, owner: Uuid, found: &mut Found) -> Result<(), StoreError> {
        // A table of the business has no rows of a site, nor one of a site any of the business.
        for kind in kinds().into_iter().filter(|kind| kind.of_site != owner.is_nil()) {
            let of = kind.of_site.then(|| Expr::col("site_id").eq(owner));
            let rows = count_rows(tx, kind.table, of).await?;
            untold(owner, kind.word, rows, self.created.get(kind.word).copied().unwrap_or_default(), found);
        }
        let begun = Expr::col("site_id").eq(owner).and(Expr::col("state").ne(CheckStanding::Planned.code()));
        let begun = count_rows(tx, checks::Entity.table_name(), Some(begun)).await?;
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
        let rows =
            of_site::<checks::Entity>(owner).filter(Expr::col("id").is_in(ids(told))).all(&tx.0).await?;
        let now: HashMap<Uuid, Columns> =
            rows.into_iter().map(|row| (row.id, columns(row.into_active_model()))).collect();
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

    /// Holds a row against an entry that tells its columns. A column that there is no more is not asked.
    fn compare(&mut self, word: &'static str, entry: &Entry, row: Option<&Columns>) {
        let Some(told) = entry.detail.as_object() else { return };
        let apart = self.apart.entry((word, entry.record_id)).or_default();
        for (name, then) in told {
            if row.is_some_and(|row| row.get(name).is_none_or(|now| same(now, then))) {
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

async fn rows<R: Record>(tx: &Tx, owner: Uuid, ids: Vec<Uuid>) -> Result<HashMap<Uuid, Columns>, StoreError> {
    let of: Select<R::Entity> =
        if R::Scope::OF_SITE { of_site::<R::Entity>(owner) } else { R::Entity::find() };
    let rows = of.filter(Expr::col("id").is_in(ids)).all(&tx.0).await?;
    let rows = rows.into_iter().map(|row| columns(row.into_active_model()));
    let by_id = |columns: Columns| Some((columns.get("id")?.as_str()?.parse().ok()?, columns));
    Ok(rows.filter_map(by_id).collect())
}

fn columns<M: ActiveModelTrait>(row: M) -> Columns {
    let column = |column: <M::Entity as EntityTrait>::Column| {
        Some((column.as_str().to_owned(), sea_value_to_json_value(&row.get(column).into_value()?)))
    };
    <M::Entity as EntityTrait>::Column::iter().filter_map(column).collect()
}

fn ids(entries: &[&Entry]) -> Vec<Uuid> {
    entries.iter().map(|entry| entry.record_id).collect::<HashSet<_>>().into_iter().collect()
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
