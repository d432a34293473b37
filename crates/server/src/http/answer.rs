//! Answering records: entity tags, locations, and the version a change was made against.

use std::future::{Ready, ready};

use actix_web::body::BoxBody;
use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::{FromRequest, HttpRequest, HttpResponse, Responder};
use fillmark_api::{Body, ProblemCode, Stored};
use serde::Serialize;

use super::Refused;

/// A record that was found or changed: 200 with its entity tag, or 304 when the client has it.
pub struct Found<B>(pub Stored<B>);

/// Something that was made: 201 with where it is.
pub struct Created<T> {
    location: String,
    tag: Option<String>,
    body: T,
}

/// Nothing left to say: 204.
pub struct Gone;

/// The version a change was made against, from `If-Match`.
#[derive(Debug, Clone, Copy)]
pub struct Seen(pub i64);

impl<B: Body> Created<Stored<B>> {
    /// A record that was made at this collection.
    pub fn record(collection: &str, stored: Stored<B>) -> Self {
        let location = format!("{}/{}", collection.trim_end_matches('/'), stored.id);
        Self { location, tag: Some(tag(stored.version)), body: stored }
    }
}

impl<T: Serialize> Created<T> {
    /// Something that is answered at this path.
    pub fn at(location: String, body: T) -> Self {
        Self { location, tag: None, body }
    }
}

impl<T: Serialize> Responder for Created<T> {
    type Body = BoxBody;

    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        let mut response = HttpResponse::Created();
        response.insert_header((header::LOCATION, self.location));
        if let Some(tag) = self.tag {
            response.insert_header((header::ETAG, tag));
        }
        response.json(self.body)
    }
}

impl<B: Body> Responder for Found<B> {
    type Body = BoxBody;

    fn respond_to(self, request: &HttpRequest) -> HttpResponse {
        let tag = tag(self.0.version);
        let known = request.headers().get(header::IF_NONE_MATCH).and_then(|known| known.to_str().ok());
        if known.is_some_and(|known| known.split(',').any(|known| known.trim() == tag)) {
            return HttpResponse::NotModified().insert_header((header::ETAG, tag)).finish();
        }
        HttpResponse::Ok()
            .insert_header((header::ETAG, tag))
            .insert_header((header::CACHE_CONTROL, "private, no-cache"))
            .json(self.0)
    }
}

impl Responder for Gone {
    type Body = BoxBody;

    fn respond_to(self, _: &HttpRequest) -> HttpResponse {
        HttpResponse::NoContent().finish()
    }
}

impl FromRequest for Seen {
    type Error = Refused;
    type Future = Ready<Result<Self, Refused>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        let Some(text) = request.headers().get(header::IF_MATCH).and_then(|text| text.to_str().ok()) else {
            return ready(Err(Refused::new(
                ProblemCode::VersionRequired,
                "send If-Match with the record's entity tag",
            )));
        };
        let version = text.trim().strip_prefix("\"v").and_then(|text| text.strip_suffix('"'));
        let version = version.and_then(|text| text.parse().ok());
        ready(
            version
                .map(Seen)
                .ok_or_else(|| Refused::new(ProblemCode::Stale, "the entity tag fits no version")),
        )
    }
}

fn tag(version: i64) -> String {
    format!("\"v{version}\"")
}
