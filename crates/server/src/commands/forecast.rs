//! The purchase forecast as tables: what will be used, how long the stock lasts, what to order by when.

use std::fmt::Display;

use comfy_table::Table;
use fillmark_api::{ProductForecast, ProposedOrder, ProposedPurchase, SiteForecast};
use fillmark_domain::{Coded, Currency, Money};

use super::{CommandError, Desk, table};

/// The forecast of one site, or of every site the person sees.
/// # Errors
/// [`CommandError`].
pub async fn forecast(desk: &Desk, site: Option<&str>, days: u16) -> Result<String, CommandError> {
    let mut text = String::new();
    for site in desk.sites(site).await? {
        let made = desk.told(desk.client.forecast(site.id, days).await)?;
        text.push_str(&told(&site.body.name, &made));
    }
    Ok(text)
}

/// What a product will be used for at one site, or at every site the person sees: day by day and tank by tank.
/// # Errors
/// [`CommandError`], and [`CommandError::NoProduct`] where no product has the name.
pub async fn causes(
    desk: &Desk,
    site: Option<&str>,
    product: &str,
    days: u16,
) -> Result<String, CommandError> {
    let product = desk.product(product).await?;
    let mut text = String::new();
    for site in desk.sites(site).await? {
        let told = desk.told(desk.client.forecast_causes(site.id, product, days).await)?;
        let mut causes = table(&["day", "cause", "tank", "amount"]);
        for cause in &told.causes {
            let amount = format!("{:.1} {}", cause.amount.value, cause.amount.unit.0.code());
            let tank = cause.tank.clone().unwrap_or_default();
            causes.add_row([cause.on.to_string(), cause.cause.0.code().replace('_', " "), tank, amount]);
        }
        text.push_str(&format!(
            "{}, {}: {days} days from {}\n{causes}\n\n",
            site.body.name, told.name, told.today_on
        ));
    }
    Ok(text)
}

/// A site's forecast as tables: each product, then what goes in one order.
pub(crate) fn told(site: &str, made: &SiteForecast) -> String {
    let Some(first) = made.products.first() else {
        return format!("{site}: there are no products to forecast\n\n");
    };
    let (days, level) = (first.days.len(), made.service_level_percent);
    let mut text = format!("{site}: {days} days from {} (service level {level:.0} %)\n", made.today_on);
    match made.products.iter().any(ProductForecast::concerns_the_site) {
        true => text.push_str(&format!("{}\n", products(made))),
        false => text.push_str("nothing is held, ordered or used there\n"),
    }
    for product in made.products.iter().filter(|product| !product.cautions.is_empty()) {
        text.push_str(&format!("{}: {}\n", product.name, product.cautions.join("; ")));
    }
    for product in &made.products {
        if let Some(bought) = bought(product) {
            text.push_str(&format!("{}: {}\n", product.name, bought.why));
        }
    }
    if !made.orders.is_empty() {
        text.push_str(&format!("\n{}\n", orders(made)));
    }
    text.push('\n');
    text
}

fn orders(made: &SiteForecast) -> Table {
    let mut orders = table(&["order from", "by", "what", "value", "freight", "least order", "mind"]);
    let name = |id| made.products.iter().find(|product| product.product_id == id);
    for order in &made.orders {
        let products = order.product_ids.iter().filter_map(|id| Some(name(*id)?.name.as_str()));
        let money = |minor| priced(minor, &order.currency);
        orders.add_row([
            order.supplier.clone(),
            order.order_by_on.to_string(),
            products.collect::<Vec<_>>().join(", "),
            money(order.value_minor),
            or_nothing(order.freight_minor.map(money)),
            reached(order),
            order.cautions.join("; "),
        ]);
    }
    orders
}

fn reached(order: &ProposedOrder) -> String {
    match order.below_minimum_minor {
        Some(0) => "reached".to_owned(),
        Some(minor) => format!("{} short of it", priced(minor, &order.currency)),
        None => String::new(),
    }
}

fn products(made: &SiteForecast) -> Table {
    let mut products = table(&[
        "product",
        "use",
        "by past use alone",
        "changes / top-ups / pH / fed / unplanned / taken out",
        "in stock",
        "may run out on",
        "order by",
        "other sites give",
        "packs",
        "from",
        "cost",
    ]);
    for product in made.products.iter().filter(|product| product.concerns_the_site()) {
        products.add_row(row(product));
    }
    products
}

/// What is bought or asked of other sites; nothing where a pack would spoil first.
fn bought(product: &ProductForecast) -> Option<&ProposedPurchase> {
    let asked_for = |bought: &&ProposedPurchase| !bought.lines.is_empty() || !bought.transfers.is_empty();
    product.purchase.as_ref().filter(asked_for)
}

