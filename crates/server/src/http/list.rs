//! Lists: what their queries may say, and the cursors that lead from page to page.

use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse};
use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::NaiveDate;
use fillmark_api::{Listed, ProblemCode};
use fillmark_domain::Coded;
use fillmark_store::{Filter, Page, PageQuery, SortKey, SortValue};
use hmac::{Hmac, Mac};
use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};
use utoipa::IntoParams;
use uuid::Uuid;

use super::{Refused, csv, query};

/// The parameters that every list takes.
#[derive(Debug, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[expect(dead_code, reason = "the fields are for the document; the query is read by name")]
pub struct ListQuery {
    /// How many items a page has at most.
    #[param(minimum = 1, maximum = 200, default = 50)]
    limit: Option<u32>,
    /// From the answer before: asks for the page behind it.
    #[param(max_length = 1000)]
    cursor: Option<String>,
    /// Fields to order by, parted by commas, `-` for high to low. The id is always the last key.
    #[param(max_length = 200, example = "-created_at")]
    sort: Option<String>,
    /// `csv` where no Accept header can be sent: one row an item, and the next page in the Link header.
    #[param(max_length = 10)]
    format: Option<String>,
}

/// Whether a value of a parameter can be; else what was expected.
pub type Expected = fn(&str) -> Result<(), String>;

/// A word of a closed list.
pub fn one_of<C: Coded>(value: &str) -> Result<(), String> {
    let codes: Vec<&str> = C::all().iter().map(|word| word.code()).collect();
    one_of_codes(&codes, value)
}

/// One of these words.
pub fn one_of_codes(codes: &[&str], value: &str) -> Result<(), String> {
    if codes.contains(&value) { Ok(()) } else { Err(format!("expected one of {}", codes.join(", "))) }
}

/// A date.
pub fn a_day(value: &str) -> Result<(), String> {
    value.parse::<NaiveDate>().map(drop).or(Err("expected a date, 2026-11-24 for example".to_owned()))
}

/// Any text.
pub fn any_text(_: &str) -> Result<(), String> {
    Ok(())
}

/// What a list knows of itself.
#[derive(Debug, Clone, Copy)]
pub struct ListKind {
    /// Columns it may be ordered by, the default first.
    pub ordered_by: &'static [&'static str],
    /// Columns of ids it may be narrowed by; a repeated parameter means any of them.
    pub narrowed_by: &'static [&'static str],
    /// Whether its items can be archived.
    pub archives: bool,
    /// Whether `q` looks for a part of the name.
    pub named: bool,
    /// The column that `recorded_from` and `recorded_before` narrow.
    pub recorded: Option<&'static str>,
    /// Columns of codes and days it may be narrowed by, each with what its values must be.
    pub coded_by: &'static [(&'static str, Expected)],
}

/// A list's query, and what its cursors are sealed with.
#[derive(Debug)]
pub struct Asked {
    /// For the store.
    pub page: PageQuery,
    /// Whether it is answered as a table.
    csv: bool,
    seal: String,
    path: String,
    others: Vec<(String, String)>,
}

/// The key that seals cursors, so that they are handed back as they were given.
#[derive(Clone)]
pub struct CursorKey(pub Vec<u8>);

impl Asked {
    /// Reads a list's query.
    /// # Errors
    /// A problem that names the parameter.
    pub fn read(request: &HttpRequest, kind: ListKind) -> Result<Self, Refused> {
        let pairs = query::pairs(request.query_string());
        let mut asked = Asked {
            page: PageQuery { limit: 50, sort: first_order(kind), ..PageQuery::default() },
            csv: false,
            seal: String::new(),
            path: request.path().to_owned(),
            others: Vec::new(),
        };
        let mut cursor = None;
        let mut archived = false;
        let mut format = None;
        for (name, value) in &pairs {
            match name.as_str() {
                "limit" => asked.page.limit = limit(value)?,
                "cursor" => cursor = Some(value.clone()),
                "format" => format = Some(value.as_str()),
                "sort" => asked.page.sort = order(kind, value)?,
                "archived" if kind.archives => archived = boolean(name, value)?,
                "q" if kind.named => asked.page.filters.push(Filter::Contains("name", value.clone())),
                "recorded_from" | "recorded_before" if kind.recorded.is_some() => {
                    asked.page.filters.extend(recorded(kind, name, value)?);
                }
                _ => narrow(kind, name, value, &mut asked.page.filters)?,
            }
            if name != "cursor" {
                asked.others.push((name.clone(), value.clone()));
            }
        }
        if kind.archives {
            asked.page.filters.push(Filter::IsNull("archived_at", !archived));
        }
        asked.csv = csv::is_wanted(request, format)?;
        asked.seal = format!("{:x}", Sha256::digest(format!("{}?{:?}", asked.path, asked.others)));
        if let Some(cursor) = cursor {
            asked.page.after = Some(opened(request, &cursor, &asked.seal)?);
        }
        Ok(asked)
    }

