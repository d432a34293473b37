//! What stands outside `/api/v1`: health, and the pages about problems.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use actix_web::http::header;
use actix_web::web::{Data, Path};
use actix_web::{HttpRequest, HttpResponse, get};
use fillmark_actions::App;
use fillmark_api::{ProblemCode, Readiness};
use sha2::{Digest, Sha256};

use crate::http::Refused;

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
    tag: String,
}

impl DocumentText {
    /// A document.
    pub fn of(text: &'static str) -> Self {
        Self { text, tag: format!("\"{:x}\"", Sha256::digest(text.as_bytes())) }
    }
}

/// This document.
#[utoipa::path(tag = "system", operation_id = "read_document",
    responses((status = 200, description = "OpenAPI 3.1", body = serde_json::Value), (status = 304, description = "The client has it")))]
#[get("/api/v1/openapi.json")]
pub async fn read_document(document: Data<DocumentText>, request: HttpRequest) -> HttpResponse {
    let known = request.headers().get(header::IF_NONE_MATCH).and_then(|known| known.to_str().ok());
    if known == Some(document.tag.as_str()) {
        return HttpResponse::NotModified().insert_header((header::ETAG, document.tag.clone())).finish();
    }
    HttpResponse::Ok()
        .insert_header((header::ETAG, document.tag.clone()))
        .content_type("application/json")
        .body(document.text)
}

/// The process is alive. Touches nothing.
#[utoipa::path(tag = "system", operation_id = "read_health", responses((status = 200, description = "Alive", body = String, content_type = "text/plain")))]
#[get("/healthz")]
pub async fn read_health() -> HttpResponse {
    HttpResponse::Ok().content_type("text/plain; charset=utf-8").body("alive\n")
}

/// The server can do its work: it takes requests and the database answers.
#[utoipa::path(tag = "system", operation_id = "read_readiness", responses(
    (status = 200, description = "Ready", body = Readiness), (status = 503, description = "Not ready, with the reasons", body = Readiness)))]
#[get("/readyz")]
pub async fn read_readiness(app: Data<App>, ready: Data<Ready>) -> HttpResponse {
    let database = tokio::time::timeout(std::time::Duration::from_secs(1), app.store.ping()).await;
    let database = matches!(database, Ok(Ok(())));
    let readiness = Readiness { takes_work: ready.is_set(), database };
    if readiness.is_ready() {
        HttpResponse::Ok().json(readiness)
    } else {
        HttpResponse::ServiceUnavailable().insert_header(("Retry-After", "2")).json(readiness)
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
