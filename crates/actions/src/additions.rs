//! Additions: product or water put into a tank, drawn from lots in the same transaction, and taken back.

mod doubt;
pub(crate) mod follow_up;

use std::collections::{BTreeSet, HashMap};

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{Addition, AdditionReason, Advice, Measured, Poured, TankChange, has_passed};
use fillmark_domain::people::{Act, PersonId};
use fillmark_domain::places::{Site, SiteId, TankId};
use fillmark_domain::stock::{LotId, Product, ProductId};
use fillmark_domain::work::{Check, follow_up_check};
use fillmark_domain::{Amount, Faults, Id, Kept, Metric, Quantity};
use fillmark_store::additions::KeptAddition;
use fillmark_store::{
    Page, PageQuery, Reference, SiteScope, Stamp, Tx, entries, holdings, plan, planning, records,
};
use uuid::Uuid;

use crate::caller::Correcting;
use crate::known::Known;
use crate::readings::Outcome;
use crate::retry::until_seen;
use crate::stock::{self, Pour, Shelf};
use crate::{App, Caller, Refusal};

/// An addition as somebody enters it.
#[derive(Debug, Clone, PartialEq)]
pub struct AdditionEntry {
    /// Made by the client: the same one twice has one effect.
    pub client_id: Uuid,
    /// Into which tank.
    pub tank: TankId,
    /// The product; nothing for water.
    pub product: Option<ProductId>,
    /// How much.
    pub amount: Quantity,
    /// The lot on the label.
    pub lot: Option<LotId>,
    /// Why.
    pub reason: AdditionReason,
    /// The tank change it is part of.
    pub change: Option<Id<TankChange>>,
    /// The advice it followed.
    pub advice: Option<Id<Advice>>,
    /// When.
    pub recorded_at: DateTime<Utc>,
    /// Who poured, when not the one who enters it.
    pub done_by: Option<PersonId>,
    /// It was poured though the record holds less.
    pub poured_all_the_same: bool,
    /// It was asked back and is right all the same.
    pub confirmed: bool,
}

/// Enters additions, each for itself.
/// # Errors
/// When the caller may not, or the database fails; what is wrong with an entry is its own outcome.
pub async fn enter(
    app: &App,
    caller: &Caller,
    site: SiteId,
    entries: &[AdditionEntry],
) -> Result<Vec<Outcome<Addition>>, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    until_seen(|| async {
        let tx = app.store.begin().await?;
        let outcomes = enter_within(&tx, scope, &app.stamp(caller), entries).await?;
        tx.commit().await?;

        Ok(outcomes)
    })
    .await
}

/// Enters additions all together or not at all.
/// # Errors
/// The first entry that is wrong, by its place; nothing is kept then.
pub async fn enter_together(
    app: &App,
    caller: &Caller,
    site: SiteId,
    entries: &[AdditionEntry],
) -> Result<Vec<Outcome<Addition>>, Refusal> {
    let scope = caller.may(Act::EnterWork, site)?;
    until_seen(|| async {
        let tx = app.store.begin().await?;
        let outcomes = enter_within(&tx, scope, &app.stamp(caller), entries).await?;
        let outcomes = crate::readings::all_or_none(outcomes)?;
        tx.commit().await?;

        Ok(outcomes)
    })
    .await
}

/// Enters additions inside another action's transaction.
pub(crate) async fn enter_within(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    entries: &[AdditionEntry],
) -> Result<Vec<Outcome<Addition>>, Refusal> {
    if entries.is_empty() {
        return Ok(Vec::new());
    }
    // All at once and in one order for everybody, so that two who pour the same never wait for each other.
    let products: BTreeSet<ProductId> = entries.iter().filter_map(|entry| entry.product).collect();
    holdings::lock_all(tx, scope, &products).await?;
    let ids: Vec<Uuid> = entries.iter().map(|entry| entry.client_id).collect();
    let earlier = entries::find_by_client_ids::<Addition>(tx, scope, &ids).await?;
    let mut bench = Bench {
        tx,
        scope,
        stamp,
        site: plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?,
        earlier: earlier.into_iter().map(|kept| (kept.1.client_id, kept)).collect(),
        products: HashMap::new(),
        shelf: Shelf::default(),
        known: Known::default(),
        kept: Vec::new(),
    };
    let mut outcomes = Vec::with_capacity(entries.len());
    for entry in entries {
        outcomes.push(match bench.take(entry).await {
            Ok(outcome) => outcome,
            Err(refusal) if refusal.is_about_the_entry() => Outcome::Rejected(refusal),
            Err(refusal) => return Err(refusal),
        });
    }
    bench.shelf.keep(tx, scope, stamp).await?;
    entries::keep(tx, scope, stamp, &bench.kept).await?;
    let zone = bench.site.content.time_zone;
    let follow_up = |(_, addition): &KeptAddition| follow_up_check(addition, zone, stamp.at);
    let follow_ups: Vec<Check> = bench.kept.iter().filter_map(follow_up).collect();
    planning::claim(tx, scope, stamp, &follow_ups).await?;
    Ok(outcomes)
}

