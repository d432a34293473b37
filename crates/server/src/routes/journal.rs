//! The journal of a site and of the business.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get};
use fillmark_actions::journal;
use fillmark_api::{Instant, JournalEntry, Listed};
use fillmark_domain::Id;
use fillmark_domain::people::PersonId;
use fillmark_store::journal::Entry;
use fillmark_store::{BusinessScope, SiteScope};
use utoipa_actix_web::service_config::ServiceConfig;
use uuid::Uuid;

use crate::http::list::{Asked, ListKind};
use crate::http::{AppData, ListQuery, ReadProblems, Refused, SignedIn};

type Entries = Listed<JournalEntry>;

/// Registers them.
pub fn routes(config: &mut ServiceConfig) {
    config.service(list_site_journal).service(list_journal);
}

const LIST: ListKind = ListKind {
    ordered_by: &["id", "at"],
    narrowed_by: &["record_id", "person_id"],
    archives: false,
    named: false,
    recorded: Some("at"),
    coded_by: &["word", "deed"],
};

/// List what was done at a site.
///
/// Oldest first unless `sort` says otherwise (`sort=-id`).
#[utoipa::path(tag = "reports", operation_id = "list_site_journal", security(("bearer" = [])),
    params(ListQuery, ("word" = Option<String>, Query, description = "Only of this kind of record; repeated, any of them"),
        ("deed" = Option<String>, Query, description = "Only this deed; repeated, any of them"),
        ("record_id" = Option<Uuid>, Query, description = "Only of this record"),
        ("person_id" = Option<Uuid>, Query, description = "Only by this person"),
        ("recorded_from" = Option<Instant>, Query, description = "Done then or later"),
        ("recorded_before" = Option<Instant>, Query, description = "Done before then")),
    responses((status = 200, description = "A page of it", body = Entries), ReadProblems))]
#[get("/sites/{site_id}/journal")]
pub async fn list_site_journal(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, LIST)?;
    let site = Id::new(path.into_inner());
    let page = journal::list::<SiteScope>(&app, &caller.0, site, &asked.page).await?;
    Ok(asked.answer(&request, page, body))
}

/// List what was done to the records of the business.
///
/// Oldest first unless `sort` says otherwise (`sort=-id`).
#[utoipa::path(tag = "reports", operation_id = "list_journal", security(("bearer" = [])),
    params(ListQuery, ("word" = Option<String>, Query, description = "Only of this kind of record; repeated, any of them"),
        ("deed" = Option<String>, Query, description = "Only this deed; repeated, any of them"),
        ("record_id" = Option<Uuid>, Query, description = "Only of this record"),
        ("person_id" = Option<Uuid>, Query, description = "Only by this person"),
        ("recorded_from" = Option<Instant>, Query, description = "Done then or later"),
        ("recorded_before" = Option<Instant>, Query, description = "Done before then")),
    responses((status = 200, description = "A page of it", body = Entries), ReadProblems))]
#[get("/journal")]
pub async fn list_journal(
    app: AppData,
    caller: SignedIn,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, LIST)?;
    let page = journal::list::<BusinessScope>(&app, &caller.0, (), &asked.page).await?;
    Ok(asked.answer(&request, page, body))
}

fn body(entry: Entry) -> JournalEntry {
    JournalEntry {
        id: entry.id,
        at: entry.at.into(),
        person_id: entry.by.map(PersonId::uuid),
        deed: entry.deed,
        word: entry.word,
        record_id: entry.record_id,
        detail: entry.detail,
    }
}
