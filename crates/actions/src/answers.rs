//! Requests with a key of their own (`Idempotency-Key`): the answer is kept in the commit of what it tells of, so
//! that a request that comes again is answered alike and has no second effect.

use chrono::TimeDelta;
use fillmark_store::answers::{self, Answer, Asked};
use fillmark_store::{StoreError, Unit};

use crate::{App, Refusal};

/// A phone may stay out of reach for weeks before it sends what it holds.
const KEPT_FOR: TimeDelta = TimeDelta::days(45);

/// A request under its key.
#[derive(Debug)]
pub enum Turn {
    /// It comes for the first time.
    First(Box<Pending>),
    /// It was answered before.
    Again(Answer),
}

/// A request whose answer is to come. Dropped, nothing of it is kept.
#[derive(Debug)]
pub struct Pending {
    /// All that is done in this application is kept with the answer, in one commit.
    pub within: App,
    asked: Asked,
    unit: Unit,
}

/// Begins a request under its key.
/// # Errors
/// [`Refusal::KeyInUse`] while the same is under way elsewhere, [`Refusal::KeyReused`] when the key came before with
/// another body.
pub async fn begin(app: &App, asked: Asked) -> Result<Turn, Refusal> {
    let (within, unit) = app.unit().await?;
    let tx = within.store.begin().await?;
    match answers::take_turn(&tx, &asked).await {
        Err(StoreError::Held(_)) => return Err(Refusal::KeyInUse),
        turn => turn?,
    }
    let before = answers::find(&tx, &asked).await?;
    tx.commit().await?;
    match before {
        Some((body_hash, answer)) if body_hash == asked.body_hash => Ok(Turn::Again(answer)),
        Some(_) => Err(Refusal::KeyReused),
        None => Ok(Turn::First(Box::new(Pending { within, asked, unit }))),
    }
}

/// Keeps an answer with all that was done for it.
/// # Errors
/// When the database could not; then nothing is kept.
pub async fn finish(app: &App, pending: Pending, answer: &Answer) -> Result<(), Refusal> {
    let tx = pending.within.store.begin().await?;
    answers::keep(&tx, &pending.asked, answer, app.now()).await?;
    tx.commit().await?;
    Ok(pending.unit.commit().await?)
}

/// Forgets answers that nobody will ask for again.
/// # Errors
/// When the database fails.
pub async fn forget_old(app: &App) -> Result<(), Refusal> {
    let before = app.now() - KEPT_FOR;
    if answers::any_before(&app.store.look().await?, before).await? {
        let tx = app.store.begin().await?;
        answers::forget_before(&tx, before).await?;
        tx.commit().await?;
    }
    Ok(())
}
