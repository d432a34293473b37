//! Reading JSON bodies: bounded in size and time, with errors that name the field.

use std::time::Duration;

use actix_web::dev::Payload;
use actix_web::http::header;
use actix_web::web::BytesMut;
use actix_web::{FromRequest, HttpRequest};
use fillmark_api::{Problem, ProblemCode, ProblemFault};
use futures_util::StreamExt;
use futures_util::future::LocalBoxFuture;
use serde::de::DeserializeOwned;
use serde_json::Value;

use super::Refused;

/// The largest body.
const LARGEST: usize = 1024 * 1024;
/// How JSON writes the one character that text may not hold.
const NUL: &[u8] = b"\\u0000";
/// What the reader says of a number beyond all that a double holds.
const TOO_LARGE: &str = "number out of range";
/// The longest a body may take to arrive.
const LONGEST: Duration = Duration::from_secs(20);

/// A body of JSON.
#[derive(Debug)]
pub struct Json<T>(pub T);

impl<T: DeserializeOwned + 'static> FromRequest for Json<T> {
    type Error = Refused;
    type Future = LocalBoxFuture<'static, Result<Self, Refused>>;

    fn from_request(request: &HttpRequest, payload: &mut Payload) -> Self::Future {
        let is_json = is_json(request);
        let mut payload = payload.take();
        Box::pin(async move {
            if !is_json {
                return Err(Refused::new(ProblemCode::UnsupportedMediaType, "expected application/json"));
            }
            from_slice(&read_in_time(&mut payload).await?).map(Json)
        })
    }
}

fn is_json(request: &HttpRequest) -> bool {
    let kind =
        request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or_default();
    let essence = kind.split(';').next().unwrap_or_default().trim();
    ["application/json", "application/merge-patch+json"].iter().any(|json| essence.eq_ignore_ascii_case(json))
}

/// Reads a body to its end.
/// # Errors
/// When it is too large, takes too long or is cut off.
pub async fn read_in_time(payload: &mut Payload) -> Result<BytesMut, Refused> {
    let read = tokio::time::timeout(LONGEST, read_all(payload)).await;
    read.map_err(|_| Refused::new(ProblemCode::BadRequest, "the body took too long to arrive"))?
}

async fn read_all(payload: &mut Payload) -> Result<BytesMut, Refused> {
    let mut bytes = BytesMut::new();
    while let Some(chunk) = payload.next().await {
        let chunk = chunk.map_err(|_| Refused::new(ProblemCode::BadRequest, "the body was cut off"))?;
        if bytes.len() + chunk.len() > LARGEST {
            return Err(Refused::new(ProblemCode::TooLarge, format!("expected at most {LARGEST} bytes")));
        }
        bytes.extend_from_slice(&chunk);
    }
    Ok(bytes)
}

fn from_slice<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, Refused> {
    // An array would be read as the fields of a body in their order.
    if bytes.iter().find(|byte| !byte.is_ascii_whitespace()).is_some_and(|byte| *byte == b'[') {
        return Err(Refused::new(ProblemCode::BadRequest, "expected a JSON object"));
    }
    // PostgreSQL keeps no text with a NUL in it, so neither database is given any.
    if bytes.windows(NUL.len()).any(|six| six == NUL) {
        return Err(Refused::new(ProblemCode::BadRequest, "expected text without the character U+0000"));
    }
    let mut json = serde_json::Deserializer::from_slice(bytes);
    let read = serde_path_to_error::deserialize(&mut json).map_err(|error| refused(&error))?;
    json.end()
        .map_err(|_| Refused::new(ProblemCode::BadRequest, "expected the end of the body after its JSON"))?;
    Ok(read)
}

/// Reads a value that was merged from a record and a patch.
/// # Errors
/// When a field has the wrong form.
pub fn from_value<T: DeserializeOwned>(value: Value) -> Result<T, Refused> {
    serde_path_to_error::deserialize(value).map_err(|error| refused(&error))
}

