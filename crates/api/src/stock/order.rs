//! Orders.

use std::collections::BTreeMap;

use chrono::NaiveDate;
use fillmark_domain::stock as words;
use fillmark_domain::{Amount, Base, Currency, Faults, Kept};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::quantity;
use crate::{Instant, Quantity};

/// An order to be drafted, or the lines a draft is to have.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"lines": [{"offer_id": "019a0000-0000-7000-8000-000000000006", "packs": 2}]}))]
pub struct NewOrder {
    /// What is ordered, on offers of one supplier.
    #[schema(min_items = 1, max_items = 100)]
    pub lines: Vec<NewOrderLine>,
}

/// So many packs of an offer.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct NewOrderLine {
    /// Which offer.
    pub offer_id: Uuid,
    /// How many packs.
    #[schema(minimum = 1, maximum = 100000)]
    pub packs: u32,
}

impl NewOrder {
    /// What is wrong with it by itself.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn check(&self) -> Result<(), Faults> {
        let mut faults = Faults::default();
        let count = (1..=100).contains(&self.lines.len());
        faults.unless(count, "/lines", "count", "expected 1 to 100 lines");
        for (at, line) in self.lines.iter().enumerate() {
            faults.range(&format!("/lines/{at}/packs"), line.packs.into(), 1.0, 1e5);
        }
        faults.or(Some(()))
    }
}

/// A line of an order as its supplier reads it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OrderedLine {
    /// What the order is called in its message.
    pub order: String,
    /// How far it is: only a draft or a placed one asks for all of it.
    #[schema(max_length = 20)]
    pub state: String,
    /// To whom it goes.
    pub supplier: String,
    /// Where it is to be sent.
    pub site: String,
    /// Of what.
    pub product: String,
    /// How many packs.
    pub packs: u32,
    /// What one pack holds.
    pub pack: Quantity,
    /// What one pack costs, in minor units.
    pub pack_price_minor: i64,
    /// What the packs cost together, in minor units.
    pub price_minor: i64,
    /// ISO 4217 code of the prices.
    pub currency: String,
}

impl OrderedLine {
    /// The lines of an order that are ordered.
    pub fn all(
        order: &Kept<words::Order>,
        supplier: &str,
        site: &str,
        products: &BTreeMap<words::ProductId, String>,
    ) -> Vec<OrderedLine> {
        let row = |line: &words::OrderLine| OrderedLine {
            order: words::Order::reference(order.id),
            state: order.content.state.code().to_owned(),
            supplier: supplier.to_owned(),
            site: site.to_owned(),
            product: products.get(&line.product).cloned().unwrap_or_default(),
            packs: line.packs,
            pack: quantity(line.pack, line.base),
            pack_price_minor: line.price.minor,
            price_minor: line.price.times(line.packs.into()).minor,
            currency: line.price.currency.code(),
        };
        order.content.lines.iter().filter(|line| line.packs > 0).map(row).collect()
    }
}

/// An order given to its supplier.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"placed_at": "2026-11-24T10:00:00+01:00", "expected_on": null}))]
pub struct NewPlacing {
    /// When it was placed; now, unless stated.
    #[serde(default)]
    pub placed_at: Option<Instant>,
    /// When it should arrive; by the supplier's promise, unless stated.
    #[serde(default)]
    pub expected_on: Option<NaiveDate>,
    /// It was asked back, since it is below the supplier's least order or its offers have changed, and is placed all the same.
    #[serde(default)]
    pub confirmed: bool,
}

/// What the supplier says of an order that he has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"expected_on": "2026-12-04", "lines": [{"offer_id": "019a0000-0000-7000-8000-000000000006", "packs": 1}]}))]
pub struct NewConfirmation {
    /// When it, or the rest of it, should arrive; as it was, unless stated.
    #[serde(default)]
    pub expected_on: Option<NaiveDate>,
    /// The lines of which he sends other packs than were ordered.
    #[serde(default)]
    #[schema(max_items = 100)]
    pub lines: Vec<ConfirmedLine>,
    /// It was asked back and is right all the same.
    #[serde(default)]
    pub confirmed: bool,
}

