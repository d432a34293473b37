//! What stands outside `/api/v1`: health, and the pages about problems.

use std::path::{Path as FilePath, PathBuf};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, OnceLock};
use std::time::Duration;

use actix_web::http::header;
use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, get};
use chrono::TimeDelta;
use fillmark_actions::App;
use fillmark_api::{ProblemCode, Readiness};
use sha2::{Digest, Sha256};
use tokio::time::timeout;

use crate::http::Refused;
use crate::jobs::Pulse;

/// Whether the server takes new work; cleared first when it shuts down.
#[derive(Debug, Clone, Default)]
pub struct Ready(Arc<AtomicBool>);

impl Ready {
    /// Takes work from now on, or no more.
    pub fn set(&self, ready: bool) {
        self.0.store(ready, Ordering::SeqCst);
    }

    fn is_set(&self) -> bool {
        self.0.load(Ordering::SeqCst)
    }
}

/// The OpenAPI document as text.
pub struct DocumentText {
    text: &'static str,
    /// Made when somebody first asks: most who start a server do not.
    tag: OnceLock<String>,
}

impl DocumentText {
    /// A document.
    pub fn of(text: &'static str) -> Self {
        Self { text, tag: OnceLock::new() }
    }

    fn tag(&self) -> &str {
        self.tag.get_or_init(|| format!("\"{:x}\"", Sha256::digest(self.text.as_bytes())))
    }
}

/// This document.
#[utoipa::path(tag = "system", operation_id = "read_document",
    responses((status = 200, description = "OpenAPI 3.1", body = serde_json::Value), (status = 304, description = "The client has it")))]
#[get("/api/v1/openapi.json")]
pub async fn read_document(document: Data<DocumentText>, request: HttpRequest) -> HttpResponse {
    let known = request.headers().get(header::IF_NONE_MATCH).and_then(|known| known.to_str().ok());
    if known == Some(document.tag()) {
        return HttpResponse::NotModified().insert_header((header::ETAG, document.tag())).finish();
    }
    HttpResponse::Ok()
        .insert_header((header::ETAG, document.tag()))
        .content_type("application/json")
        .body(document.text)
}

/// The process is alive. Touches nothing.
#[utoipa::path(tag = "system", operation_id = "read_health", responses((status = 200, description = "Alive", body = String, content_type = "text/plain")))]
#[get("/healthz")]
pub async fn read_health() -> HttpResponse {
    HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("alive\n")
}

/// Where the embedded database is kept, if it is one.
pub struct KeptIn(pub Option<PathBuf>);

/// Less free space than this, and the next write may fail.
const LEAST_FREE_PERCENT: f64 = 5.0;
/// Jobs that beat every ten seconds and have not for so long are stuck.
const LONGEST_BEAT: TimeDelta = TimeDelta::minutes(3);

/// The server can do its work: it takes requests, the database answers and is of its schema, there is space on its disk, and
/// the jobs beat.
#[utoipa::path(tag = "system", operation_id = "read_readiness", responses(
    (status = 200, description = "Ready", body = Readiness), (status = 503, description = "Not ready, with the reasons", body = Readiness)))]
#[get("/readyz")]
pub async fn read_readiness(
    app: Data<App>,
    ready: Data<Ready>,
    pulse: Data<Pulse>,
    folder: Data<KeptIn>,
) -> HttpResponse {
    let patience = Duration::from_secs(1);
    let schema = fillmark_migrations::is_current(app.store.for_looking());
    let database = matches!(timeout(patience, app.store.ping()).await, Ok(Ok(())));
    let schema = database && !matches!(timeout(patience, schema).await, Ok(Ok(false)));
    let disk_free_percent = folder.0.as_deref().and_then(free_percent);
    let age = pulse.age(app.now());
    let missing = [
        (!ready.is_set(), "it takes no work"),
        (!database, "its database is silent"),
        (database && !schema, "its database lacks changes of the schema"),
        (disk_free_percent.is_some_and(|free| free < LEAST_FREE_PERCENT), "its disk is nearly full"),
        (age.is_some_and(|age| age > LONGEST_BEAT), "its jobs do not beat"),
    ];
    let reasons: Vec<String> =
        missing.iter().filter(|(is, _)| *is).map(|(_, reason)| (*reason).to_owned()).collect();
    let mut response = match reasons.is_empty() {
        true => HttpResponse::Ok(),
        false => HttpResponse::ServiceUnavailable(),
    };
    if !reasons.is_empty() {
        response.insert_header(("Retry-After", "2"));
    }
    response.json(Readiness {
        takes_work: ready.is_set(),
        database,
        schema,
        disk_free_percent,
        last_beat_s: age.and_then(|age| u64::try_from(age.num_seconds()).ok()),
        reasons,
    })
}

/// Free space of a folder's disk for whoever is not root, %.
fn free_percent(folder: &FilePath) -> Option<f64> {
    let disk = rustix::fs::statvfs(folder).ok()?;
    let percent = disk.f_bavail as f64 / disk.f_blocks.max(1) as f64 * 100.0;
    Some((percent * 10.0).round() / 10.0)
}

/// What a problem means and what to do about it.
#[utoipa::path(tag = "system", operation_id = "read_problem_kind", responses(
    (status = 200, description = "About this kind of problem", body = String, content_type = "text/plain"), (status = 404, description = "No such kind", body = fillmark_api::Problem)))]
#[get("/problems/{code}")]
pub async fn read_problem_kind(path: Path<String>) -> Result<HttpResponse, Refused> {
    let code = path.into_inner();
    let kind = ProblemCode::ALL.iter().find(|kind| kind.code() == code);
    let kind = kind.ok_or_else(|| Refused::new(ProblemCode::NotFound, "there is no such kind of problem"))?;
    let text = format!("{} ({})\n\n{}\n", kind.title(), kind.status(), kind.about());
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(text))
}
