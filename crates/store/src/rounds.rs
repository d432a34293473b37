//! Rounds as they were published. Nothing here is ever changed: a later plan of a day is a new publication.

mod in_hand;
mod outcome;

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::Id;
use fillmark_domain::work::{Publication, Round, RoundStep};
use sea_orm::sea_query::{Expr, ExprTrait, JoinType, OnConflict};
use sea_orm::{
    ColumnTrait, DbErr, EntityTrait, FromQueryResult, IdenStatic, Iterable, QueryFilter, QueryOrder,
    QueryResult, QuerySelect, QueryTrait, Select, Set,
};
use uuid::Uuid;

use crate::columns::{self, Reading, Row, code};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

pub use in_hand::{InHand, in_hand};

/// Before the names of what is read of a step beside its round.
const STEP: &str = "step_";

/// A round as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptRound {
    /// Its id.
    pub id: Id<Round>,
    /// The round.
    pub round: Round,
}

/// Keeps a publication with its rounds; false when another of this number came first.
/// # Errors
/// When the database fails.
pub async fn keep(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    publication: &Publication,
    rounds: &[Round],
) -> Result<bool, StoreError> {
    let id = stamp.fresh::<Publication>().uuid();
    let row = publication::ActiveModel {
        site_id: Set(site.uuid()),
        id: Set(id),
        day_on: Set(publication.date),
        number: Set(publication.number),
        published_at: Set(publication.published_at),
        published_by: Set(publication.published_by.map(Id::uuid)),
        checks_left: Set(outcome::left_column(&publication.left)),
        cures: Set(outcome::cures_column(&publication.left)),
        moves: Set(outcome::moves_column(&publication.moves)),
    };
    let kept = publication::Entity::insert(row)
        .on_conflict(OnConflict::new().do_nothing().to_owned())
        .exec_without_returning(&tx.0)
        .await?;
    if kept == 0 {
        return Ok(false);
    }
    for one in rounds {
        keep_round(tx, site, stamp, id, one).await?;
    }
    let detail = serde_json::json!({ "day_on": publication.date, "number": publication.number,
        "rounds": rounds.len(), "left": publication.left.len(), "moves": outcome::moves_column(&publication.moves) });
    journal::append(tx, site, stamp, "published", "rounds", id, detail).await?;
    Ok(true)
}

async fn keep_round(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    publication: Uuid,
    one: &Round,
) -> Result<(), StoreError> {
    let id = stamp.fresh::<Round>().uuid();
    let row = round::ActiveModel {
        site_id: Set(site.uuid()),
        id: Set(id),
        publication_id: Set(publication),
        person_id: Set(one.person.uuid()),
        day_on: Set(one.date),
        minutes: Set(one.minutes),
        fair_minutes: Set(one.fair_minutes),
    };
    round::Entity::insert(row).exec_without_returning(&tx.0).await?;
    let steps = one.steps.iter().zip(0..).map(|(step, position)| step::ActiveModel {
        site_id: Set(site.uuid()),
        round_id: Set(id),
        position: Set(position),
        check_id: Set(step.check.uuid()),
        starts_at: Set(step.starts_at),
        with_id: Set(step.with.map(Id::uuid)),
        moved_why: Set(step.moved.map(code)),
    });
    step::Entity::insert_many(steps).exec_without_returning(&tx.0).await?;
    Ok(())
}

/// The publication in force for a day, with its rounds by person.
/// # Errors
/// When the database fails or a row is broken.
pub async fn in_force(
    tx: &Tx,
    site: SiteScope,
    day: NaiveDate,
) -> Result<Option<(Publication, Vec<KeptRound>)>, StoreError> {
    let row = publication::Entity::find()
        .filter(publication::Column::SiteId.eq(site.uuid()))
        .filter(publication::Column::DayOn.eq(day))
        .order_by_desc(publication::Column::Number)
        .one(&tx.0)
        .await?;
    let Some(row) = row else { return Ok(None) };
    let rounds = walked(site).filter(round::Column::PublicationId.eq(row.id));
    let rounds = gathered(site, rounds.into_model().all(&tx.0).await?)?;
    Ok(Some((read(row)?, rounds)))
}

/// The days from one on of which something is published, in order.
/// # Errors
/// When the database fails.
pub async fn published_days(tx: &Tx, site: SiteScope, from: NaiveDate) -> Result<Vec<NaiveDate>, StoreError> {
    let days = publication::Entity::find()
        .select_only()
        .column(publication::Column::DayOn)
        .distinct()
        .filter(publication::Column::SiteId.eq(site.uuid()))
        .filter(publication::Column::DayOn.gte(from))
        .order_by_asc(publication::Column::DayOn);
    Ok(days.into_tuple().all(&tx.0).await?)
}

