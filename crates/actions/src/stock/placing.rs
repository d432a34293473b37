//! An order on its way: placed, and as its supplier confirms it.

use chrono::{DateTime, NaiveDate, NaiveDateTime, Utc};
use fillmark_domain::entries::has_passed_at_a_desk;
use fillmark_domain::growing::is_keepable;
use fillmark_domain::people::Act;
use fillmark_domain::places::{Closure, Site, SiteId};
use fillmark_domain::stock::{NotAllowed, Offer, Order, OrderId, OrderLine, Product, Supplier, arrival};
use fillmark_domain::{Faults, Id, OpenDays};
use fillmark_store::{SiteScope, Tx, plan, records};

use super::orders::{Packs, SupplierOrder, change, supplier};
use super::receipts::refused;
use crate::{App, Caller, Refusal};

/// When an order was placed, and when it should arrive if the supplier said so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Placing {
    /// When it was placed; now, unless it is stated.
    pub at: Option<DateTime<Utc>>,
    /// When it should arrive; by the supplier's promise, unless it is stated.
    pub expected_on: Option<NaiveDate>,
    /// It was asked back and is right all the same.
    pub confirmed: bool,
}

/// What a supplier says of an order that he has.
#[derive(Debug, Clone, PartialEq)]
pub struct Confirmation {
    /// When it should arrive, where that is another day.
    pub expected_on: Option<NaiveDate>,
    /// The lines of which other packs come.
    pub packs: Vec<Packs>,
    /// It was asked back and is right all the same.
    pub confirmed: bool,
}

/// Places an order. It should arrive by the supplier's promise, on a day on which somebody takes it in.
/// # Errors
/// When the caller may not, it is no draft, or no day of arrival follows from the promise; asked back when it is below the
/// supplier's least order, or when what is offered has changed since it was drafted.
pub async fn place_order(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: OrderId,
    placing: Placing,
) -> Result<SupplierOrder, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    change(app, caller, scope, id, async |tx, order: Order| {
        let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?.content;
        let supplier = supplier(tx, scope, order.supplier).await?;
        if placing.at.is_some_and(|at| !has_passed_at_a_desk(at, app.now())) {
            return Err(Refusal::invalid(
                "/placed_at",
                "in_the_future",
                "expected an instant that has passed",
            ));
        }
        let local = placing.at.unwrap_or(app.now()).with_timezone(&site.time_zone).naive_local();
        let expected_on = match keepable(placing.expected_on)? {
            Some(expected_on) => expected_on,
            None => promised(tx, scope, &site, &supplier, local).await?,
        };
        let placed = order.clone().place(local.date(), expected_on).map_err(refused)?;
        let mut doubts = Faults::default();
        for outdated in outdated(tx, scope, &order).await? {
            doubts.add("/confirmed", "offer_changed", outdated);
        }
        if let Some(short) = order.short_of_least(&supplier) {
            doubts.add("/confirmed", "below_least_order", short.to_string());
        }
        match placing.confirmed || doubts.is_empty() {
            true => Ok(placed),
            false => Err(Refusal::Unconfirmed(doubts)),
        }
    })
    .await
}

/// The day on which an order of this local time should arrive.
async fn promised(
    tx: &Tx,
    scope: SiteScope,
    site: &Site,
    supplier: &Supplier,
    local: NaiveDateTime,
) -> Result<NaiveDate, Refusal> {
    let closures = records::all::<Closure>(tx, scope).await?;
    let closures = closures.into_iter().map(|closure| closure.content.days).collect();
    let open = OpenDays { week: site.working_week, closures };
    let taken = supplier.takes_on(local);
    let expected = taken.and_then(|day| arrival(day, supplier.promised_lead_days, &open));
    expected.ok_or_else(|| {
        let detail = "no day follows from the supplier's order days and the site's week: state one";
        Refusal::invalid("/expected_on", "unknown_day", detail)
    })
}

