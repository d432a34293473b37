//! What is on the shelf, what is on its way, and who it can be bought from.

use std::collections::HashMap;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_advice::supply::{Coming, EcRises, Expected, Ordered, PastOrder, ProductAsked, SupplierAsked};
use fillmark_domain::places::Site;
use fillmark_domain::plan::SitePlan;
use fillmark_domain::stock::{
    LabelRevision, LotId, Offer, OnHand, Order, OrderState, Product, ProductId, Supplier, Transfer,
};
use fillmark_domain::{Id, Kept, Money};
use fillmark_store::holdings::{self, Holding};
use fillmark_store::words::label_revisions;
use fillmark_store::{SiteScope, Tx, records, transfers};

use super::ledger::{Ledger, MEMORY};
use crate::Refusal;

/// The store cupboard of a site and the trade behind it.
pub(super) struct Shelf {
    pub(super) products: Vec<Kept<Product>>,
    pub(super) suppliers: Vec<Kept<Supplier>>,
    labels: HashMap<ProductId, LabelRevision>,
    holdings: Vec<Holding>,
    /// What came in as far back as is looked, used up or not.
    received: Vec<Holding>,
    offers: Vec<Kept<Offer>>,
    orders: Vec<Kept<Order>>,
    /// What other sites have sent, and on which local day.
    coming: Vec<(NaiveDate, Transfer)>,
    today: NaiveDate,
}

impl Shelf {
    pub(super) async fn load(
        tx: &Tx,
        scope: SiteScope,
        plan: &SitePlan,
        now: DateTime<Utc>,
    ) -> Result<Shelf, Refusal> {
        let business = scope.in_business();
        let products = records::all::<Product>(tx, business).await?;
        let ids: Vec<ProductId> = products.iter().map(|product| product.id).collect();
        let coming = transfers::coming_to(tx, scope).await?;
        Ok(Shelf {
            holdings: holdings::of_products(tx, scope, &ids).await?,
            received: holdings::received_since(tx, scope, plan.day(now - MEMORY)).await?,
            products,
            suppliers: records::all(tx, business).await?,
            labels: label_revisions::all_in_force(tx, business, now).await?.0,
            offers: records::all(tx, scope).await?,
            orders: records::all(tx, scope).await?,
            coming: coming.into_iter().map(|one| (plan.day(one.sent_at), one)).collect(),
            today: plan.day(now),
        })
    }

    /// The EC that each product adds, by the label in force.
    pub(super) fn ec_rises(&self) -> EcRises {
        let labels = self.labels.values();
        labels.filter_map(|label| Some((label.product, label.ec_rise_per_unit_per_l?))).collect()
    }

    /// The number printed on a lot that is held.
    pub(super) fn lot_number(&self, lot: LotId) -> String {
        let found = self.holdings.iter().find(|holding| holding.lot.id == lot);
        found.map(|holding| holding.lot.content.number.clone()).unwrap_or_default()
    }

    pub(super) fn product(
        &self,
        product: &Kept<Product>,
        ledger: &Ledger,
        plan: &SitePlan,
        site: &Site,
        rises: &EcRises,
    ) -> ProductAsked {
        let held = self.holdings.iter().filter(|holding| holding.lot.content.product == product.id);
        let offered = self.offers.iter().filter(|offer| offer.content.product == product.id);
        ProductAsked {
            product: product.id,
            kind: product.content.kind,
            ec_rise_per_unit_per_l: rises.get(&product.id).copied(),
            on_hand: held.map(|holding| holding.on_hand.clone()).collect(),
            on_order: self.expected(product.id),
            unplanned: ledger.unplanned(plan, product.id),
            taken: ledger.taken(plan, product.id),
            prepared: ledger.prepared(plan, product.id),
            made_of: ledger.taken.made_of(product.id),
            offers: offered
                .map(|offer| offer.content.clone())
                .filter(|offer| offer.price.currency == site.currency)
                .collect(),
            shelf_life_days: self.shelf_life(product.id),
        }
    }

