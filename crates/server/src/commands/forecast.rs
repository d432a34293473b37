//! The purchase forecast as tables: what will be used, how long the stock lasts, what to order by when.

use std::fmt::Display;

use comfy_table::Table;
use fillmark_api::{ProductForecast, Site, SiteForecast};
use fillmark_domain::Coded;

use super::{CommandError, Desk, table};

/// The forecast of one site, or of every site the person sees.
/// # Errors
/// [`CommandError`].
pub async fn forecast(desk: &Desk, site: Option<&str>, days: u16) -> Result<String, CommandError> {
    let mut text = String::new();
    for site in desk.sites(site).await? {
        let made = desk.told(desk.client.forecast(site.id, days).await)?;
        text.push_str(&told(&site, &made, days));
    }
    Ok(text)
}

fn told(site: &Site, made: &SiteForecast, days: u16) -> String {
    let mut text = format!(
        "{}: {days} days from {} (service level {:.0} %)\n{}\n",
        site.body.name,
        made.today_on,
        made.service_level_percent,
        products(made)
    );
    for product in made.products.iter().filter(|product| !product.cautions.is_empty()) {
        text.push_str(&format!("{}: {}\n", product.name, product.cautions.join("; ")));
    }
    text.push('\n');
    text
}

fn products(made: &SiteForecast) -> Table {
    let mut products = table(&[
        "product",
        "use",
        "changes / top-ups / pH / fed / other",
        "in stock",
        "may run out on",
        "order by",
        "packs",
        "from",
        "cost",
    ]);
    for product in &made.products {
        products.add_row(row(product));
    }
    products
}

fn row(product: &ProductForecast) -> [String; 9] {
    let cause = product.expected_use;
    let parts = [cause.tank_changes, cause.top_ups, cause.ph, cause.fed, cause.unplanned];
    let parts = parts.map(|part| format!("{part:.0}")).join(" / ");
    let unit = product.unit.0.code();
    let in_stock = product.days.first().map_or(0.0, |day| day.balance + day.used.total);
    let bought = product.purchase.as_ref();
    let order_by = |bought: &fillmark_api::ProposedPurchase| {
        format!("{}{}", bought.order_by_on, if bought.late { " (late)" } else { "" })
    };
    [
        product.name.clone(),
        format!("{:.0} {unit}", cause.total),
        parts,
        format!("{in_stock:.0} {unit}"),
        or_nothing(product.may_run_out_on),
        bought.map_or_else(|| unbought(product).to_owned(), order_by),
        or_nothing(bought.map(|bought| bought.pack_count)),
        or_nothing(bought.map(|bought| &bought.supplier)),
        or_nothing(bought.map(|bought| priced(bought.cost_minor, &bought.currency))),
    ]
}

fn or_nothing(value: Option<impl Display>) -> String {
    value.map(|value| value.to_string()).unwrap_or_default()
}

fn unbought(product: &ProductForecast) -> &'static str {
    if product.may_run_out_on.is_some() { "nobody offers it" } else { "lasts" }
}

/// Minor units as people write prices: ISO 4217 gives most currencies two digits after the point.
fn priced(minor: i64, currency: &str) -> String {
    let digits = match currency {
        "CLP" | "ISK" | "JPY" | "KRW" | "PYG" | "UGX" | "VND" | "XAF" | "XOF" | "XPF" => 0,
        "BHD" | "IQD" | "JOD" | "KWD" | "LYD" | "OMR" | "TND" => 3,
        _ => 2,
    };
    let scale = 10_i64.pow(digits);
    let (whole, part) = (minor / scale, minor % scale);
    match digits {
        0 => format!("{whole} {currency}"),
        _ => format!("{whole}.{part:0width$} {currency}", width = digits as usize),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_price_has_the_digits_of_its_currency() {
        assert_eq!(priced(123_405, "EUR"), "1234.05 EUR");
        assert_eq!(priced(1_234, "JPY"), "1234 JPY");
        assert_eq!(priced(1_234, "KWD"), "1.234 KWD");
    }
}