/// Takes an addition back by a linked opposite, its lots included.
/// # Errors
/// When the caller may not, the addition is not there, was taken back before, or is part of a tank change, which is
/// taken back as a whole.
pub async fn reverse(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Addition>,
    client_id: Uuid,
    reason: &str,
) -> Result<KeptAddition, Refusal> {
    let leave = caller.may_correct(site)?;
    until_seen(|| reverse_once(app, leave, app.stamp(caller), id, client_id, reason)).await
}

async fn reverse_once(
    app: &App,
    leave: Correcting,
    stamp: Stamp<'_>,
    id: Id<Addition>,
    client_id: Uuid,
    reason: &str,
) -> Result<KeptAddition, Refusal> {
    let (tx, scope) = (app.store.begin().await?, leave.scope);
    if let Some(earlier) = entries::find_by_client_ids::<Addition>(&tx, scope, &[client_id]).await?.pop() {
        leave.refuse_anothers(earlier.1.entered_by)?;
        let same = earlier.1.reverses.as_ref().is_some_and(|(reversed, _)| *reversed == id);
        return if same { Ok(earlier) } else { Err(Refusal::ClientIdReused) };
    }
    let kept = entries::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    leave.refuse_others(kept.1.entered_by, kept.1.received_at, stamp.at)?;
    if kept.1.change.is_some() {
        return Err(Refusal::Conflict("it is part of a tank change; take back the change".into()));
    }
    let opposite = reverse_within(&tx, scope, &stamp, kept.clone(), client_id, reason).await?;
    follow_up::forgo(&tx, scope, &kept.1).await?;
    tx.commit().await?;

    Ok(opposite)
}

/// Takes an addition back inside another action's transaction.
pub(crate) async fn reverse_within(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    (id, kept): KeptAddition,
    client_id: Uuid,
    reason: &str,
) -> Result<KeptAddition, Refusal> {
    if kept.reversed.is_some() || kept.reverses.is_some() {
        return Err(Refusal::Conflict("it was taken back before".into()));
    }
    let poured = match kept.poured {
        Poured::Product { product, amount, base, slip, lots, shortage } => Poured::Product {
            product,
            amount: -amount,
            base,
            slip: stock::give_back(tx, scope, stamp, slip, reason).await?,
            lots: lots.into_iter().map(|(lot, amount)| (lot, -amount)).collect(),
            shortage: -shortage,
        },
        Poured::Water { litres } => Poured::Water { litres: -litres },
    };
    let opposite = Addition {
        client_id,
        poured,
        received_at: stamp.at,
        entered_by: stamp.by,
        reverses: Some((id, reason.to_owned())),
        ..kept
    };
    let opposite = (stamp.fresh(), opposite);
    entries::keep(tx, scope, stamp, std::slice::from_ref(&opposite)).await?;
    Ok(opposite)
}

/// One addition.
/// # Errors
/// When the caller may not see it or it is not there.
pub async fn read(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: Id<Addition>,
) -> Result<KeptAddition, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    entries::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)
}

/// A page of a site's additions.
/// # Errors
/// When the caller may not see them.
pub async fn list(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<KeptAddition>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(entries::page(&tx, scope, query).await?)
}

/// Where additions are measured out one after the other.
struct Bench<'a> {
    tx: &'a Tx,
    scope: SiteScope,
    stamp: &'a Stamp<'a>,
    site: Kept<Site>,
    earlier: HashMap<Uuid, KeptAddition>,
    products: HashMap<ProductId, Option<Kept<Product>>>,
    shelf: Shelf,
    known: Known,
    kept: Vec<KeptAddition>,
}