fn row(product: &ProductForecast) -> [String; 11] {
    let cause = product.expected_use;
    let parts = [cause.tank_changes, cause.top_ups, cause.ph, cause.fed, cause.unplanned, cause.taken_out];
    let parts = parts.map(|part| format!("{part:.0}")).join(" / ");
    let unit = product.unit.0.code();
    let in_stock = product.days.first().map_or(0.0, |day| day.balance + day.used.total);
    let bought = bought(product);
    let order_by = |bought: &ProposedPurchase| {
        format!("{}{}", bought.order_by_on, if bought.late { " (late)" } else { "" })
    };
    [
        product.name.clone(),
        format!("{:.0} {unit}", cause.total),
        or_nothing(product.baseline.map(|simple| format!("{:.0} {unit}", simple.total))),
        parts,
        format!("{in_stock:.0} {unit}"),
        or_nothing(product.may_run_out_on),
        bought.map_or_else(|| unbought(product).to_owned(), order_by),
        or_nothing(bought.map(ProposedPurchase::transfers_told)),
        or_nothing(bought.map(ProposedPurchase::packs_told)),
        or_nothing(bought.map(|bought| &bought.supplier)),
        or_nothing(bought.map(|bought| priced(bought.cost_minor, &bought.currency))),
    ]
}

fn or_nothing(value: Option<impl Display>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn unbought(product: &ProductForecast) -> &'static str {
    match (product.may_run_out_on, &product.purchase) {
        (None, _) => "lasts",
        (Some(_), None) if product.make_before_on.is_some() => "made on site: make more",
        (Some(_), None) if product.without_offer => "nobody offers it",
        (Some(_), None) => "under way",
        (Some(_), Some(_)) => "a pack would spoil first",
    }
}

fn priced(minor: i64, currency: &str) -> String {
    Currency::from_code(currency).map(|currency| Money::new(minor, currency).to_string()).unwrap_or_default()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A forecast with one product that runs out, of which so many packs are bought for an order of 40 EUR.
    fn made(packs: i64) -> SiteForecast {
        let (product, supplier) =
            ("00000000-0000-0000-0000-000000000001", "00000000-0000-0000-0000-000000000002");
        let none = serde_json::json!({ "total": 0, "tank_changes": 0, "top_ups": 0, "ph": 0, "fed": 0, "unplanned": 0, "taken_out": 0 });
        let litre = serde_json::json!({ "value": 1, "unit": "L" });
        let line = serde_json::json!({ "pack": litre, "pack_count": packs, "price_minor": 1000, "cost_minor": 4000 });
        let lines = if packs > 0 { vec![line] } else { Vec::new() };
        let made = serde_json::json!({
            "today_on": "2026-11-24", "made_at": "2026-11-24T06:00:00.000Z", "service_level_percent": 95,
            "suspected": [],
            "products": [{
                "product_id": product, "name": "Base A", "unit": "mL", "expected_use": none, "days": [],
                "learnt_from": { "fill_count": 1, "top_up_count": 0, "fill_ratio": null, "change_on_plan_count": 0,
                    "uptake_span_count": 0, "loss_count": 0, "taken_out_count": 0 },
                "may_run_out_on": "2026-12-20", "deliveries": [], "changes": [], "spoils": [], "cautions": [],
                "purchase": {
                    "supplier_id": supplier, "supplier": "Nutrients of the North", "order_by_on": "2026-12-01",
                    "late": false, "chance_of_running_out_percent": 2, "lead_time_mean_days": 5,
                    "lead_time_sd_days": 1, "lead_time_order_count": 3, "needed": litre, "at_most": null,
                    "transfers": [], "lines": lines, "amount": litre,
                    "pack_count": packs, "cost_minor": 4000, "currency": "EUR",
                    "in_step_with_id": null, "brought_forward_to_on": null, "why": "It runs out.",
                },
            }],
            "orders": [{
                "supplier_id": supplier, "supplier": "Nutrients of the North", "order_by_on": "2026-12-01",
                "product_ids": [product], "value_minor": 4000, "currency": "EUR", "freight_minor": 990,
                "below_minimum_minor": 6000, "cautions": [],
            }],
        });
        serde_json::from_value(made).unwrap()
    }

    #[test]
    fn an_order_is_told_with_its_freight_and_what_is_missing_to_the_least_order() {
        let text = told("Harbour", &made(4));
        for words in
            ["Base A", "4 × 1", "Base A: It runs out.", "40.00 EUR", "9.90 EUR", "60.00 EUR short of it"]
        {
            assert!(text.contains(words), "{words:?} is missing in\n{text}");
        }
    }

    #[test]
    fn what_runs_out_before_what_is_under_way_comes_is_told_so() {
        let mut forecast = made(4);
        let product = &mut forecast.products[0];
        product.expected_use.total = 900.0;
        (product.purchase, forecast.orders) = (None, Vec::new());
        let text = told("Harbour", &forecast);
        assert!(text.contains("under way") && !text.contains("nobody"), "{text}");
        forecast.products[0].without_offer = true;
        assert!(told("Harbour", &forecast).contains("nobody offers it"));
    }

    #[test]
    fn no_pack_is_told_where_it_would_spoil_before_it_is_used() {
        let text = told("Harbour", &made(0));
        assert!(text.contains("a pack would spoil first"), "{text}");
    }
}
