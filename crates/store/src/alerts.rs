//! Alerts: raised once while they are not closed, seen, closed.

use chrono::{DateTime, Utc};
use fillmark_domain::people::PersonId;
use fillmark_domain::work::{Alert, AlertKind, AlertStanding, AlertState, ClosedBy};
use fillmark_domain::{Coded, Id};
use sea_orm::sea_query::OnConflict;
use sea_orm::{ActiveValue::Unchanged, ColumnTrait, EntityTrait, QueryFilter, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::{Reading, code};
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// An alert as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptAlert {
    /// Its id.
    pub id: Id<Alert>,
    /// The alert.
    pub alert: Alert,
    /// Who had seen it before it was closed, and when.
    pub seen: Option<(Uuid, DateTime<Utc>)>,
}

/// Raises an alert, unless one of its kind about the same record is not closed yet; then nothing happens.
/// # Errors
/// When the database fails.
pub async fn raise(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    kind: AlertKind,
    about: Uuid,
    (whom, text): (Option<PersonId>, &str),
) -> Result<Option<Id<Alert>>, StoreError> {
    let id = stamp.fresh::<Alert>();
    let row = row::ActiveModel {
        site_id: Set(site.uuid()),
        id: Set(id.uuid()),
        kind: Set(code(kind)),
        about_id: Set(about),
        person_id: Set(whom.map(Id::uuid)),
        text: Set(text.to_owned()),
        raised_at: Set(stamp.at),
        state: Set(code(AlertStanding::Open)),
        ..Default::default()
    };
    let raised = row::Entity::insert(row)
        .on_conflict(OnConflict::new().do_nothing().to_owned())
        .exec_without_returning(&tx.0)
        .await?;
    if raised == 0 {
        return Ok(None);
    }
    journal::append(
        tx,
        site,
        stamp,
        "raised",
        "alert",
        id.uuid(),
        serde_json::json!({ "kind": kind.code() }),
    )
    .await?;
    Ok(Some(id))
}

/// What is told by the alert of this kind about this record that is not closed, as it is now. Who saw it need not see it again.
/// # Errors
/// When the database fails.
pub async fn retell(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    kind: AlertKind,
    about: Uuid,
    text: &str,
) -> Result<(), StoreError> {
    let kept = lock_unclosed(tx, site, kind, about).await?;
    let Some(kept) = kept.filter(|kept| kept.alert.text != text) else { return Ok(()) };
    let row = row::ActiveModel {
        site_id: Unchanged(site.uuid()),
        id: Unchanged(kept.id.uuid()),
        text: Set(text.to_owned()),
        ..Default::default()
    };
    row::Entity::update(row).exec(&tx.0).await?;
    journal::note(tx, site, stamp, "retold", "alert", kept.id.uuid()).await
}

/// The alert with this id, locked for a change.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock(tx: &Tx, site: SiteScope, id: Id<Alert>) -> Result<Option<KeptAlert>, StoreError> {
    let row = of_site(site).filter(row::Column::Id.eq(id.uuid())).lock_exclusive().one(&tx.0).await?;
    Ok(row.map(read).transpose()?)
}

/// The alert of this kind about this record that is not closed, locked for a change.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock_unclosed(
    tx: &Tx,
    site: SiteScope,
    kind: AlertKind,
    about: Uuid,
) -> Result<Option<KeptAlert>, StoreError> {
    let row = of_site(site)
        .filter(row::Column::Kind.eq(code(kind)))
        .filter(row::Column::AboutId.eq(about))
        .filter(row::Column::ClosedAt.is_null())
        .lock_exclusive()
        .one(&tx.0)
        .await?;
    Ok(row.map(read).transpose()?)
}

/// The alert of this kind about this record that is not closed, if there is one, is for the first of these people, unless it is for one
/// of them already. Nobody has seen it then.
/// # Errors
/// When the database fails.
pub async fn readdress(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    kind: AlertKind,
    about: Uuid,
    holders: &[PersonId],
) -> Result<(), StoreError> {
    let is_theirs = |kept: &KeptAlert| match kept.alert.whom {
        Some(whom) => holders.contains(&whom),
        None => holders.is_empty(),
    };
    let Some(kept) = lock_unclosed(tx, site, kind, about).await?.filter(|kept| !is_theirs(kept)) else {
        return Ok(());
    };
    let row = row::ActiveModel {
        site_id: Unchanged(site.uuid()),
        id: Unchanged(kept.id.uuid()),
        person_id: Set(holders.first().map(|person| person.uuid())),
        state: Set(code(AlertStanding::Open)),
        seen_by: Set(None),
        seen_at: Set(None),
        ..Default::default()
    };
    row::Entity::update(row).exec(&tx.0).await?;
    journal::note(tx, site, stamp, "readdressed", "alert", kept.id.uuid()).await
}

