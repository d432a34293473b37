//! Alerts: what a person must see. Raised and closed within other actions; seen and closed by people.

use fillmark_domain::Id;
use fillmark_domain::local::clock_and_day;
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::SiteId;
use fillmark_domain::work::{Alert, AlertKind, AlertStanding, AlreadyClosed, ClosedBy};
use fillmark_store::alerts::{self, KeptAlert};
use fillmark_store::{Filter, Page, PageQuery, SiteScope, Stamp, StoreError, Tx};
use uuid::Uuid;

use crate::work::zone_of;
use crate::{App, Caller, Refusal};

/// Raises an alert for whoever manages in the transaction of what it is about, once for a kind and record while it is not
/// closed.
/// # Errors
/// When the database fails.
pub async fn raise(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    kind: AlertKind,
    about: Uuid,
    text: &str,
) -> Result<(), StoreError> {
    raise_for(tx, site, stamp, kind, about, (None, text)).await
}

/// The same for somebody in particular, where it is somebody's.
/// # Errors
/// When the database fails.
pub async fn raise_for(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    kind: AlertKind,
    about: Uuid,
    (whom, text): (Option<PersonId>, &str),
) -> Result<(), StoreError> {
    alerts::raise(tx, site, stamp, kind, about, (whom, text)).await.map(drop)
}

/// Closes the alert of a kind about a record, if one is not closed, in the transaction of what closes it.
/// # Errors
/// When the database fails.
pub async fn close_for(
    tx: &Tx,
    site: SiteScope,
    stamp: &Stamp<'_>,
    kind: AlertKind,
    about: Uuid,
    by: ClosedBy,
) -> Result<(), StoreError> {
    let Some(kept) = alerts::lock_unclosed(tx, site, kind, about).await? else { return Ok(()) };
    match kept.alert.closed(stamp.at, by) {
        Ok(closed) => alerts::settle(tx, site, stamp, kept.id, closed.state).await,
        // Closed is what was wanted.
        Err(AlreadyClosed { .. }) => Ok(()),
    }
}

/// A page of a site's alerts: those that are not closed, unless the query asks for a state.
/// # Errors
/// When the caller may not read them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<KeptAlert>, Refusal> {
    let site = caller.may(Act::Read, site)?;
    let mut query = query.clone();
    if !query.filters.iter().any(|filter| matches!(filter, Filter::OneOf("state", _))) {
        query.filters.push(Filter::IsNull("closed_at", true));
    }
    let tx = app.store.look().await?;
    Ok(alerts::page(&tx, site, &query).await?)
}

/// Notes that the caller has seen an alert.
/// # Errors
/// When the caller may not, the alert is not there, or it is closed.
pub async fn see(app: &App, caller: &Caller, site: SiteId, id: Id<Alert>) -> Result<KeptAlert, Refusal> {
    become_of(app, caller, site, id, AlertStanding::Seen).await
}

/// Closes an alert, since the caller says that nothing is to be done.
/// # Errors
/// When the caller may not, the alert is not there, or it is closed already.
pub async fn close(app: &App, caller: &Caller, site: SiteId, id: Id<Alert>) -> Result<KeptAlert, Refusal> {
    become_of(app, caller, site, id, AlertStanding::Closed).await
}

async fn become_of(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Alert>,
    wanted: AlertStanding,
) -> Result<KeptAlert, Refusal> {
    let site = caller.may(Act::EnterWork, site)?;
    let person = caller.person().ok_or(Refusal::NotSignedIn)?;
    let stamp = app.stamp(caller);

    let tx = app.store.begin().await?;
    let kept = alerts::lock(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    let before = kept.alert.state;
    let alert = match wanted {
        AlertStanding::Closed => kept.alert.closed(stamp.at, ClosedBy::Person(person)),
        AlertStanding::Open | AlertStanding::Seen => kept.alert.seen(stamp.at, person),
    };
    let alert = match alert {
        Ok(alert) => alert,
        Err(AlreadyClosed { at }) => {
            let closed = clock_and_day(zone_of(&tx, site).await?, at);
            return Err(Refusal::Conflict(format!("the alert was closed at {closed}")));
        }
    };
    if alert.state != before {
        alerts::settle(&tx, site, &stamp, id, alert.state).await?;
    }
    let kept = alerts::lock(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    tx.commit().await?;

    Ok(kept)
}