    /// Answers a page, with links to the first and the next.
    pub fn answer<S, T: Serialize>(
        &self,
        request: &HttpRequest,
        page: Page<S>,
        item: impl Fn(S) -> T,
    ) -> HttpResponse {
        let next_cursor = page.next.map(|keys| sealed(request, &keys, &self.seal));
        let mut links = format!("<{}>; rel=\"first\"", self.link(None));
        if let Some(cursor) = &next_cursor {
            links.push_str(&format!(", <{}>; rel=\"next\"", self.link(Some(cursor))));
        }
        let items: Vec<T> = page.items.into_iter().map(item).collect();
        let mut response = HttpResponse::Ok();
        response.insert_header((header::LINK, links)).insert_header((header::CACHE_CONTROL, "no-store"));
        match self.csv {
            true => response.content_type(csv::CONTENT_TYPE).body(csv::of_items(&items)),
            false => response.json(Listed { items, next_cursor }),
        }
    }

    fn link(&self, cursor: Option<&str>) -> String {
        let mut query = query::text(&self.others);
        if let Some(cursor) = cursor {
            let joint = if query.is_empty() { "" } else { "&" };
            query.push_str(&format!("{joint}cursor={cursor}"));
        }
        if query.is_empty() { self.path.clone() } else { format!("{}?{query}", self.path) }
    }
}

fn first_order(kind: ListKind) -> Vec<SortKey> {
    kind.ordered_by.first().map(|&column| SortKey { column, descending: false }).into_iter().collect()
}

fn limit(value: &str) -> Result<u64, Refused> {
    let limit = value.parse().ok().filter(|limit| (1..=200).contains(limit));
    limit.ok_or_else(|| Refused::parameter("limit", "expected a whole number from 1 to 200"))
}

fn boolean(name: &str, value: &str) -> Result<bool, Refused> {
    value.parse().map_err(|_| Refused::parameter(name, "expected true or false"))
}

fn order(kind: ListKind, value: &str) -> Result<Vec<SortKey>, Refused> {
    let key = |part: &str| {
        let (name, descending) = part.strip_prefix('-').map_or((part, false), |name| (name, true));
        let column = kind.ordered_by.iter().copied().find(|column| *column == name);
        let expected =
            || Refused::parameter("sort", format!("expected some of {}", kind.ordered_by.join(", ")));
        column.map(|column| SortKey { column, descending }).ok_or_else(expected)
    };
    value.split(',').map(key).collect()
}

fn recorded(kind: ListKind, name: &str, value: &str) -> Result<Option<Filter>, Refused> {
    let instant: fillmark_api::Instant = serde_json::from_value(serde_json::Value::String(value.to_owned()))
        .map_err(|_| Refused::parameter(name, "expected an RFC 3339 instant with an offset"))?;
    Ok(kind.recorded.map(|column| match name {
        "recorded_from" => Filter::From(column, instant.0.into()),
        _ => Filter::Before(column, instant.0.into()),
    }))
}

fn narrow(kind: ListKind, name: &str, value: &str, filters: &mut Vec<Filter>) -> Result<(), Refused> {
    let (column, value) = if let Some(column) =
        kind.narrowed_by.iter().copied().find(|column| *column == name)
    {
        let id: Uuid = value.parse().map_err(|_| Refused::parameter(name, "expected an id"))?;
        (column, id.into())
    } else if let Some((column, expected)) = kind.coded_by.iter().copied().find(|(column, _)| *column == name)
    {
        expected(value).map_err(|expected| Refused::parameter(name, expected))?;
        (column, value.to_owned().into())
    } else {
        return Err(Refused::parameter(name, "is no parameter of this list"));
    };
    let same = filters.iter_mut().find_map(|filter| match filter {
        Filter::OneOf(other, values) if *other == column => Some(values),
        _ => None,
    });
    match same {
        Some(values) => values.push(value),
        None => filters.push(Filter::OneOf(column, vec![value])),
    }
    Ok(())
}

/// Version, key values, and a seal over them and the rest of the query.
fn sealed(request: &HttpRequest, keys: &[SortValue], seal: &str) -> String {
    let written: Vec<(char, String)> = keys.iter().map(SortValue::written).collect();
    let text = serde_json::json!([1, written]).to_string();
    let mac = mac(request, &text, seal);
    URL_SAFE_NO_PAD.encode(format!("{mac}{text}"))
}

fn opened(request: &HttpRequest, cursor: &str, seal: &str) -> Result<Vec<SortValue>, Refused> {
    let expected = "expected what this list gave, with the same query";
    let mismatch = || Refused::parameter_of(ProblemCode::CursorMismatch, "cursor", expected);
    let bytes = URL_SAFE_NO_PAD.decode(cursor).map_err(|_| mismatch())?;
    let text = String::from_utf8(bytes).map_err(|_| mismatch())?;
    let (given, text) = text.split_at_checked(64).ok_or_else(mismatch)?;
    if mac(request, text, seal) != given {
        return Err(mismatch());
    }
    let (_, written): (u8, Vec<(char, String)>) = serde_json::from_str(text).map_err(|_| mismatch())?;
    written
        .iter()
        .map(|(kind, text)| SortValue::from_written(*kind, text))
        .collect::<Option<_>>()
        .ok_or_else(mismatch)
}

fn mac(request: &HttpRequest, text: &str, seal: &str) -> String {
    let key =
        request.app_data::<actix_web::web::Data<CursorKey>>().map(|key| key.0.clone()).unwrap_or_default();
    // HMAC takes keys of any length, so this never fails.
    let Ok(mut mac) = Hmac::<Sha256>::new_from_slice(&key) else { return String::new() };
    mac.update(seal.as_bytes());
    mac.update(text.as_bytes());
    format!("{:x}", mac.finalize().into_bytes())
}
