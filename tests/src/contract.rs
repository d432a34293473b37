//! The operations of the OpenAPI document, and bodies made from its schemas: right, wrong and wild.

use fillmark_server::document;
use serde_json::{Map, Value, json};

/// One operation of the document.
#[derive(Debug, Clone)]
pub struct Operation {
    /// Its name in the document.
    pub id: String,
    /// `GET`, `POST`…
    pub method: String,
    /// With its parameters in braces.
    pub path: String,
    /// Whether it wants a token.
    pub secured: bool,
    /// The schema of its body.
    pub body: Option<Value>,
    /// Names of its query parameters.
    pub query: Vec<String>,
}

impl Operation {
    /// Whether it answers pages.
    pub fn is_list(&self) -> bool {
        self.query.iter().any(|name| name == "limit")
    }

    /// Whether its path names something.
    pub fn has_ids(&self) -> bool {
        self.path.contains('{')
    }

    /// Its name in a message.
    pub fn name(&self) -> String {
        format!("{} {}", self.method, self.path)
    }
}

/// The document as it is served.
#[derive(Debug)]
pub struct Contract {
    /// All operations.
    pub operations: Vec<Operation>,
    schemas: Value,
}

impl Contract {
    /// The document as it is served.
    pub fn read() -> Contract {
        let document = serde_json::to_value(document::document()).expect("the document");
        let mut operations = Vec::new();
        for (path, item) in document["paths"].as_object().expect("paths") {
            for (method, operation) in item.as_object().expect("operations") {
                let parameters = operation["parameters"].as_array().cloned().unwrap_or_default();
                let query = parameters.iter().filter(|parameter| parameter["in"] == "query");
                operations.push(Operation {
                    id: operation["operationId"].as_str().unwrap_or_default().to_owned(),
                    method: method.to_uppercase(),
                    path: path.clone(),
                    secured: operation["security"].as_array().is_some_and(|all| !all.is_empty()),
                    body: operation.pointer("/requestBody/content/application~1json/schema").cloned(),
                    query: query
                        .map(|parameter| parameter["name"].as_str().unwrap_or_default().to_owned())
                        .collect(),
                });
            }
        }
        Contract { operations, schemas: document["components"]["schemas"].clone() }
    }

    fn resolved<'a>(&'a self, schema: &'a Value) -> &'a Value {
        let name = schema["$ref"].as_str().and_then(|reference| reference.rsplit('/').next());
        name.map_or(schema, |name| self.resolved(&self.schemas[name]))
    }

    /// The example of a body; where it has none, one of its required fields' examples, which of a patch is none.
    pub fn example(&self, schema: &Value) -> Value {
        let schema = self.resolved(schema);
        if !schema["example"].is_null() {
            return schema["example"].clone();
        }
        if schema["items"].is_object() {
            return json!([self.example(&schema["items"])]);
        }
        if let Some(word) = schema["enum"].get(0) {
            return word.clone();
        }
        let required = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
        let fields = required.map(|name| (name.to_owned(), self.example(&schema["properties"][name])));
        match schema["type"].as_str() {
            Some("string") if schema["format"] == "date-time" => json!("2026-11-24T06:00:00.000Z"),
            Some("string") if schema["format"] == "uuid" => json!("019a0000-0000-7000-8000-000000000000"),
            Some("string") => json!("as it was"),
            Some("number" | "integer") => json!(1),
            _ => Value::Object(fields.collect()),
        }
    }

    /// A body of the right types with whatever values chance brings.
    pub fn wild(
        &self,
        schema: &Value,
        name: &str,
        chance: &mut Chance,
        ids: &dyn Fn(&str) -> Option<String>,
    ) -> Value {
        let schema = self.resolved(schema);
        for many in ["oneOf", "anyOf"] {
            if let Some(choices) = schema[many].as_array() {
                return self.wild(chance.of(choices), name, chance, ids);
            }
        }
        if let Some(parts) = schema["allOf"].as_array() {
            let mut whole = Map::new();
            for part in parts {
                if let Value::Object(part) = self.wild(part, name, chance, ids) {
                    whole.extend(part);
                }
            }
            return Value::Object(whole);
        }
        if let Some(words) = schema["enum"].as_array() {
            return chance.of(words).clone();
        }
        let kinds: Vec<&str> = match &schema["type"] {
            Value::Array(kinds) => kinds.iter().filter_map(Value::as_str).collect(),
            kind => kind.as_str().into_iter().collect(),
        };
        if kinds.is_empty() {
            return Value::Null;
        }
        match *chance.of(&kinds) {
            "object" => self.wild_object(schema, chance, ids),
            "array" => {
                let length = *chance.of(&[0, 1, 1, 2, 3]);
                Value::Array((0..length).map(|_| self.wild(&schema["items"], name, chance, ids)).collect())
            }
            "string" => wild_text(schema["format"].as_str(), name, chance, ids),
            "integer" => chance
                .of(&[
                    json!(0),
                    json!(1),
                    json!(7),
                    json!(-1),
                    json!(i64::MAX),
                    json!(i64::MIN),
                    json!(u64::MAX),
                    json!(9_007_199_254_740_993_i64),
                    json!(100_000),
                    json!(u32::MAX),
                ])
                .clone(),
            "number" => chance
                .of(&[
                    json!(0.0),
                    json!(1.0),
                    json!(0.5),
                    json!(-1.0),
                    json!(1e308),
                    json!(-1e308),
                    json!(1e-308),
                    json!(1e15),
                    json!(123_456.789),
                    json!(0.000_000_1),
                ])
                .clone(),
            "boolean" => json!(chance.below(2) == 0),
            _ => Value::Null,
        }
    }

