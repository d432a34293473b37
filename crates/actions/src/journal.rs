//! The journal of a site or of the business: read, followed, sealed.

use fillmark_domain::people::Act;
use fillmark_store::journal::{self, Entry, chain};
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
    let scope = S::open(caller, Act::Audit, at)?;
    let tx = app.store.look().await?;
    Ok(journal::page(&tx, scope, query).await?)
}

/// Sealed entries of a journal behind a number, in the order of the chain: whoever goes on from the last misses none.
/// # Errors
/// When the caller may not read it.
pub async fn follow<S: Door>(
    app: &App,
    caller: &Caller,
    at: S::At,
    seq: i64,
    limit: u64,
) -> Result<Vec<Entry>, Refusal> {
    let scope = S::open(caller, Act::Audit, at)?;
    let tx = app.store.look().await?;
    Ok(chain::sealed_after(&tx, journal::owner(scope), seq, limit).await?)
}

/// Seals what was committed since, journal by journal.
/// # Errors
/// When the database fails.
pub async fn seal(app: &App) -> Result<(), Refusal> {
    let owners = chain::unsealed(&app.store.look().await?).await?;
    for owner in owners {
        loop {
            let tx = app.store.begin().await?;
            let more = chain::seal(&tx, owner).await?;
            tx.commit().await?;
            if !more {
                break;
            }
        }
    }
    Ok(())
}

/// How many entries of all journals are not sealed yet.
/// # Errors
/// When the database fails.
pub async fn unsealed_count(app: &App) -> Result<u64, Refusal> {
    Ok(chain::unsealed_count(&app.store.look().await?).await?)
}
