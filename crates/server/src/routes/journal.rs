//! The journal of a site and of the business.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get};
use fillmark_actions::journal;
use fillmark_api::{Instant, JournalEntry, Listed};
use fillmark_domain::Id;
use fillmark_domain::people::PersonId;
use fillmark_store::journal::Entry;
use fillmark_store::{BusinessScope, SiteScope};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::list::{Asked, ListKind, any_text};
use crate::http::{AppData, ListQuery, Query, ReadProblems, Refused, SignedIn};

type Entries = Listed<JournalEntry>;

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config
        .service(follow_site_journal)
        .service(follow_journal)
        .service(list_site_journal)
        .service(list_journal);
}

const LIST: ListKind = ListKind {
    ordered_by: &["id", "at"],
    narrowed_by: &["record_id", "person_id"],
    archives: false,
    named: false,
    recorded: Some("at"),
    coded_by: &[("word", any_text), ("deed", any_text)],
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

/// How a journal is followed.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct FollowQuery {
    /// The number of the last entry that is known; 0 for none.
    #[serde(default)]
    #[param(minimum = 0, default = 0)]
    after_seq: u64,
    /// How many entries at most.
    #[serde(default = "most")]
    #[param(minimum = 1, maximum = 200, default = 200)]
    limit: u16,
}

fn most() -> u16 {
    200
}

/// Follow what was done at a site.
///
/// Entries in the order of their chain, behind the last that is known: whoever goes on from the last `seq` misses none and
/// gets none twice. An entry appears here within a second or so.
#[utoipa::path(tag = "reports", operation_id = "follow_site_journal", security(("bearer" = [])), params(FollowQuery),
    responses((status = 200, description = "What comes next", body = Vec<JournalEntry>), ReadProblems))]
#[get("/sites/{site_id}/journal/sealed")]
pub async fn follow_site_journal(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    query: Query<FollowQuery>,
) -> Result<HttpResponse, Refused> {
    let (seq, limit) = query.0.read()?;
    let site = Id::new(path.into_inner());
    let entries = journal::follow::<SiteScope>(&app, &caller.0, site, seq, limit).await?;
    Ok(HttpResponse::Ok().json(entries.into_iter().map(body).collect::<Vec<_>>()))
}

/// Follow what was done to the records of the business.
///
/// As the journal of a site is followed.
#[utoipa::path(tag = "reports", operation_id = "follow_journal", security(("bearer" = [])), params(FollowQuery),
    responses((status = 200, description = "What comes next", body = Vec<JournalEntry>), ReadProblems))]
#[get("/journal/sealed")]
pub async fn follow_journal(
    app: AppData,
    caller: SignedIn,
    query: Query<FollowQuery>,
) -> Result<HttpResponse, Refused> {
    let (seq, limit) = query.0.read()?;
    let entries = journal::follow::<BusinessScope>(&app, &caller.0, (), seq, limit).await?;
    Ok(HttpResponse::Ok().json(entries.into_iter().map(body).collect::<Vec<_>>()))
}

impl FollowQuery {
    fn read(&self) -> Result<(i64, u64), Refused> {
        let limit = Some(self.limit).filter(|limit| (1..=200).contains(limit));
        let limit =
            limit.ok_or_else(|| Refused::parameter("limit", "expected a whole number from 1 to 200"))?;
        Ok((i64::try_from(self.after_seq).unwrap_or(i64::MAX), u64::from(limit)))
    }
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
        seq: entry.seal.as_ref().map(|seal| seal.seq),
        hash: entry.seal.map(|seal| seal.hash),
    }
}
