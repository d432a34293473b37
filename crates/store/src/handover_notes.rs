//! What people leave for the next to know.

use fillmark_domain::Id;
use fillmark_domain::places::Room;
use fillmark_domain::work::{Check, HandoverNote, NoteAbout};
use sea_orm::sea_query::ExprTrait;
use sea_orm::{ActiveValue::Unchanged, ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect, Set};

use crate::columns::Reading;
use crate::records::{Page, PageQuery, page_of};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// What the journal calls them.
const WORD: &str = "handover note";

/// A note as it is kept.
#[derive(Debug, Clone, PartialEq)]
pub struct KeptNote {
    /// Its id.
    pub id: Id<HandoverNote>,
    /// The note.
    pub note: HandoverNote,
}

/// Keeps a new note.
/// # Errors
/// When the database fails.
pub async fn keep(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    note: &HandoverNote,
) -> Result<Id<HandoverNote>, StoreError> {
    let id = stamp.fresh::<HandoverNote>();
    let (check, room) = match note.about {
        NoteAbout::Check(check) => (Some(check.uuid()), None),
        NoteAbout::Room(room) => (None, Some(room.uuid())),
    };
    let row = row::ActiveModel {
        site_id: Set(site.uuid()),
        id: Set(id.uuid()),
        check_id: Set(check),
        room_id: Set(room),
        text: Set(note.text.clone()),
        written_by: Set(note.written_by.uuid()),
        written_at: Set(note.written_at),
        seen_by: Set(None),
        seen_at: Set(None),
    };
    // What people write to each other may speak of people, and the journal is for good.
    let detail = journal::told(&row, &["text"]);
    row::Entity::insert(row).exec_without_returning(&tx.0).await?;
    journal::append(tx, site, stamp, "written", WORD, id.uuid(), detail).await?;
    Ok(id)
}

/// The note with this id, locked for a change.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock(tx: &Tx, site: SiteScope, id: Id<HandoverNote>) -> Result<Option<KeptNote>, StoreError> {
    let row = of_site(site).filter(row::Column::Id.eq(id.uuid())).lock_exclusive().one(&tx.0).await?;
    Ok(row.map(read).transpose()?)
}

/// Keeps who has seen a note.
/// # Errors
/// When the database fails.
pub async fn see(tx: &Tx, site: SiteScope, stamp: &Stamp<'_>, kept: &KeptNote) -> Result<(), StoreError> {
    let row = row::ActiveModel {
        site_id: Unchanged(site.uuid()),
        id: Unchanged(kept.id.uuid()),
        seen_by: Set(kept.note.seen.map(|(by, _)| by.uuid())),
        seen_at: Set(kept.note.seen.map(|(_, at)| at)),
        ..Default::default()
    };
    row::Entity::update(row).exec(&tx.0).await?;
    journal::note(tx, site, stamp, "seen", WORD, kept.id.uuid()).await
}

/// The notes about these checks or rooms that nobody has seen yet, the newest first.
/// # Errors
/// When the database fails or a row is broken.
pub async fn unseen_about(
    tx: &Tx,
    site: SiteScope,
    checks: &[Id<Check>],
    rooms: &[Id<Room>],
) -> Result<Vec<KeptNote>, StoreError> {
    let of_checks = row::Column::CheckId.is_in(checks.iter().map(|id| id.uuid()));
    let of_rooms = row::Column::RoomId.is_in(rooms.iter().map(|id| id.uuid()));
    let unseen = of_site(site).filter(row::Column::SeenAt.is_null()).filter(of_checks.or(of_rooms));
    let rows = unseen.order_by_desc(row::Column::WrittenAt).all(&tx.0).await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// A page of a site's notes.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, site: SiteScope, query: &PageQuery) -> Result<Page<KeptNote>, StoreError> {
    let rows = page_of(tx, of_site(site), query).await?;
    let items = rows.items.into_iter().map(read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: rows.next })
}

fn of_site(site: SiteScope) -> sea_orm::Select<row::Entity> {
    row::Entity::find().filter(row::Column::SiteId.eq(site.uuid()))
}

fn read(row: row::Model) -> Result<KeptNote, BrokenRow> {
    let read = Reading { table: "handover_notes", id: row.id };
    let about = match (row.check_id, row.room_id) {
        (Some(check), None) => NoteAbout::Check(Id::new(check)),
        (None, Some(room)) => NoteAbout::Room(Id::new(room)),
        _ => return Err(read.broken("is neither about a check nor about a room")),
    };
    let note = HandoverNote {
        about,
        text: row.text,
        written_by: Id::new(row.written_by),
        written_at: row.written_at,
        seen: row.seen_by.map(Id::new).zip(row.seen_at),
    };
    Ok(KeptNote { id: Id::new(row.id), note })
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "handover_notes")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub check_id: Option<Uuid>,
        pub room_id: Option<Uuid>,
        pub text: String,
        pub written_by: Uuid,
        pub written_at: ChronoDateTimeUtc,
        pub seen_by: Option<Uuid>,
        pub seen_at: Option<ChronoDateTimeUtc>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
