//! Problems: the one place that knows which status a refusal gets.

use std::collections::BTreeMap;
use std::fmt;

use actix_web::body::BoxBody;
use actix_web::http::{StatusCode, header};
use actix_web::{HttpResponse, ResponseError};
use fillmark_actions::Refusal;
use fillmark_api::{Problem, ProblemCode, ProblemFault};
use fillmark_domain::Faults;
use utoipa::IntoResponses;
use utoipa::openapi::{ContentBuilder, Ref, RefOr, Response, ResponseBuilder};

/// A refusal on its way out.
#[derive(Debug, Clone)]
pub struct Refused {
    /// What it looks like.
    pub problem: Box<Problem>,
    /// When the same may be tried again, s, where that is known.
    retry_after_s: Option<i64>,
}

impl Refused {
    /// A problem of this kind.
    pub fn new(code: ProblemCode, detail: impl Into<String>) -> Self {
        Refused::of(Problem::new(code, detail))
    }

    /// A problem as it is.
    pub fn of(problem: Problem) -> Self {
        let retry_after_s = match problem.code {
            ProblemCode::KeyInUse => Some(1),
            ProblemCode::Unavailable => Some(2),
            _ => None,
        };
        Refused { problem: Box::new(problem), retry_after_s }
    }

    /// A query parameter that cannot be taken.
    pub fn parameter(name: &str, detail: impl Into<String>) -> Self {
        Refused::parameter_of(ProblemCode::BadRequest, name, detail)
    }

    /// A query parameter with a problem of its own kind.
    pub fn parameter_of(code: ProblemCode, name: &str, detail: impl Into<String>) -> Self {
        let detail = detail.into();
        let mut problem = Problem::new(code, format!("{name}: {detail}"));
        let parameter = Some(name.to_owned());
        problem.errors.push(ProblemFault { pointer: None, parameter, code: "bad_parameter".into(), detail });
        Refused::of(problem)
    }

    /// The problem of a request that has no body: what it names are parameters of the query.
    #[must_use]
    pub fn of_query(mut self) -> Refused {
        for fault in &mut self.problem.errors {
            if let Some(pointer) = fault.pointer.take() {
                fault.parameter = Some(pointer.trim_start_matches('/').to_owned());
            }
        }
        self
    }

    /// The problem of a part, its fields named under the part's own pointer.
    pub fn within(mut self, pointer: &str) -> Self {
        for fault in &mut self.problem.errors {
            fault.pointer = fault.pointer.as_ref().map(|own| format!("{pointer}{own}"));
        }
        self
    }

    fn with(code: ProblemCode, faults: &Faults) -> Self {
        let detail = match faults.iter().count() {
            1 => faults.iter().map(|fault| fault.detail.as_str()).collect(),
            count => format!("{count} fields cannot be taken as they are"),
        };
        let mut problem = Problem::new(code, detail);
        problem.errors = faults
            .iter()
            .map(|fault| ProblemFault {
                pointer: Some(fault.pointer.clone()),
                parameter: None,
                code: fault.code.to_owned(),
                detail: fault.detail.clone(),
            })
            .collect();
        Refused::of(problem)
    }

    /// The answer, naming the request it is for.
    pub fn response(&self, request: Option<&str>) -> HttpResponse {
        let mut problem = self.problem.clone();
        problem.instance = request.map(|id| format!("urn:uuid:{id}")).unwrap_or_default();
        let status = StatusCode::from_u16(problem.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        let mut response = HttpResponse::build(status);
        if problem.code == ProblemCode::NotSignedIn {
            response.insert_header((header::WWW_AUTHENTICATE, "Bearer"));
        }
        if let Some(seconds) = self.retry_after_s {
            response.insert_header((header::RETRY_AFTER, seconds.to_string()));
        }
        response.insert_header((header::CACHE_CONTROL, "no-store"));
        let body = serde_json::to_string(&problem).unwrap_or_default();
        response.content_type("application/problem+json").body(body)
    }
}

impl fmt::Display for Refused {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.problem.detail)
    }
}

