//! What the document says there is: paths, their methods, and the parameters that their queries may have.

use std::collections::BTreeMap;
use std::sync::OnceLock;

use actix_web::http::Method;
use serde::Deserialize;

use super::{Refused, query};
use crate::document::KEY_PARAMETER;

/// Every path of the document with its methods and their parameters; read when somebody first asks.
pub struct KnownPaths {
    document: &'static str,
    paths: OnceLock<Vec<(Pattern, Vec<Known>)>>,
}

/// A path of the document by its segments; one in braces is none in particular.
struct Pattern(Vec<Option<String>>);

struct Known {
    method: String,
    query: Vec<String>,
    /// Whether requests come again under a key.
    keyed: bool,
}

#[derive(Default, Deserialize)]
struct Document {
    paths: BTreeMap<String, BTreeMap<String, Operation>>,
}

#[derive(Deserialize)]
struct Operation {
    #[serde(default)]
    parameters: Vec<Parameter>,
}

#[derive(Deserialize)]
struct Parameter {
    #[serde(default)]
    name: String,
    /// Empty for a reference to a parameter that many share: a header.
    #[serde(rename = "in", default)]
    place: String,
    #[serde(rename = "$ref", default)]
    shared: String,
}

impl KnownPaths {
    /// From the text of the document that is served.
    pub fn of(document: &'static str) -> Self {
        KnownPaths { document, paths: OnceLock::new() }
    }

    fn paths(&self) -> &[(Pattern, Vec<Known>)] {
        self.paths.get_or_init(|| {
            let document: Document = serde_json::from_str(self.document).unwrap_or_default();
            let known = |(path, item): (String, _)| (Pattern::of(&path), known(item));
            document.paths.into_iter().map(known).collect()
        })
    }

    /// The methods of a path.
    pub fn methods(&self, path: &str) -> Option<Vec<&str>> {
        let (_, known) = self.paths().iter().find(|(known, _)| known.fits(path))?;
        Some(known.iter().map(|known| known.method.as_str()).collect())
    }

    /// Whether a request is answered alike when it comes again under its key. Those that nobody need be signed in for are
    /// not: their answers hold secrets, which are told once and kept nowhere.
    pub fn takes_key(&self, method: &Method, path: &str) -> bool {
        let known = self.paths().iter().filter(|(known, _)| known.fits(path)).flat_map(|(_, known)| known);
        known.into_iter().any(|known| known.method == method.as_str() && known.keyed)
    }

    /// Looks at a query before its route does, so that a typo never silently widens it.
    /// # Errors
    /// Names the parameter that the path does not know, or whose value no database keeps.
    pub fn check_query(&self, method: &Method, path: &str, query: &str) -> Result<(), Refused> {
        if query.is_empty() {
            return Ok(());
        }
        let known = self.paths().iter().filter(|(known, _)| known.fits(path)).flat_map(|(_, known)| known);
        let Some(known) = known.into_iter().find(|known| known.method == method.as_str()) else {
            return Ok(());
        };
        for (name, value) in query::pairs(query) {
            if !known.query.contains(&name) {
                let shown: String = name.chars().filter(|one| !one.is_control()).take(60).collect();
                return Err(Refused::parameter(&shown, "is no parameter of this path"));
            }
            if value.contains(char::is_control) {
                return Err(Refused::parameter(&name, "expected text without control characters"));
            }
        }
        Ok(())
    }
}

impl Pattern {
    fn of(path: &str) -> Self {
        let segment = |segment: &str| (!segment.starts_with('{')).then(|| segment.to_owned());
        Pattern(path.split('/').map(segment).collect())
    }

    fn fits(&self, path: &str) -> bool {
        let mut segments = path.split('/');
        let all = self.0.iter().all(|known| match (known, segments.next()) {
            (Some(known), Some(segment)) => known == segment,
            (None, Some(segment)) => !segment.is_empty(),
            (_, None) => false,
        });
        all && segments.next().is_none()
    }
}

fn known(item: BTreeMap<String, Operation>) -> Vec<Known> {
    let mut known: Vec<Known> = item
        .into_iter()
        .map(|(method, operation)| {
            let keyed = operation.parameters.iter().any(|parameter| parameter.shared == KEY_PARAMETER);
            let of_query = operation.parameters.into_iter().filter(|parameter| parameter.place == "query");
            let query = of_query.map(|parameter| parameter.name).collect();
            Known { method: method.to_uppercase(), query, keyed }
        })
        .collect();
    if let Some(get) = known.iter().find(|known| known.method == "GET") {
        let query = get.query.clone();
        known.push(Known { method: "HEAD".to_owned(), query, keyed: false });
    }
    known.sort_by(|one, other| one.method.cmp(&other.method));
    known
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_path_fits_segment_by_segment() {
        let round = Pattern::of("/api/v1/sites/{site_id}/rounds/mine");
        assert!(round.fits("/api/v1/sites/7/rounds/mine"));
        for other in [
            "/api/v1/sites//rounds/mine",
            "/api/v1/sites/7/rounds",
            "/api/v1/sites/7/rounds/mine/",
            "/api/v1/sites/7/rounds/yours",
        ] {
            assert!(!round.fits(other), "{other}");
        }
    }
}
