//! Many entries at once, each with its own outcome.

use std::borrow::Cow;

use serde::{Deserialize, Serialize};
use utoipa::openapi::schema::{ArrayBuilder, ObjectBuilder};
use utoipa::openapi::{Ref, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};
use uuid::Uuid;

use crate::Problem;

/// Up to 500 entries.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Batch<T> {
    /// The entries.
    pub items: Vec<T>,
}

/// The most entries a batch may have.
pub const LARGEST_BATCH: usize = 500;

/// What became of one entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BatchOutcome {
    /// It was kept.
    Created,
    /// It was kept before, by an earlier try.
    Duplicate,
    /// It was not kept.
    Rejected,
}

/// What became of one entry, and why.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BatchResult {
    /// Its place in the batch, from 0.
    #[schema(minimum = 0, maximum = 499)]
    pub index: u32,
    /// As it was sent; null where it could not be read.
    pub client_id: Option<Uuid>,
    /// What became of it.
    pub outcome: BatchOutcome,
    /// The id it was kept under.
    pub id: Option<Uuid>,
    /// Why it was not kept.
    pub problem: Option<Problem>,
}

/// How many entries had which outcome.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, ToSchema)]
pub struct BatchSummary {
    /// Kept now.
    #[schema(minimum = 0, maximum = 500)]
    pub created_count: u32,
    /// Kept before.
    #[schema(minimum = 0, maximum = 500)]
    pub duplicate_count: u32,
    /// Not kept.
    #[schema(minimum = 0, maximum = 500)]
    pub rejected_count: u32,
}

/// What became of a batch, entry by entry.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"results": [{"index": 0, "client_id": "019a0000-0000-7000-8000-000000000001", "outcome": "created",
    "id": "019a0000-0000-7000-8000-000000000002", "problem": null}],
    "summary": {"created_count": 1, "duplicate_count": 0, "rejected_count": 0}}))]
pub struct BatchAnswer {
    /// One for each entry, in the order sent.
    #[schema(max_items = 500)]
    pub results: Vec<BatchResult>,
    /// How many had which outcome.
    pub summary: BatchSummary,
}

impl From<Vec<BatchResult>> for BatchAnswer {
    fn from(results: Vec<BatchResult>) -> Self {
        let mut summary = BatchSummary::default();
        for result in &results {
            match result.outcome {
                BatchOutcome::Created => summary.created_count += 1,
                BatchOutcome::Duplicate => summary.duplicate_count += 1,
                BatchOutcome::Rejected => summary.rejected_count += 1,
            }
        }
        Self { results, summary }
    }
}

impl<T: ToSchema> PartialSchema for Batch<T> {
    fn schema() -> RefOr<Schema> {
        let items = ArrayBuilder::new()
            .items(Ref::from_schema_name(T::name()))
            .min_items(Some(1))
            .max_items(Some(LARGEST_BATCH))
            .description(Some("The entries; one that is wrong never blocks another."));
        ObjectBuilder::new()
            .description(Some("Up to 500 entries."))
            .property("items", items)
            .required("items")
            .into()
    }
}

impl<T: ToSchema> ToSchema for Batch<T> {
    fn name() -> Cow<'static, str> {
        format!("{}Batch", T::name()).into()
    }

    fn schemas(schemas: &mut Vec<(String, RefOr<Schema>)>) {
        schemas.push((T::name().into_owned(), T::schema()));
        T::schemas(schemas);
    }
}
