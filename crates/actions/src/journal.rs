//! Reading the journal of a site or of the business.

use fillmark_domain::people::Act;
use fillmark_store::journal::{self, Entry};
use fillmark_store::{Page, PageQuery};

use crate::{App, Caller, Door, Refusal};

/// A page of the journal of a site, or of the business.
/// # Errors
/// When the caller may not read it.
pub async fn list<S: Door>(
    app: &App,
    caller: &Caller,
    at: S::At,
    query: &PageQuery,
) -> Result<Page<Entry>, Refusal> {
    let scope = S::open(caller, Act::Read, at)?;
    let tx = app.store.look().await?;
    Ok(journal::page(&tx, scope, query).await?)
}