    /// What is still to come. What should come today is taken to come tomorrow, and so is what another site has sent.
    fn expected(&self, product: ProductId) -> Vec<Expected> {
        let tomorrow = self.today + TimeDelta::days(1);
        let day = |on| if on == self.today { tomorrow } else { on };
        let open = self.orders.iter().filter_map(|order| match &order.content.state {
            OrderState::Placed { on: placed_on, expected_on }
            | OrderState::PartReceived { placed_on, expected_on, .. } => {
                Some((order, *placed_on, day(*expected_on)))
            }
            OrderState::Draft | OrderState::Received { .. } | OrderState::Cancelled { .. } => None,
        });
        let ordered = open.flat_map(|(order, placed_on, on)| {
            let coming =
                Coming::Ordered(Ordered { order: order.id, supplier: order.content.supplier, placed_on });
            let outstanding = order.content.outstanding().into_iter();
            outstanding.map(move |(product, amount)| (product, Expected { on, amount, coming }))
        });
        let sent = self.coming.iter().map(|(sent_on, one)| {
            let coming = Coming::Sent { on: *sent_on };
            (one.product, Expected { on: tomorrow, amount: one.amount, coming })
        });
        let all = ordered.chain(sent);
        all.filter(|(ordered, _)| *ordered == product).map(|(_, expected)| expected).collect()
    }

    /// The days that its lots could be used after they came, as most of them: one that came short-dated is no rule.
    fn shelf_life(&self, product: ProductId) -> Option<u32> {
        let of_it = self.received.iter().filter(|holding| holding.lot.content.product == product);
        let life = |held: &OnHand| Some((held.expiry? - held.received_on).num_days());
        let mut lives: Vec<Option<i64>> = of_it.map(|holding| life(&holding.on_hand)).collect();
        lives.sort_unstable_by_key(|life| life.unwrap_or(i64::MAX));
        lives.get(lives.len() / 2).copied().flatten().and_then(|days| u32::try_from(days).ok())
    }

    pub(super) fn supplier(
        &self,
        supplier: &Kept<Supplier>,
        plan: &SitePlan,
        now: DateTime<Utc>,
    ) -> SupplierAsked {
        let local = now.with_timezone(&plan.zone).naive_local();
        let terms = &supplier.content;
        SupplierAsked {
            supplier: supplier.id,
            order_days: terms.order_days,
            orders_from: terms.takes_on(local).unwrap_or(self.today),
            promised_lead_days: terms.promised_lead_days,
            minimum_order_minor: terms.minimum_order_minor,
            freight_minor: terms.freight_minor,
            currency: terms.currency,
            past_orders: self.past_orders(supplier),
            waited_for: self.waited_for(supplier),
        }
    }

    fn past_orders(&self, supplier: &Kept<Supplier>) -> Vec<PastOrder> {
        let theirs = self.orders.iter().filter(|order| order.content.supplier == supplier.id);
        let arrived = theirs.filter_map(|order| {
            Some(PastOrder {
                placed_on: order.content.state.placed_on()?,
                arrived_on: order.content.came_on()?,
            })
        });
        arrived.collect()
    }

    /// When the orders were placed that have not come.
    fn waited_for(&self, supplier: &Kept<Supplier>) -> Vec<NaiveDate> {
        let theirs = self.orders.iter().filter(|order| order.content.supplier == supplier.id);
        let awaited = theirs.filter(|order| order.content.came_on().is_none());
        awaited.filter_map(|order| order.content.state.placed_on()).collect()
    }

    /// Orders of which something is still to come: from whom, when they were placed, and when they are expected.
    pub(super) fn placed(
        &self,
    ) -> impl Iterator<Item = (Id<Order>, Id<Supplier>, (NaiveDate, NaiveDate))> + '_ {
        self.orders.iter().filter_map(|order| match order.content.state {
            OrderState::Placed { on: placed_on, expected_on }
            | OrderState::PartReceived { placed_on, expected_on, .. } => {
                Some((order.id, order.content.supplier, (placed_on, expected_on)))
            }
            OrderState::Draft | OrderState::Received { .. } | OrderState::Cancelled { .. } => None,
        })
    }

    /// Each offer with what a pack cost when it was last ordered.
    pub(super) fn prices(&self) -> impl Iterator<Item = (&Kept<Offer>, Money)> + '_ {
        self.offers.iter().filter_map(|offer| {
            let lines = self.orders.iter().filter_map(|order| {
                let placed_on = order.content.state.placed_on()?;
                let line = order.content.lines.iter().find(|line| line.offer == offer.id)?;
                Some((placed_on, line.price))
            });
            let (_, before) = lines.max_by_key(|(placed_on, _)| *placed_on)?;
            Some((offer, before))
        })
    }

    /// Products that go together.
    pub(super) fn in_step(&self) -> Vec<(ProductId, ProductId)> {
        let pairs = self.products.iter().flat_map(|product| {
            product
                .content
                .goes_with
                .iter()
                .map(move |partner| (product.id.min(*partner), product.id.max(*partner)))
        });
        let mut pairs: Vec<_> = pairs.collect();
        pairs.sort_unstable();
        pairs.dedup();
        pairs
    }
}
