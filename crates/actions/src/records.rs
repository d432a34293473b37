//! The common life of records: created, read, listed, changed under their version, archived.

use chrono_tz::Tz;
use fillmark_domain::people::Act;
use fillmark_domain::{Faults, Id, Kept};
use fillmark_store::records::{self, Holder};
use fillmark_store::{Filter, Page, PageQuery, Record, Stamp, Tx};

use crate::known::refuse_unknown;
use crate::work::zone_of;
use crate::{App, Caller, Door, Refusal};

/// What the actions must know of a record with the common life.
pub trait Managed: Record<Scope: Door> {
    /// What it takes to change it; to read it takes [`Act::Read`].
    const MANAGED_BY: Act;
    /// Who still depends on it while they are not archived; then it is not archived either.
    const HELD_BY: &'static [Holder] = &[];

    /// Whether it is there at all for somebody who may read its kind.
    fn is_seen_by(_caller: &Caller, _id: Id<Self>) -> bool {
        true
    }

    /// What a caller's lists of it are narrowed to.
    fn narrowed(_caller: &Caller) -> Option<Filter> {
        None
    }

    /// Refuses what lies beyond the caller's reach, though [`Self::MANAGED_BY`] allows it. Asked of what is to be
    /// kept and of what is kept.
    fn within_reach(
        &self,
        _tx: &Tx,
        _scope: Self::Scope,
        _caller: &Caller,
        _id: Option<Id<Self>>,
    ) -> impl Future<Output = Result<(), Refusal>> + Send {
        async { Ok(()) }
    }

    /// What is wrong with it by itself.
    fn faults(&self) -> Faults {
        Faults::default()
    }

    /// What is wrong with it beside the other records.
    fn faults_beside(
        &self,
        _tx: &Tx,
        _scope: Self::Scope,
        _id: Option<Id<Self>>,
    ) -> impl Future<Output = Result<Faults, Refusal>> + Send {
        async { Ok(Faults::default()) }
    }

    /// What still depends on it besides [`Self::HELD_BY`], such as stock, in a word.
    fn needed_by(
        _tx: &Tx,
        _scope: Self::Scope,
        _id: Id<Self>,
    ) -> impl Future<Output = Result<Option<&'static str>, Refusal>> + Send {
        async { Ok(None) }
    }

    /// It with what follows from other records where the caller leaves it open. Asked before it is kept for the first time.
    fn completed(self, _tx: &Tx, _scope: Self::Scope) -> impl Future<Output = Result<Self, Refusal>> + Send {
        async { Ok(self) }
    }

    /// What follows from its being made, changed or archived, in the same transaction.
    fn follow(
        _tx: &Tx,
        _scope: Self::Scope,
        _stamp: &Stamp<'_>,
        _kept: &Kept<Self>,
    ) -> impl Future<Output = Result<(), Refusal>> + Send {
        async { Ok(()) }
    }
}

/// Where records of a word are: the site, or nothing for the business.
pub type At<R> = <<R as Record>::Scope as Door>::At;

/// Keeps a new record.
/// # Errors
/// When the caller may not, the content has faults, or its name is in use.
pub async fn create<R: Managed>(app: &App, caller: &Caller, at: At<R>, content: R) -> Result<Kept<R>, Refusal>
where
    R::Scope: Door,
{
    let scope = <R::Scope as Door>::open(caller, R::MANAGED_BY, at)?;

    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    content.within_reach(&tx, scope, caller, None).await?;
    refuse_faults(&tx, scope, None, &content).await?;
    let content = content.completed(&tx, scope).await?;
    let kept = records::create(&tx, scope, &stamp, &content).await?;
    R::follow(&tx, scope, &stamp, &kept).await?;
    tx.commit().await?;

    Ok(kept)
}

/// The record with this id.
/// # Errors
/// When the caller may not read it or it is not there.
pub async fn read<R: Managed>(app: &App, caller: &Caller, at: At<R>, id: Id<R>) -> Result<Kept<R>, Refusal>
where
    R::Scope: Door,
{
    let scope = open(caller, Act::Read, at, id)?;
    let tx = app.store.look().await?;
    records::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)
}

/// A page of the records.
/// # Errors
/// When the caller may not read them.
pub async fn list<R: Managed>(
    app: &App,
    caller: &Caller,
    at: At<R>,
    query: &PageQuery,
) -> Result<Page<Kept<R>>, Refusal>
where
    R::Scope: Door,
{
    let scope = <R::Scope as Door>::open(caller, Act::Read, at)?;
    let mut query = query.clone();
    query.filters.extend(R::narrowed(caller));
    let tx = app.store.look().await?;
    Ok(records::page(&tx, scope, &query).await?)
}

