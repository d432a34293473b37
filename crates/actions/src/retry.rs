//! Two who enter the same at the same time.

use crate::Refusal;

/// Does an entry, and once more when somebody else had entered the same in between: then the second look finds
/// it. What is in the way even then is another entry under the same client id.
/// # Errors
/// What the entry refuses.
pub(crate) async fn once_more<T, F>(entry: impl Fn() -> F) -> Result<T, Refusal>
where
    F: Future<Output = Result<T, Refusal>>,
{
    match entry().await {
        Err(Refusal::Taken) => {}
        first => return first,
    }
    match entry().await {
        Err(Refusal::Taken) => Err(Refusal::ClientIdReused),
        second => second,
    }
}