impl Bench<'_> {
    async fn take(&mut self, entry: &AdditionEntry) -> Result<Outcome<Addition>, Refusal> {
        if let Some((id, earlier)) = self.earlier.get(&entry.client_id) {
            return if is_same(earlier, entry) {
                Ok(Outcome::Duplicate(*id))
            } else {
                Err(Refusal::ClientIdReused)
            };
        }
        self.look_up(entry).await?;
        let measured = self.measured(entry).await?;
        doubt::ask_back(self.tx, self.scope, self.stamp, entry, measured).await?;
        let addition = Addition {
            client_id: entry.client_id,
            tank: entry.tank,
            poured: self.pour(entry, measured).await?,
            reason: entry.reason,
            change: entry.change,
            advice: entry.advice,
            recorded_at: entry.recorded_at,
            received_at: self.stamp.at,
            done_by: entry.done_by.or(self.stamp.by),
            entered_by: self.stamp.by,
            reverses: None,
            reversed: None,
        };
        let id = self.stamp.fresh();
        self.earlier.insert(entry.client_id, (id, addition.clone()));
        self.kept.push((id, addition));
        Ok(Outcome::Created(id))
    }

    /// What is to be poured, and nothing of it drawn yet.
    async fn measured(&mut self, entry: &AdditionEntry) -> Result<Measured, Refusal> {
        let Some(product) = entry.product else {
            let mut faults = Faults::default();
            let litres = faults.take("/amount", "not_a_volume", Metric::Volume.canonical(entry.amount));
            let positive = litres.is_none_or(|litres| litres > 0.0);
            faults.unless(positive, "/amount", "out_of_range", "expected more than nothing");
            faults.unless(entry.lot.is_none(), "/lot_id", "no_lot", "expected no lot, since water has none");
            return Ok(Measured::Water { litres: faults.or(litres)? });
        };
        let found = &self.product(product).await?.content;
        let amount = stock::some_amount("/amount", entry.amount, found)?;
        Ok(Measured::Product { product, amount, base: found.base })
    }

    async fn pour(&mut self, entry: &AdditionEntry, measured: Measured) -> Result<Poured, Refusal> {
        let (product, amount, base) = match measured {
            Measured::Product { product, amount, base } => (product, amount, base),
            Measured::Water { litres } => return Ok(Poured::Water { litres }),
        };
        let day = entry.recorded_at.with_timezone(&self.site.content.time_zone).date_naive();
        let pour = Pour {
            product: (product, base),
            amount,
            lot: entry.lot,
            all_the_same: entry.poured_all_the_same,
            at: entry.recorded_at,
            on: day,
        };
        let (slip, drawn) = self.shelf.draw(self.tx, self.scope, self.stamp, &pour).await?;
        Ok(Poured::Product { product, amount, base, slip, lots: drawn.takes, shortage: drawn.short })
    }

    async fn product(&mut self, id: ProductId) -> Result<&Kept<Product>, Refusal> {
        if !self.products.contains_key(&id) {
            let found = records::find::<Product>(self.tx, self.scope.in_business(), id).await?;
            self.products.insert(id, found);
        }
        let found = self.products.get(&id).and_then(Option::as_ref);
        found.ok_or_else(|| {
            Refusal::invalid("/product_id", "unknown_id", "expected the id of a product of the business")
        })
    }

    async fn look_up(&mut self, entry: &AdditionEntry) -> Result<(), Refusal> {
        let mut faults = Faults::default();
        let tank = [Reference::of_site("/tank_id", "tanks", entry.tank.uuid())];
        self.known.look_up(self.tx, self.scope, tank, &mut faults).await?;
        self.known.look_up_advice(self.tx, self.scope, entry.advice, entry.tank, &mut faults).await?;
        self.known.look_up_doer(self.tx, self.scope, "/done_by", entry.done_by, &mut faults).await?;
        let past = has_passed(entry.recorded_at, self.stamp.at);
        faults.unless(past, "/recorded_at", "in_the_future", "expected an instant that has passed");
        Ok(faults.or(Some(()))?)
    }
}

fn is_same(earlier: &Addition, entry: &AdditionEntry) -> bool {
    let poured = match &earlier.poured {
        Poured::Product { product, amount, base, .. } => {
            entry.product == Some(*product)
                && Amount::entered(entry.amount, *base).is_ok_and(|entered| entered == *amount)
        }
        Poured::Water { litres } => entry.product.is_none() && entry.amount.canonical() == *litres,
    };
    poured
        && (earlier.tank, earlier.reason, earlier.recorded_at, earlier.change, earlier.advice)
            == (entry.tank, entry.reason, entry.recorded_at, entry.change, entry.advice)
        && entry.done_by.is_none_or(|person| earlier.done_by == Some(person))
}
