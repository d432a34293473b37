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

/// Less free space than this part of a disk, and its next write may fail: 5 % of a small disk is little...
const LEAST_FREE_PERCENT: f64 = 5.0;
/// ...while 5 % of a large or shared one is plenty: whoever has so much free, B, is never short of it.
const AMPLE_BYTES: u64 = 2 << 30;
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
    let space = folder.0.as_deref().and_then(Space::of);
    let age = pulse.age(app.now());
    let missing = [
        (!ready.is_set(), "it takes no work"),
        (!database, "its database is silent"),
        (database && !schema, "its database lacks changes of the schema"),
        (space.as_ref().is_some_and(Space::is_short), "its disk is nearly full"),
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
        disk_free_percent: space.as_ref().map(Space::percent),
        disk_free_bytes: space.map(|space| space.free),
        last_beat_s: age.and_then(|age| u64::try_from(age.num_seconds()).ok()),
        reasons,
    })
}

/// The disk of a folder, B.
struct Space {
    /// Free for whoever is not root.
    free: u64,
    whole: u64,
}

impl Space {
    fn of(folder: &FilePath) -> Option<Space> {
        let disk = rustix::fs::statvfs(folder).ok()?;
        Some(Space { free: disk.f_bavail * disk.f_frsize, whole: disk.f_blocks * disk.f_frsize })
    }

    fn percent(&self) -> f64 {
        let percent = self.free as f64 / self.whole.max(1) as f64 * 100.0;
        (percent * 10.0).round() / 10.0
    }

    fn is_short(&self) -> bool {
        self.percent() < LEAST_FREE_PERCENT && self.free < AMPLE_BYTES
    }
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

#[cfg(test)]
mod tests {
    use super::Space;

    const GIB: u64 = 1 << 30;

    #[test]
    fn a_disk_is_short_of_space_by_its_part_and_by_bytes() {
        // (free, whole, short)
        let disks = [
            (GIB / 2, 20 * GIB, true),   // 2.5 % of a small disk
            (GIB, 10 * GIB, false),      // 10 % of a smaller one
            (6 * GIB, 250 * GIB, false), // 2.4 % of a large one is still ample
            (GIB, 250 * GIB, true),
            (0, 0, true), // a quota of nothing
        ];
        for (free, whole, short) in disks {
            assert_eq!(Space { free, whole }.is_short(), short, "{free} of {whole}");
        }
    }
}