impl ResponseError for Refused {
    fn status_code(&self) -> StatusCode {
        StatusCode::from_u16(self.problem.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    fn error_response(&self) -> HttpResponse<BoxBody> {
        self.response(None)
    }
}

impl From<Faults> for Refused {
    fn from(faults: Faults) -> Self {
        Refused::with(ProblemCode::Invalid, &faults)
    }
}

impl From<Refusal> for Refused {
    fn from(refusal: Refusal) -> Self {
        use ProblemCode as Code;
        let text = refusal.to_string();
        match refusal {
            Refusal::NotSignedIn | Refusal::WrongPassword => Refused::new(Code::NotSignedIn, text),
            Refusal::TooSoon { wait_s } => {
                Refused { retry_after_s: Some(wait_s), ..Refused::new(Code::Throttled, text) }
            }
            Refusal::NotAllowed(_) => {
                Refused::new(Code::NotAllowed, "your role at this site does not allow this")
            }
            Refusal::NotTheirs(_) => Refused::new(Code::NotAllowed, text),
            Refusal::NotFound => Refused::new(Code::NotFound, text),
            Refusal::Stale => Refused::new(Code::Stale, text),
            Refusal::Taken => Refused::new(Code::NameInUse, text),
            Refusal::Invalid(faults) => Refused::with(Code::Invalid, &faults),
            Refusal::Unconfirmed(faults) => Refused::with(Code::ConfirmationNeeded, &faults),
            Refusal::Conflict(_) => Refused::new(Code::Conflict, text),
            Refusal::OutOfStock(faults) => Refused::with(Code::OutOfStock, &faults),
            Refusal::ClientIdReused => Refused::new(Code::ClientIdReused, text),
            Refusal::KeyInUse => Refused::new(Code::KeyInUse, text),
            Refusal::KeyReused => Refused::new(Code::KeyReused, text),
            Refusal::Unavailable(error) => {
                tracing::error!(error = &error as &dyn std::error::Error, "the database is not available");
                Refused::new(Code::Unavailable, "try again in a moment")
            }
            Refusal::Failed(error) => {
                tracing::error!(error = &error as &dyn std::error::Error, "an action failed");
                Refused::new(Code::Failed, "the server's log has it under this instance")
            }
        }
    }
}

/// The refusals that any route which reads can give.
pub struct ReadProblems;

/// The refusals that any route which is asked with a body and keeps nothing can give.
pub struct AskProblems;

/// The refusals that any route which writes can give.
pub struct WriteProblems;

const READ: [ProblemCode; 8] = {
    use ProblemCode as C;
    [
        C::BadRequest,
        C::NotSignedIn,
        C::NotAllowed,
        C::NotFound,
        C::Invalid,
        C::Throttled,
        C::Failed,
        C::Unavailable,
    ]
};
const ASK: [ProblemCode; 10] = {
    use ProblemCode as C;
    [
        C::BadRequest,
        C::NotSignedIn,
        C::NotAllowed,
        C::NotFound,
        C::TooLarge,
        C::UnsupportedMediaType,
        C::Invalid,
        C::Throttled,
        C::Failed,
        C::Unavailable,
    ]
};
const WRITE: [ProblemCode; 13] = {
    use ProblemCode as C;
    [
        C::BadRequest,
        C::NotSignedIn,
        C::NotAllowed,
        C::NotFound,
        C::Conflict,
        C::Stale,
        C::TooLarge,
        C::UnsupportedMediaType,
        C::Invalid,
        C::VersionRequired,
        C::Throttled,
        C::Failed,
        C::Unavailable,
    ]
};

impl IntoResponses for ReadProblems {
    fn responses() -> BTreeMap<String, RefOr<Response>> {
        by_reference(&READ)
    }
}

impl IntoResponses for AskProblems {
    fn responses() -> BTreeMap<String, RefOr<Response>> {
        by_reference(&ASK)
    }
}

impl IntoResponses for WriteProblems {
    fn responses() -> BTreeMap<String, RefOr<Response>> {
        by_reference(&WRITE)
    }
}

fn by_reference(codes: &[ProblemCode]) -> BTreeMap<String, RefOr<Response>> {
    codes
        .iter()
        .map(|code| (code.status().to_string(), Ref::from_response_name(code.code()).into()))
        .collect()
}

/// The shared responses that the document's operations refer to.
pub fn components() -> impl Iterator<Item = (&'static str, Response)> {
    ProblemCode::ALL.iter().map(|code| {
        let content = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem"))).build();
        let response =
            ResponseBuilder::new().description(code.title()).content("application/problem+json", content);
        (code.code(), response.build())
    })
}
