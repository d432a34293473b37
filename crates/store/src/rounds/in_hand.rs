//! The round in the hand of whoever walks it: asked for all day long, and so in one statement.

use chrono::NaiveDate;
use chrono_tz::Tz;
use fillmark_domain::people::PersonId;
use sea_orm::sea_query::{Expr, ExprTrait, JoinType, Query};
use sea_orm::{
    ColumnTrait, DbErr, FromQueryResult, IdenStatic, Iterable, QueryFilter, QueryResult, QuerySelect,
    QueryTrait,
};

use super::{KeptRound, Walked, gathered, publication, round, step, walked};
use crate::checks::{Column, Entity, KeptCheck, Model, read};
use crate::columns::{Row, joined};
use crate::words::sites;
use crate::{SiteScope, Store, StoreError};

/// Before the names of what is read of a check beside its step.
const CHECK: &str = "check_";

/// A round with what it takes to show it.
#[derive(Debug, Clone, PartialEq)]
pub struct InHand {
    /// The round.
    pub kept: KeptRound,
    /// Its checks. One that was withdrawn since is not among them.
    pub checks: Vec<KeptCheck>,
    /// The zone of its site.
    pub zone: Tz,
}

/// The round of a person in the publication in force for a day.
/// # Errors
/// When the database fails or a row is broken.
pub async fn in_hand(
    store: &Store,
    scope: SiteScope,
    day: NaiveDate,
    person: PersonId,
) -> Result<Option<InHand>, StoreError> {
    let newest = Query::select()
        .expr(Expr::col(publication::Column::Number).max())
        .from(publication::Entity)
        .and_where(Expr::col(publication::Column::SiteId).eq(scope.uuid()))
        .and_where(Expr::col(publication::Column::DayOn).eq(day))
        .take();
    let check = |column: Column| Expr::col((Entity, column));
    let site = |column: sites::row::Column| Expr::col((sites::row::Entity, column));
    let of_step = check(Column::SiteId)
        .eq(Expr::col((step::Entity, step::Column::SiteId)))
        .and(check(Column::Id).eq(Expr::col((step::Entity, step::Column::CheckId))));
    let of_site = site(sites::row::Column::Id).eq(Expr::col((round::Entity, round::Column::SiteId)));
    let mut rows = walked(scope)
        .filter(publication::Column::DayOn.eq(day))
        .filter(publication::Column::Number.in_subquery(newest))
        .filter(round::Column::PersonId.eq(person.uuid()))
        .column_as(site(sites::row::Column::TimeZone), "time_zone");
    for column in Column::iter() {
        rows = rows.column_as(check(column), format!("{CHECK}{}", column.as_str()));
    }
    QueryTrait::query(&mut rows).join(JoinType::LeftJoin, Entity, of_step).join(
        JoinType::InnerJoin,
        sites::row::Entity,
        of_site,
    );

    let (mut steps, mut checks, mut zone) = (Vec::new(), Vec::new(), None);
    for Held { walked, check, time_zone } in rows.into_model().all(store.glance()).await? {
        zone = Some(walked.round.reading().parsed(&time_zone)?);
        checks.extend(check.map(read).transpose()?);
        steps.push(walked);
    }
    let kept = gathered(scope, steps)?.pop();
    Ok(kept.zip(zone).map(|(kept, zone)| InHand { kept, checks, zone }))
}

/// A step with its check.
struct Held {
    walked: Walked,
    check: Option<Model>,
    time_zone: String,
}

impl FromQueryResult for Held {
    fn from_query_result(row: &QueryResult, before: &str) -> Result<Self, DbErr> {
        Ok(Self {
            walked: Walked::from_query_result(row, before)?,
            check: joined(row, CHECK, "id")?,
            time_zone: row.try_get(before, "time_zone")?,
        })
    }
}
