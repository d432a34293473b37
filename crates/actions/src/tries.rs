//! Passwords that were wrong: counted by account and by address, in the database, so that all instances count together.

use std::net::IpAddr;

use fillmark_domain::people::tries::{Counted, FORGOTTEN_AFTER, origin};
use fillmark_store::{Tx, tries};

use crate::sessions::hash_of;
use crate::{App, Refusal};

/// Whose failures a password counts among.
pub(crate) struct Tried(Vec<(Counted, String)>);

impl Tried {
    /// Of a name, whether somebody has it or not, and of where it comes from.
    pub(crate) fn of(sign_in: &str, from: IpAddr) -> Tried {
        let Tried(mut counted) = Self::at(sign_in);
        counted.push((Counted::Address, hash_of(&origin(from))));
        Tried(counted)
    }

    /// Of the name of somebody who is signed in already.
    pub(crate) fn at(sign_in: &str) -> Tried {
        Tried(vec![(Counted::Account, hash_of(sign_in))])
    }

    /// Refuses what comes too soon, before any password is looked at.
    pub(crate) async fn refuse_too_soon(&self, app: &App) -> Result<(), Refusal> {
        let (tx, now) = (app.store.look().await?, app.now());
        for (counted, key) in &self.0 {
            let tries = tries::find(&tx, *counted, key).await?;
            if let Some(until) = tries.and_then(|tries| counted.waits_until(tries, now)) {
                return Err(Refusal::TooSoon { wait_s: (until - now).num_seconds() + 1 });
            }
        }
        Ok(())
    }

    /// Counts a failure.
    pub(crate) async fn failed(&self, app: &App) -> Result<(), Refusal> {
        let (tx, now) = (app.store.begin().await?, app.now());
        for (counted, key) in &self.0 {
            // Of two at once one waits here: the first failure has no row to lock.
            tx.take_turn(key).await?;
            let tries = tries::find(&tx, *counted, key).await?;
            tries::keep(&tx, *counted, key, counted.failed(tries, now)).await?;
        }
        tx.commit().await?;
        Ok(())
    }

    /// Begins the account anew. The address goes on: who knows one password may be guessing others.
    pub(crate) async fn succeeded(&self, tx: &Tx) -> Result<(), Refusal> {
        for (counted, key) in self.0.iter().filter(|(counted, _)| *counted == Counted::Account) {
            tries::forget(tx, *counted, key).await?;
        }
        Ok(())
    }
}

/// Forgets failures that count no more.
/// # Errors
/// When the database fails.
pub(crate) async fn forget_old(app: &App) -> Result<(), Refusal> {
    let before = app.now() - FORGOTTEN_AFTER;
    if tries::any_before(&app.store.look().await?, before).await? {
        let tx = app.store.begin().await?;
        tries::forget_before(&tx, before).await?;
        tx.commit().await?;
    }
    Ok(())
}