/// The round with this id, of whichever publication.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find(tx: &Tx, site: SiteScope, id: Id<Round>) -> Result<Option<KeptRound>, StoreError> {
    let rows = walked(site).filter(round::Column::Id.eq(id.uuid()));
    Ok(gathered(site, rows.into_model().all(&tx.0).await?)?.pop())
}

/// A round, once for each of its steps.
struct Walked {
    round: round::Model,
    published_at: DateTime<Utc>,
    step: Option<step::Model>,
}

impl FromQueryResult for Walked {
    fn from_query_result(row: &QueryResult, before: &str) -> Result<Self, DbErr> {
        Ok(Self {
            round: round::Model::from_query_result(row, before)?,
            published_at: row.try_get(before, "published_at")?,
            step: columns::joined(row, STEP, "check_id")?,
        })
    }
}

/// The rounds of a site with their steps, person by person in the order they are walked.
fn walked(site: SiteScope) -> Select<round::Entity> {
    let round = |column: round::Column| Expr::col((round::Entity, column));
    let step = |column: step::Column| Expr::col((step::Entity, column));
    let publication = |column: publication::Column| Expr::col((publication::Entity, column));
    let mut rows = round::Entity::find()
        .filter(round::Column::SiteId.eq(site.uuid()))
        .column_as(publication(publication::Column::PublishedAt), "published_at")
        .order_by_asc(round::Column::PersonId)
        .order_by_asc(round::Column::Id)
        .order_by_asc(step::Column::Position);
    for column in step::Column::iter() {
        rows = rows.column_as(step(column), format!("{STEP}{}", column.as_str()));
    }
    let published = publication(publication::Column::SiteId)
        .eq(round(round::Column::SiteId))
        .and(publication(publication::Column::Id).eq(round(round::Column::PublicationId)));
    let of_round = step(step::Column::SiteId)
        .eq(round(round::Column::SiteId))
        .and(step(step::Column::RoundId).eq(round(round::Column::Id)));
    QueryTrait::query(&mut rows).join(JoinType::InnerJoin, publication::Entity, published).join(
        JoinType::LeftJoin,
        step::Entity,
        of_round,
    );
    rows
}

fn gathered(site: SiteScope, rows: Vec<Walked>) -> Result<Vec<KeptRound>, BrokenRow> {
    let mut rounds: Vec<KeptRound> = Vec::new();
    for Walked { round, published_at, step } in rows {
        let id = Id::new(round.id);
        if rounds.last().is_none_or(|last| last.id != id) {
            let round = Round {
                site: site.id(),
                person: Id::new(round.person_id),
                date: round.day_on,
                published_at,
                steps: Vec::new(),
                minutes: round.minutes,
                fair_minutes: round.fair_minutes,
            };
            rounds.push(KeptRound { id, round });
        }
        let read = Reading { table: "rounds", id: id.uuid() };
        let step = step.map(|step| {
            let moved = step.moved_why.map(|why| read.code(&why)).transpose()?;
            let with = step.with_id.map(Id::new);
            Ok::<_, BrokenRow>(RoundStep {
                check: Id::new(step.check_id),
                starts_at: step.starts_at,
                with,
                moved,
            })
        });
        let step = step.transpose()?;
        if let Some(last) = rounds.last_mut() {
            last.round.steps.extend(step);
        }
    }
    Ok(rounds)
}

impl Row for round::Model {
    fn reading(&self) -> Reading {
        Reading { table: "rounds", id: self.id }
    }
}

fn read(row: publication::Model) -> Result<Publication, BrokenRow> {
    let read = Reading { table: "publications", id: row.id };
    Ok(Publication {
        date: row.day_on,
        number: row.number,
        published_at: row.published_at,
        published_by: row.published_by.map(Id::new),
        left: outcome::undone(read, row.checks_left, row.cures)?,
        moves: outcome::moves(read, row.moves)?,
    })
}

mod publication {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "publications")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub day_on: ChronoDate,
        pub number: i64,
        pub published_at: ChronoDateTimeUtc,
        pub published_by: Option<Uuid>,
        pub checks_left: Json,
        pub moves: Json,
        pub cures: Json,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}

mod round {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "rounds")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub publication_id: Uuid,
        pub person_id: Uuid,
        pub day_on: ChronoDate,
        pub minutes: i64,
        pub fair_minutes: i64,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}

mod step {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "round_steps")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub round_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub position: i64,
        pub check_id: Uuid,
        pub starts_at: ChronoDateTimeUtc,
        pub with_id: Option<Uuid>,
        pub moved_why: Option<String>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
