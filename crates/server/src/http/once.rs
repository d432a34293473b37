//! `Idempotency-Key`: a POST that comes again under its key is answered as it was, and has no second effect.

use actix_web::body::{BoxBody, MessageBody, to_bytes};
use actix_web::dev::{Payload, ServiceRequest, ServiceResponse};
use actix_web::http::{StatusCode, header};
use actix_web::middleware::Next;
use actix_web::web::{Bytes, Data};
use actix_web::{Error, HttpMessage, HttpResponse};
use fillmark_actions::answers::{self, Pending, Turn};
use fillmark_actions::{App, Refusal};
use fillmark_api::ProblemCode;
use fillmark_store::answers::{Answer, Asked};
use sha2::{Digest, Sha256};

use super::known::KnownPaths;
use super::outer::named;
use super::{AppData, Refused, SignedIn, body};

/// The header that carries the key.
pub const KEY: &str = "idempotency-key";
/// The header of an answer that was given before.
const REPLAYED: &str = "idempotency-replayed";
/// How long a key may be.
const LENGTHS: std::ops::RangeInclusive<usize> = 16..=128;

/// Wraps every request; those without a key, and those of nobody who is signed in, pass through.
/// # Errors
/// What the layers beneath fail with.
pub async fn once<B>(mut request: ServiceRequest, next: Next<B>) -> Result<ServiceResponse<BoxBody>, Error>
where
    B: MessageBody + 'static,
{
    match turn(&mut request).await {
        Err(refused) => Ok(request.error_response(refused)),
        Ok(None) => Ok(next.call(request).await?.map_into_boxed_body()),
        Ok(Some((_, Turn::Again(answer)))) => Ok(request.into_response(replayed(&answer))),
        Ok(Some((app, Turn::First(pending)))) => {
            request.extensions_mut().insert(pending.within.clone());
            let response = next.call(request).await?.map_into_boxed_body();
            Ok(finish(&app, *pending, response).await)
        }
    }
}

/// Whose turn a request with a key is; nothing for one that passes through.
async fn turn(request: &mut ServiceRequest) -> Result<Option<(App, Turn)>, Refused> {
    if !request.headers().contains_key(KEY) {
        return Ok(None);
    }
    let known = request.app_data::<Data<KnownPaths>>();
    if !known.is_some_and(|known| known.takes_key(request.method(), request.path())) {
        return Ok(None);
    }
    let Ok(SignedIn(caller)) = request.extract::<SignedIn>().await else { return Ok(None) };
    let key = key(request)?;
    let bytes = body::read_in_time(&mut request.take_payload()).await?;
    let asked = Asked {
        caller: caller.id().ok_or(Refusal::NotSignedIn)?,
        key,
        route: format!("{} {}", request.method(), request.path()),
        body_hash: format!("{:x}", Sha256::digest(&bytes)),
    };
    request.set_payload(Payload::from(Bytes::from(bytes)));
    let app = request.extract::<AppData>().await?.0;
    let turn = answers::begin(&app, asked).await?;
    Ok(Some((app, turn)))
}

/// Keeps the answer of what was done. A refusal did nothing, so the same request may do better another time: when the stock has
/// come, or the load is less.
async fn finish(app: &App, pending: Pending, response: ServiceResponse<BoxBody>) -> ServiceResponse<BoxBody> {
    let response = named(response);
    if !response.status().is_success() {
        return response;
    }
    let (request, response) = response.into_parts();
    match keep(app, pending, response).await {
        Ok(response) => ServiceResponse::new(request, response),
        Err(refused) => ServiceResponse::from_err(refused, request),
    }
}

async fn keep(app: &App, pending: Pending, response: HttpResponse) -> Result<HttpResponse, Refused> {
    let (head, body) = response.into_parts();
    let unreadable = |_| Refused::new(ProblemCode::Failed, "the answer could not be kept");
    let bytes = to_bytes(body).await.map_err(unreadable)?;
    let text = |name| head.headers().get(name).and_then(|value| value.to_str().ok()).map(str::to_owned);
    let answer = Answer {
        status: head.status().as_u16(),
        content_type: text(header::CONTENT_TYPE),
        etag: text(header::ETAG),
        location: text(header::LOCATION),
        body: String::from_utf8_lossy(&bytes).into_owned(),
    };
    answers::finish(app, pending, &answer).await?;
    Ok(head.set_body(BoxBody::new(bytes)))
}

fn replayed(answer: &Answer) -> HttpResponse {
    let status = StatusCode::from_u16(answer.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
    let mut response = HttpResponse::build(status);
    let kept = [
        (header::CONTENT_TYPE, &answer.content_type),
        (header::ETAG, &answer.etag),
        (header::LOCATION, &answer.location),
    ];
    for (name, value) in kept {
        if let Some(value) = value {
            response.insert_header((name, value.as_str()));
        }
    }
    response.insert_header((REPLAYED, "true")).body(answer.body.clone())
}

/// Bare, or quoted as a structured field.
fn key(request: &ServiceRequest) -> Result<String, Refused> {
    let text = request.headers().get(KEY).and_then(|key| key.to_str().ok()).unwrap_or_default().trim();
    let bare = text.strip_prefix('"').and_then(|text| text.strip_suffix('"')).unwrap_or(text);
    let fits = LENGTHS.contains(&bare.len()) && bare.bytes().all(|byte| byte.is_ascii_graphic());
    let expected = "Idempotency-Key: expected 16 to 128 visible characters, a UUID for example";
    fits.then(|| bare.to_owned()).ok_or_else(|| Refused::new(ProblemCode::BadRequest, expected))
}
