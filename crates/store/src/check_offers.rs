//! Checks that people offer to one another.

use chrono::NaiveDate;
use fillmark_domain::work::{Check, CheckOffer, OfferStanding, OfferState};
use fillmark_domain::{Coded, Id};
use sea_orm::{ActiveValue::Unchanged, ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::{self, Reading, code};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// What the journal calls them.
const WORD: &str = "check offer";

/// An offer as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptOffer {
    /// Its id.
    pub id: Id<CheckOffer>,
    /// The offer.
    pub offer: CheckOffer,
}

/// Keeps a new offer.
/// # Errors
/// When the database fails.
pub async fn keep(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    offer: &CheckOffer,
) -> Result<Id<CheckOffer>, StoreError> {
    let id = stamp.fresh::<CheckOffer>();
    let ids = |checks: &[Id<Check>]| columns::list(checks.iter().map(|check| check.uuid()));
    let row = row::ActiveModel {
        site_id: Set(site.uuid()),
        id: Set(id.uuid()),
        day_on: Set(offer.day),
        check_ids: Set(ids(&offer.checks)),
        return_check_ids: Set(ids(&offer.returns)),
        from_id: Set(offer.from.uuid()),
        to_id: Set(offer.to.map(Id::uuid)),
        note: Set(offer.note.clone()),
        offered_at: Set(offer.offered_at),
        state: Set(code(offer.state.standing())),
        settled_by: Set(None),
        settled_at: Set(None),
    };
    let detail = journal::told(&row, &["note"]);
    row::Entity::insert(row).exec_without_returning(&tx.0).await?;
    journal::append(tx, site, stamp, "offered", WORD, id.uuid(), detail).await?;
    Ok(id)
}

/// The offer with this id, locked for a change.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock(tx: &Tx, site: SiteScope, id: Id<CheckOffer>) -> Result<Option<KeptOffer>, StoreError> {
    let row = of_site(site).filter(row::Column::Id.eq(id.uuid())).lock_exclusive().one(&tx.0).await?;
    Ok(row.map(read).transpose()?)
}

/// The offer with this id.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find(tx: &Tx, site: SiteScope, id: Id<CheckOffer>) -> Result<Option<KeptOffer>, StoreError> {
    let row = of_site(site).filter(row::Column::Id.eq(id.uuid())).one(&tx.0).await?;
    Ok(row.map(read).transpose()?)
}

/// The offers that nobody has answered yet, of days until the last one, locked for a change.
/// # Errors
/// When the database fails or a row is broken.
pub async fn lock_open(tx: &Tx, site: SiteScope, last: NaiveDate) -> Result<Vec<KeptOffer>, StoreError> {
    let open = of_site(site)
        .filter(row::Column::State.eq(code(OfferStanding::Open)))
        .filter(row::Column::DayOn.lte(last))
        .order_by_asc(row::Column::Id)
        .lock_exclusive();
    Ok(open.all(&tx.0).await?.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// Keeps what became of an offer.
/// # Errors
/// When the database fails.
pub async fn settle(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    id: Id<CheckOffer>,
    state: OfferState,
) -> Result<(), StoreError> {
    let mut row = row::ActiveModel {
        site_id: Unchanged(site.uuid()),
        id: Unchanged(id.uuid()),
        state: Set(code(state.standing())),
        ..Default::default()
    };
    match state {
        OfferState::Open => {}
        OfferState::Lapsed { at } => row.settled_at = Set(Some(at)),
        OfferState::Settled { by, at, .. } => {
            (row.settled_by, row.settled_at) = (Set(Some(by.uuid())), Set(Some(at)));
        }
    }
    row::Entity::update(row).exec(&tx.0).await?;
    journal::note(tx, site, stamp, state.standing().code(), WORD, id.uuid()).await
}

/// A page of a site's offers.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, site: SiteScope, query: &PageQuery) -> Result<Page<KeptOffer>, StoreError> {
    let rows = page_of(tx, of_site(site), query).await?;
    let items = rows.items.into_iter().map(read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: rows.next })
}

fn of_site(site: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(site.uuid()))
}

fn read(row: row::Model) -> Result<KeptOffer, BrokenRow> {
    let read = Reading { table: "check_offers", id: row.id };
    let ids = |column| {
        let ids: Vec<Uuid> = read.list(column)?;
        Ok::<_, BrokenRow>(ids.into_iter().map(Id::new).collect())
    };
    let standing: OfferStanding = read.code(&row.state)?;
    let state = match (standing, row.settled_by, row.settled_at) {
        (OfferStanding::Open, None, None) => OfferState::Open,
        (OfferStanding::Open, ..) => return Err(read.broken("is open and settled")),
        (OfferStanding::Lapsed, None, Some(at)) => OfferState::Lapsed { at },
        (standing, Some(by), Some(at)) => OfferState::Settled { standing, by: Id::new(by), at },
        _ => return Err(read.broken(format!("{} lacks who or when", row.state))),
    };
    let offer = CheckOffer {
        day: row.day_on,
        checks: ids(row.check_ids)?,
        returns: ids(row.return_check_ids)?,
        from: Id::new(row.from_id),
        to: row.to_id.map(Id::new),
        note: row.note,
        offered_at: row.offered_at,
        state,
    };
    Ok(KeptOffer { id: Id::new(row.id), offer })
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "check_offers")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub day_on: ChronoDate,
        pub check_ids: Json,
        pub return_check_ids: Json,
        pub from_id: Uuid,
        pub to_id: Option<Uuid>,
        pub note: Option<String>,
        pub offered_at: ChronoDateTimeUtc,
        pub state: String,
        pub settled_by: Option<Uuid>,
        pub settled_at: Option<ChronoDateTimeUtc>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