/// So many packs of a line in all, those that came included; none where he sends nothing of it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ConfirmedLine {
    /// The offer that the line is ordered on.
    pub offer_id: Uuid,
    /// How many packs.
    #[schema(maximum = 100000)]
    pub packs: u32,
}

impl NewConfirmation {
    /// What is wrong with it by itself.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn check(&self) -> Result<(), Faults> {
        let mut faults = Faults::default();
        faults.unless(self.lines.len() <= 100, "/lines", "count", "expected at most 100 lines");
        let says = self.expected_on.is_some() || !self.lines.is_empty();
        faults.unless(says, "/expected_on", "missing", "expected a day, or lines of which other packs come");
        for (at, line) in self.lines.iter().enumerate() {
            faults.range(&format!("/lines/{at}/packs"), line.packs.into(), 0.0, 1e5);
        }
        faults.or(Some(()))
    }
}

/// An order and where it stands.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Order {
    /// Made by the server.
    pub id: Uuid,
    /// What it is called in its message, and on the phone.
    #[schema(max_length = 8)]
    pub reference: String,
    /// Rises with each change.
    #[schema(minimum = 1)]
    pub version: i64,
    /// When it was drafted.
    pub created_at: Instant,
    /// When it was last changed.
    pub updated_at: Instant,
    /// To whom.
    pub supplier_id: Uuid,
    /// The supplier's name.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub supplier: String,
    /// draft, placed, part_received, received or cancelled.
    #[schema(max_length = 20)]
    pub state: String,
    /// What is ordered, at the terms of the day it was drafted.
    #[schema(max_items = 100)]
    pub lines: Vec<OrderLine>,
    /// Sum of the lines without freight, minor units.
    pub value_minor: i64,
    /// ISO 4217 code of it.
    #[schema(max_length = 3)]
    pub currency: Option<String>,
    /// Freight by the supplier's terms as they are now, minor units; null where those are in another currency.
    pub freight_minor: Option<i64>,
    /// Of a draft, what is missing to the supplier's least order, minor units; 0 where it is reached, null where that is in another
    /// currency.
    pub below_minimum_minor: Option<i64>,
    /// Of a draft, what to keep in mind before it is placed.
    #[schema(max_items = 20)]
    pub cautions: Vec<String>,
    /// Who stands for it, if somebody does; other lines want it anew.
    pub approved_by: Option<Uuid>,
    /// Since when.
    pub approved_at: Option<Instant>,
    /// When it was placed.
    pub placed_on: Option<NaiveDate>,
    /// When it, or the rest of it, should arrive.
    pub expected_on: Option<NaiveDate>,
    /// When it was given up.
    pub cancelled_on: Option<NaiveDate>,
    /// What came.
    #[schema(max_items = 10000)]
    pub received: Vec<OrderReceived>,
    /// What is still to come.
    #[schema(max_items = 100)]
    pub outstanding: Vec<OrderOutstanding>,
    /// What never came of one that was closed short.
    #[schema(max_items = 100)]
    #[serde(default)]
    pub never_came: Vec<OrderOutstanding>,
}

/// What is ordered on an offer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OrderLine {
    /// Of what.
    pub product_id: Uuid,
    /// Its name.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub product: String,
    /// On which offer.
    pub offer_id: Uuid,
    /// How many packs.
    pub packs: u32,
    /// What one pack holds.
    pub pack: Quantity,
    /// What one pack costs, minor units.
    pub price_minor: i64,
    /// ISO 4217 code of the price.
    #[schema(max_length = 3)]
    pub currency: String,
    /// Why it is ordered, where the forecast asked for it.
    #[schema(max_length = 2000)]
    pub why: Option<String>,
}

/// What of an order came in.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OrderReceived {
    /// Of what.
    pub product_id: Uuid,
    /// Its name.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub product: String,
    /// How much.
    pub amount: Quantity,
    /// When.
    pub received_on: NaiveDate,
}

