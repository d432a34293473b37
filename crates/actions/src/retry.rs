//! Two who enter the same at the same time.

use crate::Refusal;

/// A batch may meet each of so many others that enter parts of it one by one; with those it saw, it has nothing to do any more.
const TRIES: usize = 16;

/// Does an entry, and again when somebody else had entered the same, or a part of it, in between: then the next look finds it.
/// What is in the way even then is another entry under the same client id.
/// # Errors
/// What the entry refuses.
pub(crate) async fn until_seen<T, F>(entry: impl Fn() -> F) -> Result<T, Refusal>
where
    F: Future<Output = Result<T, Refusal>>,
{
    for _ in 0..TRIES {
        match entry().await {
            Err(Refusal::Taken) => {}
            done => return done,
        }
    }
    Err(Refusal::ClientIdReused)
}
