//! What the forecast says to buy, and the draft orders made of it.

use chrono::NaiveDate;
use fillmark_advice::supply as answers;
use fillmark_domain::Id;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{ForecastNames, ProductForecast, caution, percent, round};
use crate::{Quantity, Unit};

/// What to buy of one product.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposedPurchase {
    /// From whom.
    pub supplier_id: Uuid,
    /// The supplier's name.
    #[schema(max_length = 120)]
    pub supplier: String,
    /// The day to order on: the last order day that keeps the service level, or, when late, the next there is.
    pub order_by_on: NaiveDate,
    /// Whether even that day no longer keeps it.
    pub late: bool,
    /// Chance of running out before it arrives when ordered on that day, %.
    #[schema(minimum = 0, maximum = 100)]
    pub chance_of_running_out_percent: f64,
    /// Days from order to delivery by the supplier's word.
    #[serde(default)]
    pub lead_time_promised_days: u16,
    /// Expected days from order to delivery: the promise, and more and more what orders took.
    #[schema(minimum = 0, maximum = 1000)]
    pub lead_time_mean_days: f64,
    /// Their standard deviation, days.
    #[schema(minimum = 0, maximum = 1000)]
    pub lead_time_sd_days: f64,
    /// Past orders they were learnt from; 0 is the supplier's word, and how far such words hold.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub lead_time_order_count: u64,
    /// What keeps the service level until the order after it arrives, before rounding to packs.
    pub needed: Quantity,
    /// At most this is used before it expires.
    pub at_most: Option<Quantity>,
    /// What other sites can give of it first; only the rest is bought.
    #[schema(max_items = 1000)]
    pub transfers: Vec<ProposedTransfer>,
    /// The cheapest packs that hold the rest, or up to eight weeks' further use as well where that is at least 5 % cheaper by the
    /// litre or kilogram, or up to four weeks' where the freights that this saves cost more than holding it, which `why` then says;
    /// none where they would expire first or the transfers are enough.
    #[schema(max_items = 100)]
    pub lines: Vec<ProposedLine>,
    /// Packs of all sizes.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub pack_count: i64,
    /// What they hold together.
    pub amount: Quantity,
    /// Price of the packs, minor units.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub cost_minor: i64,
    /// ISO 4217 code.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
    /// Ordered earlier than it needed, to be in step with this product.
    pub in_step_with_id: Option<Uuid>,
    /// The day of the order that it goes along in before its own day, to reach the supplier's least value or to save a freight.
    pub brought_forward_to_on: Option<NaiveDate>,
    /// Why so much of it on that day, in sentences.
    #[schema(max_length = 2000)]
    pub why: String,
}

/// Packs of one size to buy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposedLine {
    /// What one pack holds.
    pub pack: Quantity,
    /// Whole packs.
    #[schema(minimum = 1, maximum = 9007199254740991i64)]
    pub pack_count: i64,
    /// Price of one, minor units.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub price_minor: i64,
    /// Price of all of them, minor units.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub cost_minor: i64,
}

/// What another site can give before anything is bought.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposedTransfer {
    /// The site that has it.
    pub from_site_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub from_site: String,
    /// How much; with it gone that site still covers six weeks at its own service level.
    pub amount: Quantity,
}

/// A product in the table of what to buy: its forecast on one line.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct PurchaseRow {
    product_id: Uuid,
    product: String,
    unit: Unit,
    expected_use: f64,
    may_run_out_on: Option<NaiveDate>,
    order_by_on: Option<NaiveDate>,
    late: Option<bool>,
    supplier: Option<String>,
    packs: Option<String>,
    pack_count: Option<i64>,
    cost_minor: Option<i64>,
    currency: Option<String>,
    transfers: Option<String>,
    why: Option<String>,
    use_for_tank_changes: f64,
    use_for_top_ups: f64,
    use_for_ph: f64,
    use_fed: f64,
    use_unplanned: f64,
    use_taken_out: f64,
    use_by_past_alone: Option<f64>,
    cautions: String,
}

impl ProductForecast {
    /// Whether the site holds, orders or uses it, or has used it: a business lists products that one of its sites never sees.
    pub fn concerns_the_site(&self) -> bool {
        let held = self.days.iter().any(|day| day.balance != 0.0);
        let used = self.expected_use.total != 0.0 || self.baseline.is_some();
        held || used || self.purchase.is_some() || !self.deliveries.is_empty()
    }
}

impl PurchaseRow {
    /// A row for each product that the site has anything to do with.
    pub fn each(products: &[ProductForecast]) -> Vec<PurchaseRow> {
        products.iter().filter(|product| product.concerns_the_site()).map(PurchaseRow::from).collect()
    }
}