    fn wild_object(
        &self,
        schema: &Value,
        chance: &mut Chance,
        ids: &dyn Fn(&str) -> Option<String>,
    ) -> Value {
        let required: Vec<&str> =
            schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str).collect();
        let mut object = Map::new();
        for (name, property) in schema["properties"].as_object().into_iter().flatten() {
            if required.contains(&name.as_str()) || chance.below(5) < 3 {
                object.insert(name.clone(), self.wild(property, name, chance, ids));
            }
        }
        Value::Object(object)
    }

    /// The example with a few of its fields gone wild.
    pub fn shaken(&self, schema: &Value, chance: &mut Chance, ids: &dyn Fn(&str) -> Option<String>) -> Value {
        let mut body = with_ids(self.example(schema), "", ids);
        let resolved = self.resolved(schema);
        let Some(properties) = resolved["properties"].as_object() else {
            return self.wild(schema, "", chance, ids);
        };
        let names: Vec<&String> = properties.keys().collect();
        for _ in 0..*chance.of(&[0, 1, 1, 2]) {
            let name = *chance.of(&names);
            body[name] = self.wild(&properties[name], name, chance, ids);
        }
        body
    }
}

/// A body with every id that the site has in the place of the example's.
pub fn with_ids(body: Value, name: &str, ids: &dyn Fn(&str) -> Option<String>) -> Value {
    match body {
        Value::Object(fields) => Value::Object(
            fields
                .into_iter()
                .map(|(name, field)| {
                    let own = with_ids(field, &name, ids);
                    (name, own)
                })
                .collect(),
        ),
        Value::Array(items) => {
            Value::Array(items.into_iter().map(|item| with_ids(item, name, ids)).collect())
        }
        Value::String(_) if name == "client_id" => json!(uuid::Uuid::now_v7()),
        Value::String(text) => {
            ids(name).filter(|_| text.len() == 36).map_or(Value::String(text), Value::String)
        }
        other => other,
    }
}

fn wild_text(
    format: Option<&str>,
    name: &str,
    chance: &mut Chance,
    ids: &dyn Fn(&str) -> Option<String>,
) -> Value {
    let of = |chance: &mut Chance, words: &[&str]| json!(*chance.of(words));
    match format {
        Some("uuid") => match (ids(name), chance.below(4)) {
            (Some(id), 1..) => json!(id),
            _ => json!(uuid::Uuid::now_v7()),
        },
        Some("date") => of(
            chance,
            &[
                "2026-11-24",
                "2026-12-24",
                "0001-01-01",
                "9999-12-31",
                "2100-12-31",
                "2000-01-01",
                "-200000-01-01",
                "2026-02-30",
            ],
        ),
        Some("date-time") => of(
            chance,
            &[
                "2026-11-24T06:00:00+01:00",
                "2026-11-23T06:00:00Z",
                "9999-12-31T23:59:59Z",
                "2000-01-01T00:00:00Z",
                "2100-12-31T23:59:59.999+14:00",
                "1969-07-20T20:17:00Z",
                "2026-11-24",
            ],
        ),
        _ => match chance.below(4) {
            0 => json!("x".repeat(*chance.of(&[1, 120, 121, 2001, 70_000]))),
            1 => of(
                chance,
                &[
                    "2026-11-24T08:00:00",
                    "08:00:00",
                    "24:61",
                    "9999-12-31T23:59:59",
                    "FREQ=DAILY",
                    "FREQ=SECONDLY",
                    "RRULE:FREQ=YEARLY;BYYEARDAY=366",
                    "Europe/Berlin",
                    "Mars/Olympus",
                    "EUR",
                    "eur",
                    "€€€",
                    "mS/cm",
                    "[pH]",
                ],
            ),
            2 => of(
                chance,
                &[
                    "a\u{0}b",
                    "\u{7}\u{1b}[31m",
                    "\u{202e}abc",
                    "\u{feff}",
                    "a\nb",
                    "🪴🫚",
                    "ﷺ".repeat(40).as_str(),
                    "'; drop table tanks; --",
                    "%s%n{}",
                    "\\u0000",
                ],
            ),
            _ => of(chance, &["", " ", "North", "north tank", "null", "0", "-"]),
        },
    }
}

/// Chance that repeats itself: splitmix64 from a fixed seed.
#[derive(Debug, Clone, Copy)]
pub struct Chance(pub u64);

impl Chance {
    /// A number below another.
    pub fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (mixed ^ (mixed >> 31)) % most.max(1)
    }

    /// One of several.
    pub fn of<'a, T>(&mut self, several: &'a [T]) -> &'a T {
        let at = self.below(several.len() as u64);
        &several[usize::try_from(at).unwrap_or_default()]
    }
}