/// Keeps what became of an alert.
/// # Errors
/// When the database fails.
pub async fn settle(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    id: Id<Alert>,
    state: AlertState,
) -> Result<(), StoreError> {
    let mut row = row::ActiveModel {
        site_id: Unchanged(site.uuid()),
        id: Unchanged(id.uuid()),
        state: Set(code(state.standing())),
        ..Default::default()
    };
    match state {
        AlertState::Open => {}
        AlertState::Seen { by, at } => (row.seen_by, row.seen_at) = (Set(Some(by.uuid())), Set(Some(at))),
        AlertState::Closed { by, at } => {
            row.closed_at = Set(Some(at));
            match by {
                ClosedBy::Person(person) => row.closed_by_person = Set(Some(person.uuid())),
                ClosedBy::Record(record) => row.closed_by_record = Set(Some(record)),
                ClosedBy::Over => {}
            }
        }
    }
    row::Entity::update(row).exec(&tx.0).await?;
    journal::note(tx, site, stamp, state.standing().code(), "alert", id.uuid()).await
}

/// A page of a site's alerts.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, site: SiteScope, query: &PageQuery) -> Result<Page<KeptAlert>, StoreError> {
    let rows = page_of(tx, of_site(site), query).await?;
    let items = rows.items.into_iter().map(read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: rows.next })
}

/// The alerts of a kind that were ever raised about some records: about which, and when it was closed.
/// # Errors
/// When the database fails.
pub async fn ever_about(
    tx: &Tx,
    site: SiteScope,
    kind: AlertKind,
    about: &[Uuid],
) -> Result<Vec<(Uuid, Option<DateTime<Utc>>)>, StoreError> {
    let rows = of_site(site)
        .filter(row::Column::Kind.eq(code(kind)))
        .filter(row::Column::AboutId.is_in(about.iter().copied()))
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(|row| (row.about_id, row.closed_at)).collect())
}

/// The records that alerts of a kind which are not closed are about.
/// # Errors
/// When the database fails.
pub async fn about_unclosed(tx: &Tx, site: SiteScope, kind: AlertKind) -> Result<Vec<Uuid>, StoreError> {
    let unclosed =
        of_site(site).filter(row::Column::Kind.eq(code(kind))).filter(row::Column::ClosedAt.is_null());
    let rows = unclosed.all(&tx.0).await?;
    Ok(rows.into_iter().map(|row| row.about_id).collect())
}

/// The records that alerts of a kind which were raised since an instant and are not closed are about.
/// # Errors
/// When the database fails.
pub async fn about_unclosed_since(
    tx: &Tx,
    site: SiteScope,
    kind: AlertKind,
    since: DateTime<Utc>,
) -> Result<Vec<Uuid>, StoreError> {
    let unclosed = of_site(site)
        .filter(row::Column::Kind.eq(code(kind)))
        .filter(row::Column::ClosedAt.is_null())
        .filter(row::Column::RaisedAt.gte(since));
    let rows = unclosed.all(&tx.0).await?;
    Ok(rows.into_iter().map(|row| row.about_id).collect())
}

/// The records about which people have closed alerts of a kind since an instant.
/// # Errors
/// When the database fails.
pub async fn closed_by_people(
    tx: &Tx,
    site: SiteScope,
    kind: AlertKind,
    since: DateTime<Utc>,
) -> Result<Vec<Uuid>, StoreError> {
    let closed = of_site(site)
        .filter(row::Column::Kind.eq(code(kind)))
        .filter(row::Column::ClosedByPerson.is_not_null())
        .filter(row::Column::ClosedAt.gte(since));
    let rows = closed.all(&tx.0).await?;
    Ok(rows.into_iter().map(|row| row.about_id).collect())
}

fn of_site(site: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(site.uuid()))
}

fn read(row: row::Model) -> Result<KeptAlert, BrokenRow> {
    let reading = Reading { table: "alerts", id: row.id };
    let seen = row.seen_by.zip(row.seen_at);
    let state = match (reading.code(&row.state)?, seen, row.closed_at) {
        (AlertStanding::Open, _, None) => AlertState::Open,
        (AlertStanding::Seen, Some((by, at)), None) => AlertState::Seen { by: Id::new(by), at },
        (AlertStanding::Closed, _, Some(at)) => AlertState::Closed { by: closed_by(&row), at },
        _ => return Err(reading.broken(format!("{} does not go with its instants", row.state))),
    };
    let alert = Alert {
        site: Id::new(row.site_id),
        kind: reading.code(&row.kind)?,
        about: row.about_id,
        whom: row.person_id.map(Id::new),
        text: row.text,
        raised_at: row.raised_at,
        state,
    };
    Ok(KeptAlert { id: Id::new(row.id), alert, seen })
}

fn closed_by(row: &row::Model) -> ClosedBy {
    match (row.closed_by_person, row.closed_by_record) {
        (Some(person), _) => ClosedBy::Person(Id::new(person)),
        (None, Some(record)) => ClosedBy::Record(record),
        (None, None) => ClosedBy::Over,
    }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "alerts")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub kind: String,
        pub about_id: Uuid,
        pub person_id: Option<Uuid>,
        pub text: String,
        pub raised_at: ChronoDateTimeUtc,
        pub state: String,
        pub seen_by: Option<Uuid>,
        pub seen_at: Option<ChronoDateTimeUtc>,
        pub closed_by_person: Option<Uuid>,
        pub closed_by_record: Option<Uuid>,
        pub closed_at: Option<ChronoDateTimeUtc>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
