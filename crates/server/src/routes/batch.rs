//! Batches: each entry is read for itself, so that one of the wrong form never blocks another.

use fillmark_actions::readings::Outcome;
use fillmark_api::{Batch, BatchAnswer, BatchOutcome, BatchResult, LARGEST_BATCH};
use fillmark_domain::{Faults, Id};
use serde::Deserialize;
use serde::de::DeserializeOwned;
use serde_json::Value;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::Refused;
use crate::http::body::from_value;
use crate::http::outer::RequestId;

/// How a batch is taken.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct BatchQuery {
    /// All entries or none; else each for itself.
    #[serde(default)]
    pub(crate) atomic: bool,
}

/// The entries of a batch that could be read, and what is wrong with the others.
pub(crate) struct Taken<E> {
    entries: Vec<E>,
    /// For each item of the batch its client id, where it has one, and what is wrong with it.
    items: Vec<(Option<Uuid>, Option<Refused>)>,
}

/// Reads the items of a batch.
/// # Errors
/// When there are none or too many, or, all together or none, when one cannot be read.
pub(crate) fn taken<T: DeserializeOwned, E>(
    batch: Batch<Value>,
    atomic: bool,
    read: impl Fn(&T) -> Result<E, Faults>,
) -> Result<Taken<E>, Refused> {
    let count = batch.items.len();
    let mut faults = Faults::default();
    let expected = format!("expected 1 to {LARGEST_BATCH} items");
    faults.unless((1..=LARGEST_BATCH).contains(&count), "/items", "count", expected);
    faults.or(Some(()))?;
    let mut taken = Taken { entries: Vec::with_capacity(count), items: Vec::with_capacity(count) };
    for (at, item) in batch.items.into_iter().enumerate() {
        let client_id = item.get("client_id").and_then(Value::as_str).and_then(|id| id.parse().ok());
        let entry = from_value::<T>(item).and_then(|item| Ok(read(&item)?));
        match entry {
            Ok(entry) => {
                taken.entries.push(entry);
                taken.items.push((client_id, None));
            }
            Err(refused) if atomic => return Err(refused.within(&format!("/items/{at}"))),
            Err(refused) => taken.items.push((client_id, Some(refused))),
        }
    }
    Ok(taken)
}

impl<E> Taken<E> {
    /// The entries that could be read.
    pub(crate) fn entries(&self) -> &[E] {
        &self.entries
    }

    /// The answer, in the order of the request. Each problem names the request and the place of its item.
    pub(crate) fn answer<W>(self, outcomes: Vec<Outcome<W>>, request: RequestId) -> BatchAnswer {
        let mut outcomes = outcomes.into_iter();
        let result = |(at, (client_id, refused)): (usize, (Option<Uuid>, Option<Refused>))| {
            let mut result = match refused {
                Some(refused) => rejected(at, client_id, refused),
                None => result(at, client_id, outcomes.next()),
            };
            if let Some(problem) = &mut result.problem {
                problem.instance = request.instance_of_item(at);
            }
            result
        };
        self.items.into_iter().enumerate().map(result).collect::<Vec<_>>().into()
    }
}

fn result<W>(at: usize, client_id: Option<Uuid>, outcome: Option<Outcome<W>>) -> BatchResult {
    let (outcome, id) = match outcome {
        Some(Outcome::Created(id)) => (BatchOutcome::Created, Some(id.uuid())),
        Some(Outcome::Duplicate(id)) => (BatchOutcome::Duplicate, Some(id.uuid())),
        Some(Outcome::Rejected(refusal)) => return rejected(at, client_id, refusal.into()),
        None => (BatchOutcome::Rejected, None),
    };
    BatchResult { index: index(at), client_id, outcome, id, problem: None }
}

fn rejected(at: usize, client_id: Option<Uuid>, refused: Refused) -> BatchResult {
    let problem = Some(*refused.problem);
    BatchResult { index: index(at), client_id, outcome: BatchOutcome::Rejected, id: None, problem }
}

fn index(at: usize) -> u32 {
    u32::try_from(at).unwrap_or(u32::MAX)
}

/// The id of the only entry, kept now or before.
/// # Errors
/// Why it was not kept.
pub(crate) fn only<W>(outcomes: Vec<Outcome<W>>) -> Result<Id<W>, Refused> {
    match outcomes.into_iter().next() {
        Some(Outcome::Created(id) | Outcome::Duplicate(id)) => Ok(id),
        Some(Outcome::Rejected(refusal)) => Err(refusal.into()),
        None => Err(fillmark_actions::Refusal::NotFound.into()),
    }
}
