//! Devices that send readings by themselves: their tokens, and who they are when they call.

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_domain::Id;
use fillmark_domain::people::{Act, Device};
use fillmark_domain::places::SiteId;
use fillmark_store::device_tokens::{self, Given};
use fillmark_store::{journal, records};

use crate::sessions::{fresh_token, hash_of};
use crate::{App, Caller, Refusal};

/// What a device's token begins with, so that one in a log or a script is known for what it is. The id of its site follows,
/// since every look-up of a site's rows begins with the site.
pub const PREFIX: &str = "fmd_";
/// The last use of a token is kept to the minute: a probe that sends each second needs no write more for it.
const USE_KEPT_EACH: TimeDelta = TimeDelta::minutes(1);

/// Gives a device a new token, told once; the one before is good no more.
/// # Errors
/// When the caller may not, the device is not there, or its time is over.
pub async fn give_token(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Device>,
) -> Result<(String, DateTime<Utc>), Refusal> {
    let token = format!("{PREFIX}{}_{}", site.uuid().simple(), fresh_token()?);
    let site = caller.may(Act::Manage, site)?;

    let stamp = app.stamp(caller);
    let tx = app.store.begin().await?;
    let device = records::lock(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    if device.archived_at.is_some() || !device.content.holds(stamp.at) {
        return Err(Refusal::Conflict(
            "the device's time is over, or it was archived: set a later until_at, or make a new device"
                .to_owned(),
        ));
    }
    device_tokens::keep(&tx, site, id, &hash_of(&token), stamp.at).await?;
    journal::note(&tx, site, &stamp, "token given", "device", id.uuid()).await?;
    tx.commit().await?;

    Ok((token, device.content.until))
}

/// What is known of a device's token; nothing when it has none.
/// # Errors
/// When the caller may not, or the device is not there.
pub async fn token(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Device>,
) -> Result<Option<Given>, Refusal> {
    let site = caller.may(Act::Manage, site)?;
    let tx = app.store.look().await?;
    records::find(&tx, site, id).await?.ok_or(Refusal::NotFound)?;
    Ok(device_tokens::find(&tx, site, id).await?)
}

/// The caller that a device's token stands for.
/// # Errors
/// [`Refusal::NotSignedIn`] when it is not good, or its device's time is over.
pub async fn caller(app: &App, token: &str) -> Result<Caller, Refusal> {
    let (tx, now) = (app.store.look().await?, app.now());
    let site = site_of(token).ok_or(Refusal::NotSignedIn)?;
    let found =
        device_tokens::find_by_hash(&tx, Caller::job().may(Act::Read, site)?, &hash_of(token)).await?;
    drop(tx);
    let (device, given) = found.ok_or(Refusal::NotSignedIn)?;
    if device.archived_at.is_some() || !device.content.holds(now) {
        return Err(Refusal::NotSignedIn);
    }
    let caller = Caller::device(device.id, site);
    if given.used_at.is_none_or(|used_at| now - used_at >= USE_KEPT_EACH) {
        let site = caller.may(Act::EnterReadings, site)?;
        let tx = app.store.begin().await?;
        device_tokens::used(&tx, site, device.id, now).await?;
        tx.commit().await?;
    }
    Ok(caller)
}

fn site_of(token: &str) -> Option<SiteId> {
    let (site, _) = token.strip_prefix(PREFIX)?.split_once('_')?;
    site.parse().ok().map(SiteId::new)
}
