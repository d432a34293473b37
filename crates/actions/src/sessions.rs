//! Signing in, staying signed in, signing out.

use std::collections::{HashMap, HashSet};

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Kept;
use fillmark_domain::people::{Act, PersonId, Role};
use fillmark_domain::places::SiteId;
use fillmark_store::accounts::{self, Session};
use fillmark_store::{Tx, journal, plan};
use hmac::{Hmac, Mac};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::refusal::Failure;
use crate::{App, Caller, Refusal, passwords};

/// A session ends after so long without a refresh…
const IDLE: TimeDelta = TimeDelta::days(14);
/// …and after so long whatever happens.
const LONGEST: TimeDelta = TimeDelta::days(60);
/// An answer lost on poor Wi-Fi may be asked for again within this time.
const GRACE: TimeDelta = TimeDelta::seconds(10);

/// What a sign-in or a refresh gives.
#[derive(Debug, Clone)]
pub struct Opened {
    /// Who is signed in.
    pub person: PersonId,
    /// The session.
    pub session: Uuid,
    /// The next refresh token, told once.
    pub refresh_token: String,
    /// When the session ends whatever happens.
    pub expires_at: DateTime<Utc>,
}

/// Opens a session with name and password.
/// # Errors
/// [`Refusal::WrongPassword`], after the same work whether the name is known or not.
pub async fn open(
    app: &App,
    sign_in: &str,
    password: String,
    device: Option<String>,
) -> Result<Opened, Refusal> {
    let look = app.store.look().await?;
    let known = accounts::find_by_sign_in(&look, &sign_in.trim().to_lowercase()).await?;
    drop(look);
    let (person, hash) = known.map_or((None, None), |(person, hash)| (Some(person), Some(hash)));
    let fits = passwords::fits(app, password, hash).await?;
    let Some(person) = person.filter(|_| fits) else { return Err(Refusal::WrongPassword) };

    let stamp = app.unsigned();
    let token = fresh_token()?;
    let session = Session {
        id: stamp.fresh::<Session>().uuid(),
        person,
        device,
        refresh_hash: hash_of(&token),
        spent_hash: None,
        refreshed_at: stamp.at,
        created_at: stamp.at,
        expires_at: stamp.at + LONGEST,
        ended_at: None,
    };
    let tx = app.store.begin().await?;
    accounts::keep_session(&tx, &session).await?;
    tx.commit().await?;

    Ok(Opened { person, session: session.id, refresh_token: token, expires_at: session.expires_at })
}

/// Trades a refresh token for the next. A spent token ends the session, since somebody else may hold it; within
/// a moment of being spent it is an answer that got lost, and is answered with the same next token.
/// # Errors
/// [`Refusal::NotSignedIn`] when the token is not good.
pub async fn refresh(app: &App, token: &str) -> Result<Opened, Refusal> {
    let (hash, now) = (hash_of(token), app.now());
    let tx = app.store.begin().await?;
    let session = accounts::lock_session_by_token(&tx, &hash).await?.ok_or(Refusal::NotSignedIn)?;
    if !is_alive(&session, now) {
        return Err(Refusal::NotSignedIn);
    }
    let next = successor(&tx, token).await?;
    let spent = session.refresh_hash != hash;
    let lost = now - session.refreshed_at <= GRACE && session.refresh_hash == hash_of(&next);
    if spent && !lost {
        accounts::end_session(&tx, session.id, now).await?;
        let scope = Caller::job().may_in_business(Act::Read)?;
        journal::note(&tx, scope, &app.unsigned(), "ended for a spent token", "session", session.id).await?;
        tx.commit().await?;
        return Err(Refusal::NotSignedIn);
    }
    if !spent && !accounts::refresh_session(&tx, &session, &hash_of(&next), now).await? {
        return Err(Refusal::NotSignedIn);
    }
    tx.commit().await?;

    Ok(Opened {
        person: session.person,
        session: session.id,
        refresh_token: next,
        expires_at: session.expires_at,
    })
}

/// The token that follows another: only who holds a key of the server can make it (HMAC, RFC 2104), and it is the same
/// however often it is made.
async fn successor(tx: &Tx, token: &str) -> Result<String, Refusal> {
    let keys = accounts::signing_keys(tx).await?;
    let secret = keys.first().map(|(_, secret)| secret.as_bytes()).ok_or(Refusal::NotSignedIn)?;
    let mut mac = Hmac::<Sha256>::new_from_slice(secret)
        .map_err(|error| Refusal::Failed(Failure::Hashing(error.to_string())))?;
    mac.update(token.as_bytes());
    Ok(format!("{:x}", mac.finalize().into_bytes()))
}

