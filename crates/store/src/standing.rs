//! Whom a session speaks for: asked with every request, and so in one statement.

use std::collections::{HashMap, HashSet};

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

/// How the sessions with these ids stand; those that are not there are left out.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_sessions(store: &Store, ids: &[Uuid]) -> Result<Vec<Standing>, StoreError> {
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
    Ok(gathered(rows.into_model().all(store.glance()).await?)?)
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

fn gathered(rows: Vec<Found>) -> Result<Vec<Standing>, BrokenRow> {
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
    Ok(standings.into_values().collect())
}
