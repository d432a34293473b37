//! Reviews of days: kept once, never changed.

use chrono::NaiveDate;
use fillmark_domain::work::Review;
use fillmark_domain::{Days, Id};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, Set};
use uuid::Uuid;

use crate::{SiteScope, Stamp, StoreError, Tx, journal};

/// What the journal calls them.
pub(crate) const WORD: &str = "review";

/// Keeps a review.
/// # Errors
/// [`StoreError::Taken`] when one with the same client id came first.
pub async fn keep(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    id: Id<Review>,
    review: &Review,
) -> Result<(), StoreError> {
    let row = row::ActiveModel {
        site_id: Set(site.uuid()),
        id: Set(id.uuid()),
        client_id: Set(review.client_id),
        day_on: Set(review.day),
        room_id: Set(review.room.map(Id::uuid)),
        note: Set(review.note.clone()),
        reviewed_by: Set(review.reviewed_by.map(Id::uuid)),
        reviewed_at: Set(review.reviewed_at),
        journal_id: Set(review.journal_id),
    };
    let detail = journal::hashed(&row);
    row::Entity::insert(row).exec_without_returning(&tx.0).await?;
    journal::append(tx, site, stamp, "signed", WORD, id.uuid(), detail).await
}

/// The review with this client id.
/// # Errors
/// When the database fails.
pub async fn find_by_client_id(
    tx: &Tx,
    site: SiteScope,
    client_id: Uuid,
) -> Result<Option<(Id<Review>, Review)>, StoreError> {
    let found = of_site(site).filter(row::Column::ClientId.eq(client_id)).one(&tx.0).await?;
    Ok(found.map(|row| (Id::new(row.id), read(row))))
}

/// The reviews of days, in the order they were signed.
/// # Errors
/// When the database fails.
pub async fn of_days(tx: &Tx, site: SiteScope, days: Days) -> Result<Vec<Review>, StoreError> {
    let Days { from, until }: Days = days;
    let rows = of_site(site)
        .filter(row::Column::DayOn.between::<NaiveDate>(from, until))
        .order_by_asc(row::Column::ReviewedAt)
        .order_by_asc(row::Column::Id);
    Ok(rows.all(&tx.0).await?.into_iter().map(read).collect())
}

fn of_site(site: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(site.uuid()))
}

fn read(row: row::Model) -> Review {
    Review {
        client_id: row.client_id,
        day: row.day_on,
        room: row.room_id.map(Id::new),
        note: row.note,
        reviewed_by: row.reviewed_by.map(Id::new),
        reviewed_at: row.reviewed_at,
        journal_id: row.journal_id,
    }
}

pub(crate) mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "reviews")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Uuid,
        pub day_on: ChronoDate,
        pub room_id: Option<Uuid>,
        pub note: Option<String>,
        pub reviewed_by: Option<Uuid>,
        pub reviewed_at: ChronoDateTimeUtc,
        pub journal_id: Option<Uuid>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