/// Notes what the supplier says of an order that he has: another day, other packs.
/// # Errors
/// When the caller may not, its supplier does not have it, an offer is not on it, or fewer packs than came are confirmed; asked back when
/// far more packs than were ordered are, or a day that is far off.
pub async fn confirm_order(
    app: &App,
    caller: &Caller,
    site: SiteId,
    id: OrderId,
    confirmation: &Confirmation,
) -> Result<SupplierOrder, Refusal> {
    let scope = caller.may(Act::KeepStock, site)?;
    let expected_on = keepable(confirmation.expected_on)?;
    let packs: Vec<(Id<Offer>, u32)> =
        confirmation.packs.iter().map(|line| (line.offer, line.packs)).collect();
    change(app, caller, scope, id, async |_, order: Order| {
        let mut faults = Faults::default();
        for (at, (offer, _)) in packs.iter().enumerate() {
            let listed = order.lines.iter().any(|line| line.offer == *offer);
            let once = packs[..at].iter().all(|(before, _)| before != offer);
            let pointer = format!("/lines/{at}/offer_id");
            faults.unless(listed, &pointer, "not_ordered", "expected an offer that the order lists");
            faults.unless(once, &pointer, "twice", "expected each offer once");
        }
        faults.or(Some(())).map_err(Refusal::Invalid)?;
        let doubts = order.doubts_of_confirmation(expected_on, &packs);
        let confirmed = order.confirmed(expected_on, &packs).map_err(|not| not_confirmed(not, &packs))?;
        let doubt = (!confirmation.confirmed && !doubts.is_empty()).then(|| doubts.join("; "));
        Refusal::unless_confirmed("/confirmed", "looks_mis_keyed", doubt)?;
        Ok(confirmed)
    })
    .await
}

/// What a confirmation cannot say, by its field.
fn not_confirmed(not: NotAllowed, packs: &[(Id<Offer>, u32)]) -> Refusal {
    match not {
        NotAllowed::FewerThanCame { offer } => {
            let at = packs.iter().position(|(of, _)| *of == offer).unwrap_or(0);
            let detail = "expected at least the packs that came, which are included";
            Refusal::invalid(&format!("/lines/{at}/packs"), "fewer_than_came", detail)
        }
        NotAllowed::TooEarly { .. } => Refusal::invalid("/expected_on", "before_placed", not.to_string()),
        NotAllowed::Not { .. }
        | NotAllowed::Empty
        | NotAllowed::NothingLeft
        | NotAllowed::NotOrdered { .. } => refused(not),
    }
}

fn keepable(expected_on: Option<NaiveDate>) -> Result<Option<NaiveDate>, Refusal> {
    match expected_on.is_none_or(is_keepable) {
        true => Ok(expected_on),
        false => {
            let kept = "expected a date of the years 2000 to 2100";
            Err(Refusal::invalid("/expected_on", "out_of_range", kept))
        }
    }
}

/// What of a draft is offered otherwise now, in words.
async fn outdated(tx: &Tx, scope: SiteScope, draft: &Order) -> Result<Vec<String>, Refusal> {
    let offers = draft.lines.iter().map(|line| line.offer.uuid().into()).collect();
    let mut offers = records::find_many::<Offer>(tx, scope, "id", offers).await?;
    offers.retain(|offer| offer.archived_at.is_none());
    let products = draft.lines.iter().map(|line| line.product.uuid().into()).collect();
    let products = records::find_many::<Product>(tx, scope.in_business(), "id", products).await?;
    let of_line = |line: &OrderLine| {
        let offer = offers.iter().find(|offer| offer.id == line.offer).map(|offer| &offer.content);
        let name = products.iter().find(|product| product.id == line.product);
        let name = name.map(|product| product.content.name.as_str()).unwrap_or_default();
        let told = line.outdated(offer).into_iter().map(|outdated| format!("{name} {outdated}"));
        told.collect::<Vec<_>>()
    };
    Ok(draft.lines.iter().filter(|line| line.packs > 0).flat_map(of_line).collect())
}
