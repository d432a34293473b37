//! What people leave for the next to know.

use fillmark_domain::people::Act;
use fillmark_domain::places::{Room, SiteId};
use fillmark_domain::work::{HandoverNote, NoteAbout};
use fillmark_domain::{Faults, Id};
use fillmark_store::handover_notes::{self, KeptNote};
use fillmark_store::{Page, PageQuery, checks, records};

use crate::known::refuse_unknown;
use crate::{App, Caller, Refusal};

/// The caller leaves a note about a check or a room.
/// # Errors
/// When the caller may not, or there is no such check or room.
pub async fn write(
    app: &App,
    caller: &Caller,
    site: SiteId,
    about: NoteAbout,
    text: String,
) -> Result<KeptNote, Refusal> {
    let site = caller.may(Act::EnterWork, site)?;
    let written_by = caller.person().ok_or(Refusal::NotSignedIn)?;
    let stamp = app.stamp(caller);

    let tx = app.store.begin().await?;
    let mut faults = Faults::default();
    match about {
        NoteAbout::Check(check) => {
            let there = checks::find(&tx, site, check).await?.is_some();
            refuse_unknown(&mut faults, "/check_id", there);
        }
        NoteAbout::Room(room) => {
            let there = records::find::<Room>(&tx, site, room).await?.is_some();
            refuse_unknown(&mut faults, "/room_id", there);
        }
    }
    faults.or(Some(()))?;
    let note = HandoverNote { about, text, written_by, written_at: stamp.at, seen: None };
    let id = handover_notes::keep(&tx, site, &stamp, &note).await?;
    tx.commit().await?;

    Ok(KeptNote { id, note })
}

/// A page of a site's notes.
/// # Errors
/// When the caller may not read them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<KeptNote>, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(handover_notes::page(&tx, site, query).await?)
}

/// The caller has seen a note. Who saw it first stays.
/// # Errors
/// When the caller may not, it is not there, or it is their own.
pub async fn see(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<HandoverNote>,
) -> Result<KeptNote, Refusal> {
    let site = caller.may(Act::EnterWork, site)?;
    let person = caller.person().ok_or(Refusal::NotSignedIn)?;
    let stamp = app.stamp(caller);

    let tx = app.store.begin().await?;
    let KeptNote { note, .. } = handover_notes::lock(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    let before = note.seen;
    let note = note.seen(stamp.at, person).map_err(|own| Refusal::Conflict(own.to_string()))?;
    let kept = KeptNote { id, note };
    if kept.note.seen != before {
        handover_notes::see(&tx, site, &stamp, &kept).await?;
        tx.commit().await?;
    }
    Ok(kept)
}
