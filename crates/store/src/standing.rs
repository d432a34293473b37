//! Whom a session speaks for: asked with every request, and so in one statement.

use std::collections::{HashMap, HashSet};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use fillmark_domain::Id;
use fillmark_domain::people::Membership;
use fillmark_domain::places::SiteId;
use sea_orm::sea_query::{Condition, Expr, ExprTrait, JoinType};
use sea_orm::{
    ColumnTrait, DbErr, EntityTrait, FromQueryResult, IdenStatic, Iterable, QueryFilter, QueryResult,
    QuerySelect, QueryTrait,
};
use uuid::Uuid;

use crate::accounts::{Session, read_session, session};
use crate::columns::joined;
use crate::entries::to_a_step;
use crate::words::memberships::row::{Column, Entity, Model};
use crate::words::sites;
use crate::{BrokenRow, Record, Store, StoreError};

/// Before the names of what is read of a membership beside its session.
const HELD: &str = "held_";

/// A session, with what its person is where.
#[derive(Debug, Clone, PartialEq)]
pub struct Standing {
    /// The session, over or not.
    pub session: Session,
    /// The memberships of its person, over or not; archived ones are left out.
    pub memberships: Vec<Membership>,
    /// The sites there are among those of the memberships: all where one is of every site.
    pub sites: Vec<SiteId>,
}

/// So long a standing that was read serves those who ask again: what other instances do is seen after it at the latest. What
/// this one does is seen at once.
const LASTS: Duration = Duration::from_secs(2);
/// More than this are not remembered.
const MOST: usize = 10_000;

/// Standings as they were read, by their sessions.
#[derive(Debug, Clone, Default)]
pub(crate) struct Standings(Arc<Mutex<Remembered>>);

#[derive(Debug, Default)]
struct Remembered {
    /// Another after every change: what was read before one is not what holds after it.
    changes: u64,
    read: HashMap<Uuid, (Instant, Arc<Standing>)>,
}

impl Standings {
    fn find(&self, session: Uuid) -> Option<Arc<Standing>> {
        let remembered = self.lock();
        let (at, standing) = remembered.read.get(&session)?;
        (at.elapsed() < LASTS).then(|| standing.clone())
    }

    fn changes(&self) -> u64 {
        self.lock().changes
    }

    fn keep(&self, changes: u64, read: &[Arc<Standing>]) {
        let (mut remembered, now) = (self.lock(), Instant::now());
        if remembered.changes != changes {
            return;
        }
        if remembered.read.len() >= MOST {
            remembered.read.clear();
        }
        let by_session = read.iter().map(|standing| (standing.session.id, (now, standing.clone())));
        remembered.read.extend(by_session);
    }

    /// Forgets all: somebody's standing has changed.
    pub(crate) fn forget(&self) {
        let mut remembered = self.lock();
        remembered.changes += 1;
        remembered.read.clear();
    }

    fn lock(&self) -> MutexGuard<'_, Remembered> {
        // Nothing is done under the lock that could leave it half way.
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// How a session stood a moment ago, where somebody asked then and this instance has changed nobody's standing since.
pub fn remembered(store: &Store, session: Uuid) -> Option<Arc<Standing>> {
    store.standings().find(session)
}

/// How the sessions with these ids stand; those that are not there are left out.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_sessions(store: &Store, ids: &[Uuid]) -> Result<Vec<Arc<Standing>>, StoreError> {
    let changes = store.standings().changes();
    let held = |column: Column| Expr::col((Entity, column));
    let own = Condition::all()
        .add(held(Column::PersonId).eq(Expr::col((session::Entity, session::Column::PersonId))))
        .add(held(Column::ArchivedAt).is_null());
    let site = Expr::col((sites::row::Entity, sites::row::Column::Id));
    let everywhere = held(Column::Id).is_not_null().and(held(Column::SiteId).is_null());
    let there = everywhere.or(held(Column::SiteId).eq(site.clone()));
    let mut rows = session::Entity::find()
        .filter(session::Column::Id.is_in(to_a_step(ids.iter().copied())))
        .column_as(site, "there_id");
    for column in Column::iter() {
        rows = rows.column_as(held(column), format!("{HELD}{}", column.as_str()));
    }
    QueryTrait::query(&mut rows).join(JoinType::LeftJoin, Entity, own).join(
        JoinType::LeftJoin,
        sites::row::Entity,
        there,
    );
    let standings = gathered(rows.into_model().all(store.glance()).await?)?;
    store.standings().keep(changes, &standings);
    Ok(standings)
}

/// A session, once for each site of each of its memberships.
struct Found {
    session: session::Model,
    held: Option<Model>,
    there: Option<Uuid>,
}

impl FromQueryResult for Found {
    fn from_query_result(row: &QueryResult, before: &str) -> Result<Self, DbErr> {
        let session = session::Model::from_query_result(row, before)?;
        let held = joined(row, HELD, "id")?;
        Ok(Self { session, held, there: row.try_get(before, "there_id")? })
    }
}

fn gathered(rows: Vec<Found>) -> Result<Vec<Arc<Standing>>, BrokenRow> {
    let mut standings: HashMap<Uuid, Standing> = HashMap::new();
    let mut read: HashSet<(Uuid, Uuid)> = HashSet::new();
    for Found { session, held, there } in rows {
        let id = session.id;
        let standing = standings.entry(id).or_insert_with(|| Standing {
            session: read_session(session),
            memberships: Vec::new(),
            sites: Vec::new(),
        });
        if let Some(held) = held.filter(|held| read.insert((id, held.id))) {
            standing.memberships.push(Membership::read(held)?.content);
        }
        standing.sites.extend(there.map(Id::new));
    }
    Ok(standings.into_values().map(Arc::new).collect())
}
