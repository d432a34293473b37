//! Problems (RFC 9457): what every refusal looks like.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// Declares the stable codes of problems with status, title and explanation.
macro_rules! problem_codes {
    ($($(#[$doc:meta])* $name:ident = $code:literal, $status:literal, $title:literal, $about:literal;)+) => {
        /// The stable word for a kind of problem.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, ToSchema)]
        #[serde(rename_all = "snake_case")]
        pub enum ProblemCode {
            $(#[doc = $about] $name),+
        }

        impl ProblemCode {
            /// Every code.
            pub const ALL: &'static [ProblemCode] = &[$(ProblemCode::$name),+];

            /// The code as it is written.
            pub fn code(self) -> &'static str {
                match self { $(ProblemCode::$name => $code),+ }
            }

            /// The HTTP status it comes with.
            pub fn status(self) -> u16 {
                match self { $(ProblemCode::$name => $status),+ }
            }

            /// Its title, the same for every occurrence.
            pub fn title(self) -> &'static str {
                match self { $(ProblemCode::$name => $title),+ }
            }

            /// What it means and what to do.
            pub fn about(self) -> &'static str {
                match self { $(ProblemCode::$name => $about),+ }
            }
        }
    };
}

problem_codes! {
    BadRequest = "bad_request", 400, "The request cannot be read", "A part of the request has the wrong form: the pointer or parameter names it.";
    CursorMismatch = "cursor_mismatch", 400, "The cursor belongs to another list", "Start from the first page with the filters and order you want.";
    NotSignedIn = "not_signed_in", 401, "Not signed in", "Send a good access token; sign in or refresh to get one.";
    NotAllowed = "not_allowed", 403, "Your role does not allow this", "Somebody with another role at this site can.";
    NotFound = "not_found", 404, "There is no such thing here", "The path or id is wrong, or lies outside your sites.";
    MethodNotAllowed = "method_not_allowed", 405, "This path has no such method", "The Allow header lists those it has.";
    NotAcceptable = "not_acceptable", 406, "No such representation", "The Accept header asks for a type this path does not give.";
    Conflict = "conflict", 409, "The state does not allow this", "Something depends on the record, or its state is past this.";
    KeyInUse = "key_in_use", 409, "The same request is under way", "Send it again after Retry-After, under the same key: it is answered then.";
    NameInUse = "name_in_use", 409, "The name is in use", "Names are unique among what is not archived.";
    Stale = "stale", 412, "Changed by somebody else", "Read the record again and repeat the change against its new version.";
    TooLarge = "too_large", 413, "The body is too large", "Send less at once.";
    UnsupportedMediaType = "unsupported_media_type", 415, "The body has the wrong type", "Send JSON.";
    Invalid = "invalid", 422, "Some fields cannot be taken", "Each is named with what was expected; nothing was kept.";
    ConfirmationNeeded = "confirmation_needed", 422, "This is asked back", "Look again; if it is right, send it with confirmed set to true.";
    OutOfStock = "out_of_stock", 422, "Less is in stock than was asked", "Nothing was drawn; count, receive, or say that it was poured all the same.";
    ClientIdReused = "client_id_reused", 422, "The client id was used for something else", "Make a new client id for each entry.";
    KeyReused = "key_reused", 422, "The key was used for something else", "Make a new Idempotency-Key for each new request.";
    VersionRequired = "version_required", 428, "Say which version you saw", "Send If-Match with the entity tag of the record.";
    Throttled = "throttled", 429, "Too many tries", "Wait as long as Retry-After says.";
    Failed = "failed", 500, "The server failed", "It is in the server's log under the instance id.";
    Unavailable = "unavailable", 503, "Not available right now", "Try again after Retry-After.";
}

/// A refusal.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"type": "/problems/invalid", "title": "Some fields cannot be taken", "status": 422,
    "detail": "1 field cannot be taken", "instance": "urn:uuid:019a0000-0000-7000-8000-000000000000", "code": "invalid",
    "errors": [{"pointer": "/value", "parameter": null, "code": "not_a_value", "detail": "58 [pH] cannot be, expected 0 to 14 [pH]"}]}))]
pub struct Problem {
    /// Path of a page about this kind of problem.
    #[serde(rename = "type")]
    #[schema(max_length = 200)]
    pub kind: String,
    /// The same for every occurrence.
    #[schema(max_length = 200)]
    pub title: String,
    /// The HTTP status.
    #[schema(minimum = 400, maximum = 599)]
    pub status: u16,
    /// About this occurrence.
    #[schema(max_length = 2000)]
    pub detail: String,
    /// The request, as the log has it; of an item of a batch with its place, as in `#/items/3`.
    #[schema(max_length = 60)]
    pub instance: String,
    /// The stable word for this kind.
    pub code: ProblemCode,
    /// The fields or parameters that cannot be taken; empty for other kinds.
    #[schema(max_items = 5000)]
    pub errors: Vec<ProblemFault>,
}

/// One field or parameter that cannot be taken.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProblemFault {
    /// JSON pointer of the field.
    #[schema(max_length = 300)]
    pub pointer: Option<String>,
    /// Name of the query parameter.
    #[schema(max_length = 100)]
    pub parameter: Option<String>,
    /// A stable word for the fault.
    #[schema(max_length = 60)]
    pub code: String,
    /// What was expected.
    #[schema(max_length = 2000)]
    pub detail: String,
}

impl Problem {
    /// A problem of this kind.
    pub fn new(code: ProblemCode, detail: impl Into<String>) -> Self {
        Self {
            kind: format!("/problems/{}", code.code()),
            title: code.title().to_owned(),
            status: code.status(),
            detail: detail.into(),
            instance: String::new(),
            code,
            errors: Vec::new(),
        }
    }
}
