//! The outermost layer: request ids, one log line a request, problems that name their request, HEAD, and the
//! answer for paths and methods that do not exist.

use std::convert::Infallible;
use std::future::{Ready, ready};
use std::panic::AssertUnwindSafe;
use std::time::Instant;

use actix_web::body::{BoxBody, MessageBody};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::error::InternalError;
use actix_web::http::{Method, header};
use actix_web::middleware::Next;
use actix_web::web::Data;
use actix_web::{Error, FromRequest, HttpMessage, HttpRequest, HttpResponse};
use fillmark_api::ProblemCode;
use futures_util::FutureExt;
use uuid::Uuid;

use super::Refused;
use super::known::KnownPaths;
use super::signed_in::CalledBy;
use crate::metrics::Metrics;

/// Answers what no route took.
pub async fn nothing_here(request: HttpRequest) -> HttpResponse {
    let known = request.app_data::<Data<KnownPaths>>();
    let methods = known.and_then(|known| known.methods(request.path()));
    let id = request.extensions().get::<RequestId>().map(|id| id.0.to_string());
    match methods {
        Some(methods) => {
            let allow = methods.join(", ");
            let refused = Refused::new(ProblemCode::MethodNotAllowed, format!("expected {allow}"));
            let mut response = refused.response(id.as_deref());
            if let Ok(allow) = header::HeaderValue::from_str(&allow) {
                response.headers_mut().insert(header::ALLOW, allow);
            }
            response
        }
        None => Refused::new(ProblemCode::NotFound, "there is no such path").response(id.as_deref()),
    }
}

/// The id of a request, under which the log has it.
#[derive(Debug, Clone, Copy)]
pub struct RequestId(Uuid);

impl RequestId {
    /// The instance of a problem that is about one item of a batch: the request with the item's place in it.
    pub fn instance_of_item(self, at: usize) -> String {
        format!("urn:uuid:{}#/items/{at}", self.0)
    }
}

impl FromRequest for RequestId {
    type Error = Infallible;
    type Future = Ready<Result<Self, Infallible>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(Ok(request.extensions().get::<RequestId>().copied().unwrap_or(RequestId(Uuid::nil()))))
    }
}

/// Wraps every request.
/// # Errors
/// When a request panicked or a layer beneath lost it: the error is the problem that answers it.
pub async fn outer<B>(mut request: ServiceRequest, next: Next<B>) -> Result<ServiceResponse<BoxBody>, Error>
where
    B: MessageBody + 'static,
{
    let began = Instant::now();
    let id =
        request.headers().get("x-request-id").and_then(|id| id.to_str().ok()).and_then(|id| id.parse().ok());
    let id: Uuid = id.unwrap_or_else(Uuid::new_v4);
    request.extensions_mut().insert(RequestId(id));
    if request.method() == Method::HEAD {
        // Routes know GET; the connection leaves the body out by itself.
        request.head_mut().method = Method::GET;
    }
    let mut response = match refused_query(&request) {
        Some(refused) => {
            let answer = refused.response(Some(&id.to_string()));
            request.into_response(answer)
        }
        None => answered(request, next, id).await?,
    };
    mark(response.headers_mut(), id);
    log(&response, id, began);
    Ok(response)
}

fn refused_query(request: &ServiceRequest) -> Option<Refused> {
    let known = request.app_data::<Data<KnownPaths>>()?;
    known.check_query(request.method(), request.path(), request.query_string()).err()
}

/// The route's answer. A panic is our own fault, and an answer all the same.
async fn answered<B>(
    request: ServiceRequest,
    next: Next<B>,
    id: Uuid,
) -> Result<ServiceResponse<BoxBody>, Error>
where
    B: MessageBody + 'static,
{
    let refused = |mut answer: HttpResponse| {
        mark(answer.headers_mut(), id);
        InternalError::from_response("refused", answer).into()
    };
    match AssertUnwindSafe(next.call(request)).catch_unwind().await {
        Ok(Ok(response)) => Ok(named(response.map_into_boxed_body())),
        Ok(Err(error)) => {
            tracing::error!(%error, request = %id, "a request was lost on its way");
            Err(refused(problem_of(&error, id)))
        }
        Err(_) => {
            tracing::error!(request = %id, "a request panicked");
            let failed = Refused::new(ProblemCode::Failed, "the server's log has it under this instance");
            Err(refused(failed.response(Some(&id.to_string()))))
        }
    }
}

/// The request's id, and what tells browsers to guess nothing and to frame nothing.
fn mark(headers: &mut header::HeaderMap, id: Uuid) {
    if let Ok(id) = header::HeaderValue::from_str(&id.to_string()) {
        headers.insert(header::HeaderName::from_static("x-request-id"), id);
    }
    headers.insert(header::X_CONTENT_TYPE_OPTIONS, header::HeaderValue::from_static("nosniff"));
    headers.insert(header::REFERRER_POLICY, header::HeaderValue::from_static("no-referrer"));
    headers.insert(header::X_FRAME_OPTIONS, header::HeaderValue::from_static("DENY"));
}

/// A problem with the request's id in it; other answers as they are.
pub fn named(response: ServiceResponse<BoxBody>) -> ServiceResponse<BoxBody> {
    let Some(error) = response.response().error() else { return response };
    let id = response.request().extensions().get::<RequestId>().map(|id| id.0).unwrap_or_default();
    let has_body = response.request().method() != Method::GET;
    let problem = match error.as_error::<Refused>() {
        Some(refused) if !has_body => refused.clone().of_query().response(Some(&id.to_string())),
        _ => problem_of(error, id),
    };
    response.into_response(problem)
}

fn problem_of(error: &Error, id: Uuid) -> HttpResponse {
    let id = id.to_string();
    match error.as_error::<Refused>() {
        Some(refused) => refused.response(Some(&id)),
        None if error.as_response_error().status_code().is_client_error() => {
            Refused::new(ProblemCode::BadRequest, "a part of the request cannot be read").response(Some(&id))
        }
        None => {
            tracing::error!(%error, request = id, "a request failed");
            Refused::new(ProblemCode::Failed, "the server's log has it under this instance")
                .response(Some(&id))
        }
    }
}

fn log(response: &ServiceResponse<BoxBody>, id: Uuid, began: Instant) {
    let request = response.request();
    if let Some(metrics) = request.app_data::<Data<Metrics>>() {
        metrics.answered(response, began.elapsed());
    }
    let caller = request.extensions().get::<CalledBy>().map(|by| by.0.to_string());
    tracing::info!(
        method = %request.method(),
        route = request.match_pattern().unwrap_or_default(),
        status = response.status().as_u16(),
        duration_ms = began.elapsed().as_millis() as u64,
        request = %id,
        caller,
        site = request.match_info().get("site_id"),
        "request"
    );
}
