//! Signing in, staying signed in, signing out.

use std::collections::HashMap;
use std::net::IpAddr;

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::people::keys::KeyPurpose;
use fillmark_domain::people::{Act, Person, PersonId};
use fillmark_store::accounts::{self, SecretKey, Session};
use fillmark_store::standing::{self, Standing};
use fillmark_store::{BusinessScope, Tx, journal, records, spent_tokens};
use hmac::{Hmac, Mac};
use sha2::{Digest, Sha256};
use uuid::Uuid;

use crate::passwords::Fit;
use crate::refusal::Failure;
use crate::tries::Tried;
use crate::{App, Caller, Managed, Refusal};

/// A session ends after so long without a refresh…
const IDLE: TimeDelta = TimeDelta::days(14);
/// …and after so long whatever happens.
const LONGEST: TimeDelta = TimeDelta::days(60);
/// A person has so many sessions at most: the oldest makes room, as its device is surely gone.
const MOST: usize = 50;
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
/// [`Refusal::WrongPassword`], after the same work whether the name is known or not; [`Refusal::TooSoon`] when too many
/// failed before.
pub async fn open(
    app: &App,
    sign_in: &str,
    password: String,
    device: Option<String>,
    from: IpAddr,
) -> Result<Opened, Refusal> {
    let (app, name) = (app.clone(), sign_in.trim().to_lowercase());
    // In a task of its own: a guess counts, whether its sender waits for the answer or not.
    tokio::spawn(async move { open_counted(&app, &name, password, device, from).await })
        .await
        .map_err(|cut_off| Refusal::Failed(Failure::CutOff(cut_off)))?
}

async fn open_counted(
    app: &App,
    name: &str,
    password: String,
    device: Option<String>,
    from: IpAddr,
) -> Result<Opened, Refusal> {
    let tried = Tried::of(name, from);
    // Looked at within the turn: of a hundred guesses sent at once only the first few are hashed.
    let turn = app.shared().hashing.turn().await?;
    tried.refuse_too_soon(app).await?;
    let known = accounts::find_by_sign_in(&app.store.look().await?, name).await?;
    let (person, hash) = known.unzip();
    let (turn, fit) = turn.fits(password.clone(), hash.clone()).await?;
    let Some(person) = person.filter(|_| fit != Fit::No) else {
        tried.failed(app).await?;
        return Err(Refusal::WrongPassword);
    };
    let new_hash = if fit == Fit::Outdated { Some(turn.hash(password).await?.1) } else { None };

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
    if accounts::lock_password(&tx, person).await? != hash {
        // Changed or taken away while it was compared.
        return Err(Refusal::WrongPassword);
    }
    tried.succeeded(&tx).await?;
    if let Some(hash) = new_hash {
        accounts::set_password(&tx, person, &hash, &stamp).await?;
    }
    for old in accounts::sessions_of(&tx, person, stamp.at).await?.into_iter().skip(MOST - 1) {
        accounts::end_session(&tx, old.id, stamp.at).await?;
    }
    accounts::keep_session(&tx, &session).await?;
    tx.commit().await?;

    Ok(Opened { person, session: session.id, refresh_token: token, expires_at: session.expires_at })
}

/// Trades a refresh token for the next. A spent token ends the session, however often it was renewed since, because somebody else
/// may hold it; within a moment of being spent it is an answer that got lost, and is answered with the same next token.
/// # Errors
/// [`Refusal::NotSignedIn`] when the token is not good.
pub async fn refresh(app: &App, token: &str) -> Result<Opened, Refusal> {
    let (hash, now) = (hash_of(token), app.now());
    let tx = app.store.begin().await?;
    let Some(session) = accounts::lock_session_by_token(&tx, &hash).await? else {
        return match spent_tokens::session_of(&tx, &hash).await? {
            Some(session) => end_for_a_spent_token(app, tx, session).await,
            None => Err(Refusal::NotSignedIn),
        };
    };
    if !is_alive(&session, now) {
        return Err(Refusal::NotSignedIn);
    }
    let spent = session.refresh_hash != hash;
    let was_given = |next: &String| {
        !spent || now - session.refreshed_at <= GRACE && session.refresh_hash == hash_of(next)
    };
    let Some(next) = successors(&tx, token).await?.into_iter().find(was_given) else {
        return end_for_a_spent_token(app, tx, session.id).await;
    };
    if !spent {
        if !accounts::refresh_session(&tx, &session, &hash_of(&next), now).await? {
            return Err(Refusal::NotSignedIn);
        }
        spent_tokens::keep(&tx, &hash, session.id, now).await?;
    }
    tx.commit().await?;

    Ok(Opened {
        person: session.person,
        session: session.id,
        refresh_token: next,
        expires_at: session.expires_at,
    })
}

/// Ends a session of which somebody has a copy.
async fn end_for_a_spent_token(app: &App, tx: Tx, session: Uuid) -> Result<Opened, Refusal> {
    accounts::end_session(&tx, session, app.now()).await?;
    let scope = Caller::job().may_in_business(Act::Read)?;
    journal::note(&tx, scope, &app.unsigned(), "ended for a spent token", "session", session).await?;
    tx.commit().await?;
    Err(Refusal::NotSignedIn)
}