fn refused(error: &serde_path_to_error::Error<serde_json::Error>) -> Refused {
    let inner = error.inner();
    let text = inner.to_string();
    let text = text.split(" at line ").next().unwrap_or_default();
    if inner.is_syntax() && text != TOO_LARGE || inner.is_eof() {
        let place = format!("line {} column {}", inner.line(), inner.column());
        return Refused::new(ProblemCode::BadRequest, format!("expected JSON, which breaks off at {place}"));
    }
    let pointer = pointer(&error.path().to_string());
    let detail = match of_calendar(&pointer) {
        // What reads days and clocks says what it stumbled over, not what it wants.
        Some(expected) if !text.contains("expected ") => format!("{expected}: {text}"),
        _ => in_json_words(text),
    };
    let mut problem = Problem::new(ProblemCode::BadRequest, format!("{pointer}: {detail}"));
    problem.errors.push(ProblemFault {
        pointer: Some(pointer),
        parameter: None,
        code: "wrong_form".into(),
        detail,
    });
    Refused::of(problem)
}

/// What is expected of a field that tells a day or the clock of a place, as their names end.
fn of_calendar(pointer: &str) -> Option<&'static str> {
    let is_named = |ending: &str| {
        pointer.trim_end_matches(|last: char| last.is_ascii_digit() || last == '/').ends_with(ending)
    };
    if is_named("_on") {
        Some("expected a day such as 2026-11-24")
    } else if is_named("_local") {
        Some(
            "expected the clock of the site without a zone, such as 2026-11-24T08:00:00, or 08:00:00 where no day is asked for",
        )
    } else {
        None
    }
}

/// What was expected, without the names that numbers have in Rust.
fn in_json_words(text: &str) -> String {
    let Some((found, expected)) = text.rsplit_once("expected ") else { return text.to_owned() };
    let words = match expected {
        "f64" => "a number".to_owned(),
        "u8" => format!("a whole number from 0 to {}", u8::MAX),
        "u16" => format!("a whole number from 0 to {}", u16::MAX),
        "u32" => format!("a whole number from 0 to {}", u32::MAX),
        "u64" | "usize" => "a whole number, not below 0".to_owned(),
        "i16" => format!("a whole number from {} to {}", i16::MIN, i16::MAX),
        "i32" => format!("a whole number from {} to {}", i32::MIN, i32::MAX),
        "i64" => "a whole number".to_owned(),
        other => other.to_owned(),
    };
    format!("{found}expected {words}")
}

/// `items[3].volume` as `/items/3/volume`.
fn pointer(path: &str) -> String {
    if path == "." {
        return String::new();
    }
    let parts = path.replace('[', ".").replace(']', "");
    parts.split('.').filter(|part| !part.is_empty()).map(|part| format!("/{part}")).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    #[expect(dead_code, reason = "only the errors matter here")]
    struct Batch {
        items: Vec<Item>,
    }

    #[derive(Debug, serde::Deserialize)]
    #[serde(deny_unknown_fields)]
    #[expect(dead_code, reason = "only the errors matter here")]
    struct Item {
        volume: f64,
        #[serde(default)]
        rank: u8,
        #[serde(default)]
        due_on: Option<chrono::NaiveDate>,
    }

    #[track_caller]
    fn check(body: &str, pointer: Option<&str>, detail: &str) {
        let problem = from_slice::<Batch>(body.as_bytes()).unwrap_err().problem;
        assert_eq!(problem.errors.first().and_then(|fault| fault.pointer.as_deref()), pointer, "{body}");
        assert!(problem.detail.contains(detail), "{}", problem.detail);
    }

    #[test]
    fn errors_name_the_field() {
        check(r#"{"items": [{"volume": "x"}]}"#, Some("/items/0/volume"), "expected a number");
        check(r#"{"items": [{"volume": 1e400}]}"#, Some("/items/0/volume"), "number out of range");
        check(
            r#"{"items": [{"volume": 1, "colour": 2}]}"#,
            Some("/items/0/colour"),
            "unknown field `colour`",
        );
        check(
            r#"{"items": [{"volume": 1, "rank": 300}]}"#,
            Some("/items/0/rank"),
            "expected a whole number from 0 to 255",
        );
        check(
            r#"{"items": [{"volume": 1, "due_on": "6.4.2027"}]}"#,
            Some("/items/0/due_on"),
            "expected a day such as 2026-11-24: ",
        );
        check(r#"{"items": [{}]}"#, Some("/items/0"), "missing field `volume`");
        check(r#"{"items": ["#, None, "breaks off");
        check(r#"{"items": []} x"#, None, "expected the end");
    }
}
