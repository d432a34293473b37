//! The keys that the server makes for itself.

use fillmark_domain::people::keys::{KeyPurpose, forgotten_before};
use fillmark_store::accounts::{self, SecretKey};

use crate::sessions::{fresh_token, hash_of};
use crate::{App, Refusal};

/// The keys for a purpose, the newest first. Another is made when it is due, and those no longer believed are forgotten.
/// # Errors
/// When the database fails.
pub async fn held(app: &App, purpose: KeyPurpose) -> Result<Vec<SecretKey>, Refusal> {
    // By the connection that writes, which has brought the schema up: at start there is no other yet.
    let (tx, now) = (app.store.begin().await?, app.now());
    let keys = accounts::keys(&tx, purpose).await?;
    let newest_at = keys.first().map(|key| key.created_at);
    let is_spent = |newest_at| keys.len() > 1 && forgotten_before(newest_at, now).is_some();
    if !purpose.is_due(newest_at, now) && !newest_at.is_some_and(is_spent) {
        tx.commit().await?;
        return Ok(keys);
    }

    tx.take_turn("keys").await?;
    let mut keys = accounts::keys(&tx, purpose).await?;
    if purpose.is_due(keys.first().map(|key| key.created_at), now) {
        let id = hash_of(&fresh_token()?)[..16].to_owned();
        let key = SecretKey { id, secret: fresh_token()?, created_at: now };
        accounts::keep_key(&tx, purpose, &key).await?;
        keys.insert(0, key);
    }
    if let Some(before) = keys.first().and_then(|newest| forgotten_before(newest.created_at, now)) {
        accounts::forget_keys(&tx, purpose, before).await?;
        keys.retain(|key| key.created_at >= before);
    }
    tx.commit().await?;
    Ok(keys)
}
