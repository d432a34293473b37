//! Batches: each entry is read for itself, so that one of the wrong form never blocks another.

use fillmark_actions::readings::Outcome;
use fillmark_api::{Batch, BatchAnswer, BatchOutcome, BatchResult, LARGEST_BATCH};
use fillmark_domain::{Faults, Id};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::Refused;

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
    /// For each item of the batch its client id, and what is wrong with it.
    items: Vec<(Uuid, Option<Faults>)>,
}

/// Reads the items of a batch.
/// # Errors
/// When there are none or too many, or, all together or none, when one cannot be read.
pub(crate) fn taken<T, E>(
    batch: &Batch<T>,
    atomic: bool,
    read: impl Fn(&T) -> (Uuid, Result<E, Faults>),
) -> Result<Taken<E>, Refused> {
    let mut all = Faults::default();
    let count = batch.items.len();
    all.unless(
        (1..=LARGEST_BATCH).contains(&count),
        "/items",
        "count",
        format!("expected 1 to {LARGEST_BATCH} items"),
    );
    let mut taken = Taken { entries: Vec::with_capacity(count), items: Vec::with_capacity(count) };
    for (at, item) in batch.items.iter().enumerate() {
        let (client_id, entry) = read(item);
        match entry {
            Ok(entry) => {
                taken.entries.push(entry);
                taken.items.push((client_id, None));
            }
            Err(faults) => {
                if atomic {
                    all.within(&format!("/items/{at}"), faults.clone());
                }
                taken.items.push((client_id, Some(faults)));
            }
        }
    }
    Ok(all.or(Some(taken))?)
}

impl<E> Taken<E> {
    /// The entries that could be read.
    pub(crate) fn entries(&self) -> &[E] {
        &self.entries
    }

    /// The answer, in the order of the request.
    pub(crate) fn answer<W>(self, outcomes: Vec<Outcome<W>>) -> BatchAnswer {
        let mut outcomes = outcomes.into_iter();
        let result = |(at, (client_id, faults)): (usize, (Uuid, Option<Faults>))| {
            let outcome = match faults {
                Some(faults) => Some(Outcome::Rejected(faults.into())),
                None => outcomes.next(),
            };
            result(at, client_id, outcome)
        };
        self.items.into_iter().enumerate().map(result).collect::<Vec<_>>().into()
    }
}

fn result<W>(at: usize, client_id: Uuid, outcome: Option<Outcome<W>>) -> BatchResult {
    let (outcome, id, problem) = match outcome {
        Some(Outcome::Created(id)) => (BatchOutcome::Created, Some(id.uuid()), None),
        Some(Outcome::Duplicate(id)) => (BatchOutcome::Duplicate, Some(id.uuid()), None),
        Some(Outcome::Rejected(refusal)) => (BatchOutcome::Rejected, None, Some(*Refused::from(refusal).0)),
        None => (BatchOutcome::Rejected, None, None),
    };
    BatchResult { index: u32::try_from(at).unwrap_or(u32::MAX), client_id, outcome, id, problem }
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