/// Forgets tokens that were spent so long ago that no session of theirs is left.
/// # Errors
/// When the database fails.
pub async fn forget_spent(app: &App) -> Result<(), Refusal> {
    let before = app.now() - LONGEST;
    if spent_tokens::any_before(&app.store.look().await?, before).await? {
        let tx = app.store.begin().await?;
        spent_tokens::forget_before(&tx, before).await?;
        tx.commit().await?;
    }
    Ok(())
}

/// The tokens that may follow another, one a key, the newest key's first: only who holds a key of the server can make
/// them (HMAC, RFC 2104), and they are the same however often they are made.
async fn successors(tx: &Tx, token: &str) -> Result<Vec<String>, Refusal> {
    let keys = accounts::keys(tx, KeyPurpose::Tokens).await?;
    let follow = |key: &SecretKey| {
        let mut mac = Hmac::<Sha256>::new_from_slice(key.secret.as_bytes())
            .map_err(|error| Refusal::Failed(Failure::Hashing(error.to_string())))?;
        mac.update(token.as_bytes());
        Ok(format!("{:x}", mac.finalize().into_bytes()))
    };
    keys.iter().map(follow).collect()
}

/// The open sessions of a person, the newest first: one's own, or those of anybody whose roles lie within one's own.
/// # Errors
/// When the caller may not see them or there is no such person.
pub async fn list(app: &App, caller: &Caller, person: PersonId) -> Result<Vec<Session>, Refusal> {
    let tx = app.store.look().await?;
    reach(&tx, caller, person).await?;
    let now = app.now();
    let mut open = accounts::sessions_of(&tx, person, now).await?;
    open.retain(|session| is_alive(session, now));
    Ok(open)
}

/// Ends a session of a person: one's own, or of anybody whose roles lie within one's own.
/// # Errors
/// When the caller may not, or the person has no such session open.
pub async fn end_one(app: &App, caller: &Caller, person: PersonId, id: Uuid) -> Result<(), Refusal> {
    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    let scope = reach(&tx, caller, person).await?;
    let session = accounts::find_sessions(&tx, &[id]).await?.pop();
    let open = session.filter(|session| session.person == person && is_alive(session, stamp.at));
    let open = open.ok_or(Refusal::NotFound)?;
    accounts::end_session(&tx, open.id, stamp.at).await?;
    journal::note(&tx, scope, &stamp, "ended", "session", open.id).await?;
    tx.commit().await?;
    Ok(())
}

/// Ends all sessions of a person; of one's own, all but the one this is asked in.
/// # Errors
/// When the caller may not, or there is no such person.
pub async fn end_all(app: &App, caller: &Caller, person: PersonId) -> Result<(), Refusal> {
    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    let scope = reach(&tx, caller, person).await?;
    accounts::end_sessions_of(&tx, person, caller.session(), stamp.at).await?;
    journal::note(&tx, scope, &stamp, "sessions ended", "person", person.uuid()).await?;
    tx.commit().await?;
    Ok(())
}

/// Leave to look after a person's sessions and password.
/// # Errors
/// When the caller may not, or there is no such person.
pub(crate) async fn reach(tx: &Tx, caller: &Caller, person: PersonId) -> Result<BusinessScope, Refusal> {
    if caller.person() == Some(person) {
        return caller.may_in_business(Act::Read);
    }
    let scope = caller.may_in_business(Act::ManagePeople)?;
    let found = records::find::<Person>(tx, scope, person).await?.ok_or(Refusal::NotFound)?;
    found.content.within_reach(tx, scope, caller, Some(person)).await?;
    Ok(scope)
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
/// call at the same time are looked up together, and who called a moment ago is remembered.
/// # Errors
/// [`Refusal::NotSignedIn`] when the session has ended.
pub async fn caller(app: &App, session: Uuid) -> Result<Caller, Refusal> {
    if let Some(standing) = standing::remembered(&app.store, session) {
        let alive = is_alive(&standing.session, app.now());
        return if alive { Ok(caller_of(&standing, app.now())) } else { Err(Refusal::NotSignedIn) };
    }
    let own = app.clone();
    let look_up = move |sessions: Vec<Uuid>| {
        let app = own.clone();
        async move { callers(&app, &sessions).await.inspect_err(untold).ok() }
    };
    match app.shared().callers.wait((), 1, session, look_up).await {
        Some(caller) => caller,
        None => callers(app, &[session]).await?.pop().ok_or(Refusal::NotSignedIn)?,
    }
}

/// Those who were looked up together are looked up alone then: the log keeps why.
fn untold(refusal: &Refusal) {
    tracing::warn!(error = refusal as &dyn std::error::Error, "sessions could not be looked up together");
}

/// The caller of each session.
async fn callers(app: &App, sessions: &[Uuid]) -> Result<Vec<Result<Caller, Refusal>>, Refusal> {
    let (standings, now) = (standing::of_sessions(&app.store, sessions).await?, app.now());
    let callers: HashMap<Uuid, Caller> = standings
        .iter()
        .filter(|standing| is_alive(&standing.session, now))
        .map(|standing| (standing.session.id, caller_of(standing, now)))
        .collect();
    Ok(sessions.iter().map(|session| callers.get(session).cloned().ok_or(Refusal::NotSignedIn)).collect())
}

fn caller_of(Standing { session, memberships, sites }: &Standing, now: DateTime<Utc>) -> Caller {
    let held = memberships.iter().filter(|membership| membership.holds(now));
    let roles = held.map(|membership| (membership.site, membership.role)).collect();
    Caller::person_with(session.person, session.id, roles).among(sites.clone())
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