/// Ends the caller's session.
/// # Errors
/// When the database fails.
pub async fn end(app: &App, caller: &Caller) -> Result<(), Refusal> {
    let session = caller.session().ok_or(Refusal::NotSignedIn)?;
    let tx = app.store.begin().await?;
    accounts::end_session(&tx, session, app.now()).await?;
    tx.commit().await?;
    Ok(())
}

/// The caller of a session: with the roles that are in force now, whatever was so when the token was given. Those who
/// call at the same time are looked up together.
/// # Errors
/// [`Refusal::NotSignedIn`] when the session has ended.
pub async fn caller(app: &App, session: Uuid) -> Result<Caller, Refusal> {
    let own = app.clone();
    let look_up = move |sessions: Vec<Uuid>| {
        let app = own.clone();
        async move { callers(&app, &sessions).await.ok() }
    };
    match app.shared().callers.wait((), 1, session, look_up).await {
        Some(caller) => caller,
        None => callers(app, &[session]).await?.pop().ok_or(Refusal::NotSignedIn)?,
    }
}

/// The caller of each session.
async fn callers(app: &App, sessions: &[Uuid]) -> Result<Vec<Result<Caller, Refusal>>, Refusal> {
    let (tx, now) = (app.store.look().await?, app.now());
    let mut alive = accounts::find_sessions(&tx, sessions).await?;
    alive.retain(|session| is_alive(session, now));
    let people: HashSet<PersonId> = alive.iter().map(|session| session.person).collect();
    let mut roles: HashMap<PersonId, Vec<(Option<SiteId>, Role)>> = HashMap::new();
    for Kept { content: membership, .. } in
        accounts::memberships_of(&tx, &people.into_iter().collect::<Vec<_>>()).await?
    {
        if membership.holds(now) {
            roles.entry(membership.person).or_default().push((membership.site, membership.role));
        }
    }
    let is_everywhere = |roles: &[(Option<SiteId>, Role)]| roles.iter().any(|(site, _)| site.is_none());
    let there = match roles.values().any(|roles| is_everywhere(roles)) {
        true => plan::site_ids(&tx).await?,
        false => Vec::new(),
    };
    let callers: HashMap<Uuid, Caller> = alive
        .into_iter()
        .map(|session| {
            let roles = roles.get(&session.person).cloned().unwrap_or_default();
            let is_everywhere = is_everywhere(&roles);
            let caller = Caller::person_with(session.person, session.id, roles);
            (session.id, if is_everywhere { caller.among(there.clone()) } else { caller })
        })
        .collect();
    Ok(sessions.iter().map(|session| callers.get(session).cloned().ok_or(Refusal::NotSignedIn)).collect())
}

/// The keys that sign tokens, the newest first; the first is made where there is none.
/// # Errors
/// When the database fails.
pub async fn signing_keys(app: &App) -> Result<Vec<(String, String)>, Refusal> {
    let tx = app.store.begin().await?;
    tx.take_turn("signing keys").await?;
    let mut keys = accounts::signing_keys(&tx).await?;
    if keys.is_empty() {
        let key = (hash_of(&fresh_token()?)[..16].to_owned(), fresh_token()?);
        accounts::keep_signing_key(&tx, &key.0, &key.1, app.now()).await?;
        keys.push(key);
    }
    tx.commit().await?;
    Ok(keys)
}

fn is_alive(session: &Session, now: DateTime<Utc>) -> bool {
    session.ended_at.is_none() && now < session.expires_at && now < session.refreshed_at + IDLE
}

/// 256 random bits in hex.
pub(crate) fn fresh_token() -> Result<String, Refusal> {
    let mut bits = [0u8; 32];
    getrandom::fill(&mut bits).map_err(|error| Refusal::Failed(Failure::Hashing(error.to_string())))?;
    Ok(bits.iter().map(|byte| format!("{byte:02x}")).collect())
}

pub(crate) fn hash_of(token: &str) -> String {
    format!("{:x}", Sha256::digest(token))
}
