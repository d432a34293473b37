//! What is held, what moved, what was short.

use fillmark_domain::Amount;
use fillmark_domain::Kept;
use fillmark_domain::people::Act;
use fillmark_domain::places::SiteId;
use fillmark_domain::stock::{Movement, Product, ProductId, Shortage};
use fillmark_store::holdings::{self, Holding};
use fillmark_store::{Page, PageQuery, SiteScope, Tx, movements, plan, records, shortages};

use crate::{App, Caller, Refusal};

/// What a site holds of a product.
#[derive(Debug, Clone, PartialEq)]
pub struct ProductStock {
    /// The product.
    pub product: Kept<Product>,
    /// Its lots in pouring order, without what is used up.
    pub lots: Vec<Holding>,
    /// What the lots hold together.
    pub balance: Amount,
    /// What of it may be poured today: neither quarantined nor expired.
    pub usable: Amount,
    /// What was poured beyond the record and not settled since.
    pub short: Amount,
}

/// A page of the products, each with what a site holds of it.
/// # Errors
/// When the caller may not read it.
pub async fn list_stock(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<ProductStock>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let page = records::page::<Product>(&tx, scope.in_business(), query).await?;
    Ok(Page { items: with_lots(app, &tx, scope, page.items).await?, next: page.next })
}

/// What a site holds of a product.
/// # Errors
/// When the caller may not read it or there is no such product.
pub async fn read_stock(
    app: &App,
    caller: &Caller,
    site: SiteId,
    product: ProductId,
) -> Result<ProductStock, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    let product = records::find(&tx, scope.in_business(), product).await?.ok_or(Refusal::NotFound)?;
    with_lots(app, &tx, scope, vec![product]).await?.pop().ok_or(Refusal::NotFound)
}

async fn with_lots(
    app: &App,
    tx: &Tx,
    scope: SiteScope,
    products: Vec<Kept<Product>>,
) -> Result<Vec<ProductStock>, Refusal> {
    let zone = plan::site(tx, scope).await?.ok_or(Refusal::NotFound)?.content.time_zone;
    let today = app.now().with_timezone(&zone).date_naive();
    let ids: Vec<ProductId> = products.iter().map(|product| product.id).collect();
    let mut held = holdings::of_products(tx, scope, &ids).await?;
    held.sort_by_key(|holding| holding.on_hand.pouring_order());
    let short = shortages::open_of(tx, scope, &ids).await?;
    let stock = |product: Kept<Product>| {
        let lots: Vec<Holding> =
            held.iter().filter(|holding| holding.lot.content.product == product.id).cloned().collect();
        let usable = lots.iter().filter(|holding| holding.on_hand.usable(today));
        ProductStock {
            balance: lots.iter().map(|holding| holding.on_hand.held).sum(),
            usable: usable.map(|holding| holding.on_hand.held).sum(),
            short: short.iter().filter(|short| short.product == product.id).map(|short| short.amount).sum(),
            product,
            lots,
        }
    };
    Ok(products.into_iter().map(stock).collect())
}

/// A page of a site's movements.
/// # Errors
/// When the caller may not read them.
pub async fn list_movements(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<Movement>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(movements::page(&tx, scope, query).await?)
}

/// A page of a site's shortages.
/// # Errors
/// When the caller may not read them.
pub async fn list_shortages(
    app: &App,
    caller: &Caller,
    site: SiteId,
    query: &PageQuery,
) -> Result<Page<Shortage>, Refusal> {
    let scope = caller.may(Act::Read, site)?;
    let tx = app.store.look().await?;
    Ok(shortages::page(&tx, scope, query).await?)
}