impl From<&ProductForecast> for PurchaseRow {
    fn from(told: &ProductForecast) -> Self {
        let purchase = told.purchase.as_ref();
        Self {
            product_id: told.product_id,
            product: told.name.clone(),
            unit: told.unit,
            expected_use: told.expected_use.total,
            may_run_out_on: told.may_run_out_on,
            order_by_on: purchase.map(|purchase| purchase.order_by_on),
            late: purchase.map(|purchase| purchase.late),
            supplier: purchase.map(|purchase| purchase.supplier.clone()),
            packs: purchase.map(ProposedPurchase::packs_told),
            pack_count: purchase.map(|purchase| purchase.pack_count),
            cost_minor: purchase.map(|purchase| purchase.cost_minor),
            currency: purchase.map(|purchase| purchase.currency.clone()),
            transfers: purchase.map(ProposedPurchase::transfers_told),
            why: purchase.map(|purchase| purchase.why.clone()),
            use_for_tank_changes: told.expected_use.tank_changes,
            use_for_top_ups: told.expected_use.top_ups,
            use_for_ph: told.expected_use.ph,
            use_fed: told.expected_use.fed,
            use_unplanned: told.expected_use.unplanned,
            use_taken_out: told.expected_use.taken_out,
            use_by_past_alone: told.baseline.map(|simple| simple.total),
            cautions: told.cautions.join("; "),
        }
    }
}

/// Purchases from one supplier that go in one order.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct ProposedOrder {
    /// From whom.
    pub supplier_id: Uuid,
    /// The supplier's name.
    #[schema(max_length = 120)]
    pub supplier: String,
    /// The earliest day that one of its products asks for.
    pub order_by_on: NaiveDate,
    /// What goes in it.
    #[schema(max_items = 1000)]
    pub product_ids: Vec<Uuid>,
    /// Price of all packs, minor units, without freight.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub value_minor: i64,
    /// ISO 4217 code.
    #[schema(min_length = 3, max_length = 3)]
    pub currency: String,
    /// Freight, minor units; null where the supplier's terms are in another currency.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub freight_minor: Option<i64>,
    /// What is missing to the supplier's least order, minor units; 0 when it is reached, null like the freight.
    #[schema(minimum = 0, maximum = 9007199254740991i64)]
    pub below_minimum_minor: Option<i64>,
    /// What to keep in mind.
    #[schema(max_items = 20)]
    pub cautions: Vec<String>,
}

/// By when draft orders are wanted.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"order_by_on": "2026-12-01"}))]
pub struct NewDraftOrders {
    /// Drafts are made of all that has to be ordered by this day.
    pub order_by_on: NaiveDate,
}

impl ProposedPurchase {
    /// The packs in words, such as `2 × 5000 + 1 × 1000`, in the unit of the product.
    pub fn packs_told(&self) -> String {
        let each = self.lines.iter().map(|line| format!("{} × {}", line.pack_count, line.pack.value));
        each.collect::<Vec<_>>().join(" + ")
    }

    /// The transfers in words, such as `700 from South house`, in the unit of the product.
    pub fn transfers_told(&self) -> String {
        let each =
            self.transfers.iter().map(|given| format!("{} from {}", given.amount.value, given.from_site));
        each.collect::<Vec<_>>().join(" + ")
    }

    pub(super) fn of(
        purchase: &answers::Purchase,
        base: fillmark_domain::Base,
        names: ForecastNames<'_>,
    ) -> Self {
        Self {
            supplier_id: purchase.supplier.uuid(),
            supplier: names.supplier(purchase.supplier),
            order_by_on: purchase.order_by.date(),
            late: matches!(purchase.order_by, answers::OrderBy::Late(_)),
            chance_of_running_out_percent: percent(purchase.chance_of_running_out),
            lead_time_promised_days: purchase.lead_time.promised_days,
            lead_time_mean_days: round(purchase.lead_time.mean_days),
            lead_time_sd_days: round(purchase.lead_time.sd_days),
            lead_time_order_count: purchase.lead_time.orders as u64,
            needed: purchase.needed.quantity(base).into(),
            at_most: purchase.at_most.map(|amount| amount.quantity(base).into()),
            transfers: purchase
                .transfers
                .iter()
                .map(|given| ProposedTransfer {
                    from_site_id: given.from.uuid(),
                    from_site: names.site(given.from),
                    amount: given.amount.quantity(base).into(),
                })
                .collect(),
            lines: purchase.lines.iter().map(|line| ProposedLine::of(line, base)).collect(),
            pack_count: purchase.pack_count(),
            amount: purchase.amount.quantity(base).into(),
            cost_minor: purchase.cost.minor,
            currency: purchase.cost.currency.code(),
            why: purchase.told(),
            in_step_with_id: purchase.in_step_with.map(Id::uuid),
            brought_forward_to_on: purchase.brought_forward.map(|forward| forward.to),
        }
    }
}

impl ProposedLine {
    fn of(line: &answers::PurchaseLine, base: fillmark_domain::Base) -> Self {
        Self {
            pack: line.offer.pack.quantity(base).into(),
            pack_count: line.packs.count,
            price_minor: line.offer.price.minor,
            cost_minor: line.cost.minor,
        }
    }
}

impl ProposedOrder {
    /// A proposed order.
    pub fn of(order: &answers::ProposedOrder, names: ForecastNames<'_>) -> Self {
        let supplier = names.supplier(order.supplier);
        let of = format!("of {supplier}");
        Self {
            supplier_id: order.supplier.uuid(),
            supplier,
            order_by_on: order.order_by.date(),
            product_ids: order.products.iter().map(|product| product.uuid()).collect(),
            value_minor: order.value.minor,
            currency: order.value.currency.code(),
            freight_minor: order.freight_minor,
            below_minimum_minor: order.below_minimum_minor,
            cautions: order.cautions.iter().map(|one| caution(one, &of)).collect(),
        }
    }
}