/// What of an order is still to come, or never came.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct OrderOutstanding {
    /// Of what.
    pub product_id: Uuid,
    /// Its name.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub product: String,
    /// How much.
    pub amount: Quantity,
}

impl Order {
    /// An order to a supplier with these terms.
    pub fn of(
        kept: &Kept<words::Order>,
        supplier: &words::Supplier,
        products: &BTreeMap<words::ProductId, String>,
    ) -> Self {
        let order = &kept.content;
        let (placed_on, expected_on, cancelled_on, received) = stands(&order.state);
        let of = |product, amount: Amount| quantity(amount, base(&order.lines, product));
        let named = |product| products.get(&product).cloned().unwrap_or_default();
        let came = |came: &words::Received| OrderReceived {
            product_id: came.product.uuid(),
            product: named(came.product),
            amount: of(came.product, came.amount),
            received_on: came.on,
        };
        let open = |(product, amount): (words::ProductId, Amount)| OrderOutstanding {
            product_id: product.uuid(),
            product: named(product),
            amount: of(product, amount),
        };
        let value = order.value();
        let comparable = value.is_some_and(|value| value.currency == supplier.currency);
        let is_draft = order.state == words::OrderState::Draft;
        let short = order.short_of_least(supplier).filter(|_| is_draft);
        let other_money = (is_draft && value.is_some() && !comparable).then(|| terms_in(supplier.currency));
        let missing = short.map_or(0, |short| short.missing.minor);
        Self {
            id: kept.id.uuid(),
            reference: words::Order::reference(kept.id),
            version: kept.version,
            created_at: kept.created_at.into(),
            updated_at: kept.updated_at.into(),
            supplier_id: order.supplier.uuid(),
            supplier: supplier.name.clone(),
            state: order.state.code().to_owned(),
            value_minor: value.map_or(0, |value| value.minor),
            currency: value.map(|value| value.currency.code()),
            freight_minor: comparable.then_some(supplier.freight_minor),
            below_minimum_minor: (comparable && is_draft).then_some(missing),
            cautions: short.iter().map(ToString::to_string).chain(other_money).collect(),
            approved_by: order.approved.and_then(|approval| approval.by).map(|person| person.uuid()),
            approved_at: order.approved.map(|approval| approval.at.into()),
            placed_on,
            expected_on,
            cancelled_on,
            received: received.iter().map(came).collect(),
            outstanding: order.outstanding().into_iter().map(open).collect(),
            never_came: order.never_came().into_iter().map(open).collect(),
            lines: order.lines.iter().map(|line| OrderLine::of(line, named(line.product))).collect(),
        }
    }
}

/// When an order was placed, is expected and was given up, and what came of it.
fn stands(
    state: &words::OrderState,
) -> (Option<NaiveDate>, Option<NaiveDate>, Option<NaiveDate>, &[words::Received]) {
    use words::OrderState as State;
    match state {
        State::Draft => (None, None, None, &[]),
        State::Placed { on, expected_on } => (Some(*on), Some(*expected_on), None, &[]),
        State::PartReceived { placed_on, expected_on, received }
        | State::Received { placed_on, expected_on, received } => {
            (Some(*placed_on), Some(*expected_on), None, received)
        }
        State::Cancelled { placed_on, on } => (*placed_on, None, Some(*on), &[]),
    }
}

/// What is told where a supplier's terms are in another currency than what is ordered.
pub(crate) fn terms_in(currency: Currency) -> String {
    format!("the supplier's least order and freight are in {} and not reckoned with", currency.code())
}

/// What a product of the order is counted in. Whatever came or is awaited stands on a line.
fn base(lines: &[words::OrderLine], product: words::ProductId) -> Base {
    lines.iter().find(|line| line.product == product).map_or(Base::Volume, |line| line.base)
}

impl OrderLine {
    fn of(line: &words::OrderLine, product: String) -> Self {
        Self {
            product_id: line.product.uuid(),
            product,
            offer_id: line.offer.uuid(),
            packs: line.packs,
            pack: quantity(line.pack, line.base),
            price_minor: line.price.minor,
            currency: line.price.currency.code(),
            why: line.why.clone(),
        }
    }
}