/// Replaces a record's content, made against a version of it.
/// # Errors
/// When the caller may not, the record is not there or has changed since, or the content has faults.
pub async fn change<R: Managed>(
    app: &App,
    caller: &Caller,
    at: At<R>,
    id: Id<R>,
    version: i64,
    content: R,
) -> Result<Kept<R>, Refusal>
where
    R::Scope: Door,
{
    let scope = open(caller, R::MANAGED_BY, at, id)?;

    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    lock_open(&tx, scope, caller, id).await?;
    content.within_reach(&tx, scope, caller, Some(id)).await?;
    refuse_faults(&tx, scope, Some(id), &content).await?;
    let kept = records::change(&tx, scope, id, version, &stamp, &content).await?.ok_or(Refusal::Stale)?;
    R::follow(&tx, scope, &stamp, &kept).await?;
    tx.commit().await?;

    Ok(kept)
}

/// Puts a record away: it stays readable, nothing new can name it.
/// # Errors
/// When the caller may not, it is not there, has changed since, or something still depends on it.
pub async fn archive<R: Managed>(
    app: &App,
    caller: &Caller,
    at: At<R>,
    id: Id<R>,
    version: i64,
) -> Result<Kept<R>, Refusal>
where
    R::Scope: Door,
{
    let scope = open(caller, R::MANAGED_BY, at, id)?;

    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    lock_open(&tx, scope, caller, id).await?;
    for holder in R::HELD_BY {
        if records::is_held(&tx, scope, *holder, id.uuid()).await? {
            return Err(Refusal::Conflict(format!("a {} still depends on this {}", holder.word, R::WORD)));
        }
    }
    if let Some(word) = R::needed_by(&tx, scope, id).await? {
        return Err(Refusal::Conflict(format!("{word} still depends on this {}", R::WORD)));
    }
    let kept = records::archive(&tx, scope, id, version, &stamp).await?.ok_or(Refusal::Stale)?;
    R::follow(&tx, scope, &stamp, &kept).await?;
    tx.commit().await?;

    Ok(kept)
}

/// The zone by whose clock records of a site are told; none for those of the business.
/// # Errors
/// When the caller may not read them.
pub async fn zone<R: Managed>(app: &App, caller: &Caller, at: At<R>) -> Result<Option<Tz>, Refusal>
where
    R::Scope: Door,
{
    let Some(site) = <R::Scope as Door>::site(at) else { return Ok(None) };
    let scope = caller.may(Act::Read, site)?;
    Ok(Some(zone_of(&app.store.look().await?, scope).await?))
}

/// Leave to do something with a record. One that is not there for the caller is not there before it is not allowed.
fn open<R: Managed>(caller: &Caller, act: Act, at: At<R>, id: Id<R>) -> Result<R::Scope, Refusal>
where
    R::Scope: Door,
{
    if R::is_seen_by(caller, id) { <R::Scope as Door>::open(caller, act, at) } else { Err(Refusal::NotFound) }
}

/// Locks a record that the caller may change, so that nothing comes to depend on it while it is put away.
async fn lock_open<R: Managed>(tx: &Tx, scope: R::Scope, caller: &Caller, id: Id<R>) -> Result<(), Refusal> {
    let kept = records::lock(tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    kept.content.within_reach(tx, scope, caller, Some(id)).await?;
    match kept.archived_at {
        None => Ok(()),
        Some(_) => Err(Refusal::Conflict(format!("this {} is archived", R::WORD))),
    }
}

/// Refuses content that is wrong by itself, names what is not there, or does not fit beside the others. What it names
/// is held, so that it is not archived meanwhile.
async fn refuse_faults<R: Managed>(
    tx: &Tx,
    scope: R::Scope,
    id: Option<Id<R>>,
    content: &R,
) -> Result<(), Refusal> {
    let mut faults = content.faults();
    for reference in content.references() {
        let there = records::hold(tx, scope, reference).await?;
        refuse_unknown(&mut faults, reference.pointer, there);
    }
    if faults.is_empty() {
        faults = content.faults_beside(tx, scope, id).await?;
    }
    faults.or(Some(())).map_err(Refusal::Invalid)
}
