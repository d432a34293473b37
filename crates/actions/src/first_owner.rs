//! The first owner: whoever reads the server's own output may claim a business that nobody can sign in to yet.

use fillmark_domain::Kept;
use fillmark_domain::people::Person;
use fillmark_store::accounts;
use tokio::sync::Mutex;

use crate::sessions::{fresh_token, hash_of};
use crate::{App, Refusal, people};

/// The right to become the first owner, good once, kept nowhere but in the memory of the server that offers it.
#[derive(Debug)]
pub struct Offer {
    /// SHA-256 of the code, in hex, so that comparing tells nothing about it; the lock lets one claim go at a time.
    code_hash: Mutex<Option<String>>,
}

impl Offer {
    /// An offer with its code, told once; without one when somebody has a password already.
    /// # Errors
    /// When the database fails.
    pub async fn make(app: &App) -> Result<(Offer, Option<String>), Refusal> {
        // By the connection that writes, as in [`crate::keys::held`].
        let tx = app.store.begin().await?;
        let unclaimed = accounts::is_unclaimed(&tx).await?;
        tx.commit().await?;
        let code = if unclaimed { Some(fresh_token()?) } else { None };
        Ok((Offer { code_hash: Mutex::new(code.as_deref().map(hash_of)) }, code))
    }
}

/// Makes whoever holds the code the owner of every site. A refused name or password leaves the code good.
/// # Errors
/// [`Refusal::Conflict`] when there is an owner, [`Refusal::Invalid`] for a wrong code, and what
/// [`people::make_owner`] refuses.
pub async fn claim(
    app: &App,
    offer: &Offer,
    code: &str,
    person: Person,
    password: String,
) -> Result<Kept<Person>, Refusal> {
    let mut code_hash = offer.code_hash.lock().await;
    if !accounts::is_unclaimed(&app.store.look().await?).await? {
        return Err(Refusal::Conflict("the business has an owner already".to_owned()));
    }
    if code_hash.as_ref() != Some(&hash_of(code.trim())) {
        let expected = "expected the code that the server printed when it was started last";
        return Err(Refusal::invalid("/code", "wrong_code", expected));
    }
    people::password_faults(&person, &[], &password).or(Some(()))?;
    let hash = app.shared().hashing.hash(password).await?;

    let tx = app.store.begin().await?;
    tx.take_turn("first owner").await?;
    if !accounts::is_unclaimed(&tx).await? {
        return Err(Refusal::Conflict("the business has an owner already".to_owned()));
    }
    let kept = people::keep_owner(app, &tx, person, &hash).await?;
    tx.commit().await?;

    *code_hash = None;
    Ok(kept)
}
