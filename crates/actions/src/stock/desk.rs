//! What every act of stock has before it: the transaction, the site, the product, and the slip it is entered on.

use chrono::{DateTime, NaiveDate, Utc};
use chrono_tz::Tz;
use fillmark_domain::entries::has_passed_at_a_desk;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{
    Entered, LabelRevision, Lot, LotId, Order, OrderId, Product, ProductId, Slip, SlipId, SlipKind, Wanted,
};
use fillmark_domain::{Amount, Id, Kept, Quantity};
use fillmark_store::slips::Opened;
use fillmark_store::words::{label_revisions, lots, orders};
use fillmark_store::{SiteScope, Stamp, Tx, holdings, plan, records, slips};
use uuid::Uuid;

use crate::{App, Caller, Refusal};

/// A thousand tonnes: no store holds more, and the sum of millions of such entries still fits the ledger.
const LARGEST: Amount = Amount::from_thousandths(1_000_000_000_000);

/// What is told of an act before a count that is entered, or taken back, after it.
const COUNTED_SINCE: &str = "A count made since had found this already, so the balance stays as counted; count again if it was not there then.";

/// A slip with what whoever handled the product should be told.
#[derive(Debug, Clone, PartialEq)]
pub struct Handled {
    /// The slip and what it did.
    pub entered: Entered,
    /// What to be told, by the product's kind and hazards.
    pub cautions: Vec<&'static str>,
}

impl Handled {
    /// With one more caution, if there is one.
    pub(super) fn told(mut self, caution: Option<&'static str>) -> Self {
        self.cautions.extend(caution);
        self
    }
}

/// Who enters an act, and when it was done.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Done {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// When it was done; now, unless it is stated.
    pub at: Option<DateTime<Utc>>,
}

/// A transaction at a site.
pub(super) struct Desk<'a> {
    pub(super) tx: Tx,
    pub(super) scope: SiteScope,
    pub(super) stamp: Stamp<'a>,
    pub(super) zone: Tz,
}

/// What came of entering a slip.
pub(super) enum Slipped {
    /// It is new: its movements are to be made.
    New(Slip),
    /// It was entered before, and this is what it did.
    Before(Entered),
}

/// What a slip says beside its product.
#[derive(Default)]
pub(super) struct Saying {
    pub(super) lot: Option<LotId>,
    pub(super) reason: Option<String>,
    pub(super) order: Option<OrderId>,
    pub(super) other_site: Option<SiteId>,
    pub(super) reverses: Option<SlipId>,
}

impl<'a> Desk<'a> {
    pub(super) async fn open(app: &'a App, caller: &Caller, scope: SiteScope) -> Result<Self, Refusal> {
        let tx = app.store.begin().await?;
        let site = plan::site(&tx, scope).await?.ok_or(Refusal::NotFound)?;
        Ok(Self { tx, scope, stamp: app.stamp(caller), zone: site.content.time_zone })
    }

    /// The product that a field names.
    pub(super) async fn product(&self, pointer: &str, id: ProductId) -> Result<Kept<Product>, Refusal> {
        let product = records::find(&self.tx, self.scope.in_business(), id).await?;
        product.filter(|product| product.archived_at.is_none()).ok_or_else(|| {
            Refusal::invalid(pointer, "unknown_id", "expected the id of a product that is not archived")
        })
    }

    /// The order that an act belongs to, if any, held until it is done. It is locked before lots, and before the slip that names it: two
    /// people who only shared it could not both change it after.
    pub(super) async fn order(&self, id: Option<OrderId>) -> Result<Option<Kept<Order>>, Refusal> {
        let Some(id) = id else { return Ok(None) };
        let order = orders::lock(&self.tx, self.scope, id).await?;
        let unknown = || Refusal::invalid("/order_id", "unknown_id", "expected the id of an order");
        order.map(Some).ok_or_else(unknown)
    }

    /// The slip of this act, unless it was entered before.
    pub(super) async fn enter(
        &self,
        done: Done,
        kind: SlipKind,
        product: &Kept<Product>,
        amount: Amount,
        saying: Saying,
    ) -> Result<Slipped, Refusal> {
        let done_at = done.at.unwrap_or(self.stamp.at);
        if !has_passed_at_a_desk(done_at, self.stamp.at) {
            return Err(Refusal::invalid("/done_at", "in_the_future", "expected an instant that has passed"));
        }
        let Saying { lot, reason, order, other_site, reverses } = saying;
        let (product, base, client_id) = (product.id, product.content.base, Some(done.client_id));
        let says = Wanted {
            client_id,
            kind,
            product,
            lot,
            base,
            amount,
            done_at,
            reason,
            order,
            other_site,
            reverses,
        };
        match slips::open(&self.tx, self.scope, &self.stamp, &says).await? {
            Opened::New(slip) => Ok(Slipped::New(slip)),
            Opened::Before(before) if before.slip.says_again(&says, done.at.is_some()) => {
                Ok(Slipped::Before(*before))
            }
            Opened::Before(_) | Opened::Elsewhere => Err(Refusal::ClientIdReused),
        }
    }

