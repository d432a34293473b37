//! Bodies of records with the common life, and the three shapes that each takes.

use std::borrow::Cow;
use std::marker::PhantomData;

use chrono_tz::Tz;
use fillmark_domain::{Faults, Kept};
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use utoipa::openapi::schema::{ArrayBuilder, ObjectBuilder, SchemaType, Type};
use utoipa::openapi::{Ref, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};
use uuid::Uuid;

use crate::Instant;

/// The content of a record as JSON.
pub trait Body: Serialize + DeserializeOwned + ToSchema + Clone + Send + Sync + 'static {
    /// The word of the domain it stands for.
    type Word;

    /// The word, when every field can be taken.
    /// # Errors
    /// All fields that cannot.
    fn word(&self) -> Result<Self::Word, Faults>;

    /// The body of a word.
    fn of(word: &Self::Word) -> Self;

    /// Whether it tells something by the clock of its site, which a word does not know.
    const TELLS_BY_CLOCK: bool = false;

    /// Tells that.
    fn tell_by(&mut self, _zone: Tz) {}
}

/// A record as it is answered: the body's own fields with id, version and dates.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Stored<B> {
    /// Made by the server, for ever.
    pub id: Uuid,
    /// Rises with each change; its entity tag is `"v<version>"`.
    pub version: i64,
    /// When it was made.
    pub created_at: Instant,
    /// When it was last changed.
    pub updated_at: Instant,
    /// When it was put away, if it was.
    pub archived_at: Option<Instant>,
    /// The body.
    #[serde(flatten)]
    pub body: B,
}

impl<B: Body> From<Kept<B::Word>> for Stored<B> {
    fn from(kept: Kept<B::Word>) -> Self {
        Self {
            id: kept.id.uuid(),
            version: kept.version,
            created_at: kept.created_at.into(),
            updated_at: kept.updated_at.into(),
            archived_at: kept.archived_at.map(Instant),
            body: B::of(&kept.content),
        }
    }
}

impl<B: Body> Stored<B> {
    /// A record with what it tells by the clock of its site.
    pub fn by(kept: Kept<B::Word>, zone: Tz) -> Self {
        let mut stored = Self::from(kept);
        stored.body.tell_by(zone);
        stored
    }
}

impl<B: PartialSchema> PartialSchema for Stored<B> {
    fn schema() -> RefOr<Schema> {
        let text = || ObjectBuilder::new().schema_type(Type::String);
        let instant = || Ref::from_schema_name("Instant");
        let mut stored = ObjectBuilder::new()
            .property(
                "id",
                text()
                    .format(Some(utoipa::openapi::SchemaFormat::KnownFormat(
                        utoipa::openapi::KnownFormat::Uuid,
                    )))
                    .max_length(Some(36))
                    .description(Some("Made by the server, for ever.")),
            )
            .required("id")
            .property(
                "version",
                ObjectBuilder::new()
                    .schema_type(Type::Integer)
                    .minimum(Some(1))
                    .maximum(Some(9_007_199_254_740_991i64))
                    .description(Some("Rises with each change; the entity tag is \"v<version>\".")),
            )
            .required("version")
            .property("created_at", instant())
            .required("created_at")
            .property("updated_at", instant())
            .required("updated_at")
            .property("archived_at", nullable(instant().into()))
            .required("archived_at")
            .build();
        if let RefOr::T(Schema::Object(body)) = B::schema() {
            stored.description = body.description;
            stored.required.extend(body.properties.keys().cloned());
            stored.properties.extend(body.properties);
        }
        stored.into()
    }
}

impl<B: ToSchema> ToSchema for Stored<B> {
    fn name() -> Cow<'static, str> {
        B::name().trim_start_matches("New").to_owned().into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push(("Instant".to_owned(), Instant::schema()));
        B::schemas(schemas);
    }
}

/// A change of some fields of a record (JSON Merge Patch, RFC 7396).
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Patch<B> {
    fields: Map<String, Value>,
    #[serde(skip)]
    body: PhantomData<fn() -> B>,
}

impl<B: Body> Patch<B> {
    /// A patch of these fields.
    pub fn new(fields: Map<String, Value>) -> Self {
        Self { fields, body: PhantomData }
    }

    /// The merge of the patch into a record's present content, as JSON.
    pub fn merged(self, present: &B) -> Value {
        let mut merged = serde_json::to_value(present).unwrap_or_default();
        merge(&mut merged, Value::Object(self.fields));
        merged
    }
}

/// RFC 7396, section 2: null removes, an object merges, anything else replaces. A removed field of a body is
/// null, since its fields are always there.
fn merge(target: &mut Value, patch: Value) {
    match (target, patch) {
        (Value::Object(target), Value::Object(patch)) => {
            for (field, value) in patch {
                merge(target.entry(field).or_insert(Value::Null), value);
            }
        }
        (target, patch) => *target = patch,
    }
}

impl<B: PartialSchema> PartialSchema for Patch<B> {
    fn schema() -> RefOr<Schema> {
        let mut schema = B::schema();
        if let RefOr::T(Schema::Object(body)) = &mut schema {
            body.required.clear();
            body.example = None;
            body.examples = Vec::new();
            body.description = Some("Fields to change; what is left out stays as it is.".to_owned());
        }
        schema
    }
}

impl<B: ToSchema> ToSchema for Patch<B> {
    fn name() -> Cow<'static, str> {
        format!("{}Patch", B::name().trim_start_matches("New")).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        B::schemas(schemas);
    }
}

/// A page of a list.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Listed<T> {
    /// The page's items in order.
    pub items: Vec<T>,
    /// Asks for the page behind this one; nothing when this is the last.
    pub next_cursor: Option<String>,
}

impl<T: ToSchema> PartialSchema for Listed<T> {
    fn schema() -> RefOr<Schema> {
        let cursor = ObjectBuilder::new()
            .schema_type(SchemaType::from_iter([Type::String, Type::Null]))
            .max_length(Some(1000))
            .description(Some("Asks for the page behind this one; null when this is the last."));
        let items = ArrayBuilder::new()
            .items(Ref::from_schema_name(T::name()))
            .max_items(Some(200))
            .description(Some("The items in order."));
        ObjectBuilder::new()
            .description(Some("A page of a list."))
            .property("items", items)
            .required("items")
            .property("next_cursor", cursor)
            .required("next_cursor")
            .into()
    }
}

impl<T: ToSchema> ToSchema for Listed<T> {
    fn name() -> Cow<'static, str> {
        format!("{}Page", T::name()).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((T::name().into_owned(), T::schema()));
        T::schemas(schemas);
    }
}

fn nullable(schema: RefOr<Schema>) -> Schema {
    utoipa::openapi::schema::OneOfBuilder::new()
        .item(ObjectBuilder::new().schema_type(Type::Null))
        .item(schema)
        .into()
}
