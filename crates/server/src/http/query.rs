//! Reading queries, with errors that name the parameter.

use std::future::{Ready, ready};

use actix_web::dev::Payload;
use actix_web::{FromRequest, HttpRequest};
use serde::de::DeserializeOwned;

use super::Refused;

/// The parameters of a query, as their route wants them.
#[derive(Debug)]
pub struct Query<T>(pub T);

impl<T: DeserializeOwned> FromRequest for Query<T> {
    type Error = Refused;
    type Future = Ready<Result<Self, Refused>>;

    fn from_request(request: &HttpRequest, _: &mut Payload) -> Self::Future {
        ready(read(request.query_string()).map(Query))
    }
}

/// The names and values of a query, in its order.
pub fn pairs(query: &str) -> Vec<(String, String)> {
    form_urlencoded::parse(query.as_bytes()).into_owned().collect()
}

/// The text of a query with these names and values.
pub fn text(pairs: &[(String, String)]) -> String {
    form_urlencoded::Serializer::new(String::new()).extend_pairs(pairs).finish()
}

fn read<T: DeserializeOwned>(query: &str) -> Result<T, Refused> {
    let parameters = serde_urlencoded::Deserializer::new(form_urlencoded::parse(query.as_bytes()));
    serde_path_to_error::deserialize(parameters)
        .map_err(|error| refused(&error.path().to_string(), &error.inner().to_string()))
}

/// A parameter that is missing or doubled stands in the text only.
fn refused(path: &str, text: &str) -> Refused {
    match text.split('`').collect::<Vec<_>>()[..] {
        ["missing field ", name, ..] => Refused::parameter(name, "is missing"),
        ["duplicate field ", name, ..] => Refused::parameter(name, "is there more than once"),
        _ => Refused::parameter(path, expected(text)),
    }
}

/// What was expected, by what the parser of it says.
fn expected(text: &str) -> String {
    let says = |parts: &[&str]| parts.iter().any(|part| text.contains(part));
    if says(&["invalid digit", "parse integer"]) {
        "expected a whole number".to_owned()
    } else if says(&["number too"]) {
        "expected a number that is not so far out".to_owned()
    } else if says(&["out of range", "invalid characters", "end of input", "trailing input"]) {
        "expected a date, 2026-11-24 for example".to_owned()
    } else if says(&["not `true` or `false`"]) {
        "expected true or false".to_owned()
    } else if says(&["UUID"]) {
        "expected an id".to_owned()
    } else {
        format!("cannot be read: {text}")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[derive(Debug, serde::Deserialize)]
    #[expect(dead_code, reason = "only the errors matter here")]
    struct Days {
        from_on: chrono::NaiveDate,
        horizon_days: Option<u16>,
    }

    #[track_caller]
    fn check(query: &str, detail: &str) {
        let problem = read::<Days>(query).unwrap_err().problem;
        assert_eq!(problem.detail, detail, "{query}");
        let parameter = problem.errors.first().and_then(|fault| fault.parameter.as_deref());
        assert_eq!(parameter, detail.split(':').next());
    }

    #[test]
    fn errors_name_the_parameter() {
        check("", "from_on: is missing");
        check("from_on=2026-13-01", "from_on: expected a date, 2026-11-24 for example");
        check("from_on=2026-11-25&horizon_days=x", "horizon_days: expected a whole number");
        check(
            "from_on=2026-11-25&horizon_days=70000",
            "horizon_days: expected a number that is not so far out",
        );
        check("from_on=tomorrow", "from_on: expected a date, 2026-11-24 for example");
        check("from_on=2026-11-25&from_on=2026-11-26", "from_on: is there more than once");
    }

    #[test]
    fn what_is_written_is_read_again() {
        let names =
            [("q".to_owned(), "Thaï & basil=1 %".to_owned()), ("sort".to_owned(), "-name".to_owned())];
        assert_eq!(pairs(&text(&names)), names);
    }
}