    /// The local day of an instant.
    pub(super) fn day(&self, at: DateTime<Utc>) -> NaiveDate {
        at.with_timezone(&self.zone).date_naive()
    }

    /// The lot of a product with this number, made if there is none, with room for it at the site.
    pub(super) async fn lot(
        &self,
        product: ProductId,
        number: &str,
        expiry: Option<NaiveDate>,
        at: DateTime<Utc>,
    ) -> Result<Kept<Lot>, Refusal> {
        let business = self.scope.in_business();
        let label = label_revisions::in_force(&self.tx, business, product, at).await?;
        let revision = label.map(|label: Kept<LabelRevision>| label.id);
        let wanted = Lot { product, revision, number: number.to_owned(), expiry, quarantined: false };
        let lot = lots::numbered_or_made(&self.tx, business, &self.stamp, &wanted).await?;
        if lot.content.expiry != expiry {
            let detail =
                "the lot of this number is on record with another expiry; change the lot if that is wrong";
            return Err(Refusal::invalid("/expiry_on", "other_expiry", detail));
        }
        holdings::make(&self.tx, self.scope, product, lot.id, self.day(at)).await?;
        Ok(lot)
    }

    /// Keeps what was done and answers it.
    pub(super) async fn close(self, slip: SlipId, product: &Kept<Product>) -> Result<Handled, Refusal> {
        let entered = slips::find(&self.tx, self.scope, slip).await?.ok_or(Refusal::NotFound)?;
        self.tx.commit().await?;
        Ok(handled(entered, product))
    }
}

/// A slip with the cautions of its product.
pub(super) fn handled(entered: Entered, product: &Kept<Product>) -> Handled {
    let counted = entered.movements.iter().any(|movement| entered.had_found(movement));
    Handled { cautions: product.content.cautions(), entered }.told(counted.then_some(COUNTED_SINCE))
}

/// What was entered as an amount of the product, more than nothing.
pub(crate) fn some_amount(pointer: &str, entered: Quantity, product: &Product) -> Result<Amount, Refusal> {
    let amount = any_amount(pointer, entered, product)?;
    match amount.is_positive() {
        true => Ok(amount),
        false => Err(Refusal::invalid(pointer, "out_of_range", "expected more than nothing")),
    }
}

/// What was entered as an amount of the product, nothing included.
pub(super) fn any_amount(pointer: &str, entered: Quantity, product: &Product) -> Result<Amount, Refusal> {
    let amount = Amount::entered(entered, product.base);
    let amount = amount.map_err(|not| Refusal::invalid(pointer, "not_an_amount", not.to_string()))?;
    match (Amount::ZERO..=LARGEST).contains(&amount) {
        true => Ok(amount),
        false => Err(Refusal::invalid(pointer, "out_of_range", "expected 0 to 1000000 L or kg")),
    }
}

/// The slip with this id.
/// # Errors
/// When the caller may not read it or it is not there.
pub async fn read_slip(app: &App, caller: &Caller, site: SiteId, id: SlipId) -> Result<Handled, Refusal> {
    let scope = caller.may(fillmark_domain::people::Act::Read, site)?;
    let tx = app.store.look().await?;
    let entered = slips::find(&tx, scope, id).await?.ok_or(Refusal::NotFound)?;
    let product: Id<Product> = entered.slip.says.product;
    let product = records::find(&tx, scope.in_business(), product).await?.ok_or(Refusal::NotFound)?;
    let caution = lot_caution(&tx, scope, &entered.slip).await?;
    Ok(handled(entered, &product).told(caution))
}

/// What was to be told of the lot that came in on a slip.
async fn lot_caution(tx: &Tx, scope: SiteScope, slip: &Slip) -> Result<Option<&'static str>, Refusal> {
    let (SlipKind::Receipt, Some(lot)) = (slip.says.kind, slip.says.lot) else { return Ok(None) };
    let site = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?;
    let lot = records::find::<Lot>(tx, scope.in_business(), lot).await?.ok_or(Refusal::NotFound)?;
    let day = slip.says.done_at.with_timezone(&site.content.time_zone).date_naive();
    Ok(lot.content.caution(day))
}
