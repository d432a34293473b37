//! What comes in, goes out, is counted and made, taken back, and what is held after it.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::stock::{self, Count, Done, Handled, Issue, Part, Preparation, Receipt, WriteOff};
use fillmark_api::{
    Instant, Listed, LotHeld, Movement, NewCount, NewIssue, NewPreparation, NewReceipt, NewReversal,
    NewWriteOff, ProductStock, Shortage, Slip, stated_reason,
};
use fillmark_domain::Id;
use fillmark_domain::stock::{MovementKind, ShortageState};
use uuid::Uuid;

use crate::http::list::{Asked, ListKind, one_of};
use crate::http::{AppData, Created, Json, ListQuery, ReadProblems, Refused, SignedIn, WriteProblems};
use crate::routes::records::kind;

type StockPage = Listed<ProductStock>;
type MovementPage = Listed<Movement>;
type ShortagePage = Listed<Shortage>;

const MOVEMENTS: ListKind = ListKind {
    ordered_by: &["done_at"],
    narrowed_by: &["product_id", "lot_id", "slip_id"],
    archives: false,
    named: false,
    recorded: Some("done_at"),
    coded_by: &[("kind", one_of::<MovementKind>)],
};

const SHORTAGES: ListKind = ListKind {
    ordered_by: &["poured_at"],
    narrowed_by: &["product_id"],
    archives: false,
    named: false,
    recorded: Some("poured_at"),
    coded_by: &[("state", one_of::<ShortageState>)],
};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(receive_product).service(issue_product).service(count_stock).service(write_off_lot);
    config.service(make_preparation).service(read_slip).service(reverse_slip).service(reverse_movement);
    config.service(list_stock).service(read_stock).service(list_movements).service(list_shortages);
}

pub(super) fn done(client_id: Uuid, at: Option<Instant>) -> Done {
    Done { client_id, at: at.map(|at| at.0) }
}

fn slip(handled: Handled) -> Slip {
    Slip::of(handled.entered, &handled.cautions)
}

fn created(site: Uuid, handled: Handled) -> Created<Slip> {
    let slip = slip(handled);
    Created::at(format!("/api/v1/sites/{site}/slips/{}", slip.id), slip)
}

/// Take in what came, with or without an order.
///
/// A new lot number makes the lot; open shortages of the product are settled. Much more than the order awaits is asked
/// back (`confirmation_needed`) and taken with `confirmed`.
#[utoipa::path(tag = "stock", operation_id = "receive_product", security(("bearer" = [])), request_body = NewReceipt,
    responses((status = 201, description = "The slip, entered now or by an earlier try", body = Slip), WriteProblems))]
#[post("/sites/{site_id}/receipts")]
pub async fn receive_product(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewReceipt>,
) -> Result<Created<Slip>, Refused> {
    let site = path.into_inner();
    body.0.check()?;
    let NewReceipt { client_id, product_id, lot_number, expiry_on, amount, done_at, order_id, confirmed } =
        body.0;
    let receipt = Receipt {
        done: done(client_id, done_at),
        product: Id::new(product_id),
        lot_number: lot_number.trim().to_owned(),
        expiry: expiry_on,
        amount: amount.word(),
        order: order_id.map(Id::new),
        confirmed,
    };
    Ok(created(site, stock::receive_product(&app, &caller.0, Id::new(site), receipt).await?))
}

/// Take a product out for use, from the lots that expire first.
///
/// More than is held is refused (`out_of_stock`), unless it was used all the same: then the rest is a shortage.
#[utoipa::path(tag = "stock", operation_id = "issue_product", security(("bearer" = [])), request_body = NewIssue,
    responses((status = 201, description = "The slip, entered now or by an earlier try", body = Slip), WriteProblems))]
#[post("/sites/{site_id}/products/{product_id}/issues")]
pub async fn issue_product(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewIssue>,
) -> Result<Created<Slip>, Refused> {
    let (site, product) = path.into_inner();
    let issue = Issue {
        done: done(body.0.client_id, body.0.done_at),
        amount: body.0.amount.word(),
        lot: body.0.lot_id.map(Id::new),
        poured_all_the_same: body.0.poured_all_the_same,
    };
    Ok(created(site, stock::issue_product(&app, &caller.0, Id::new(site), Id::new(product), issue).await?))
}

/// Bring the ledger to what was counted.
///
/// Of one lot, or of all lots of a product together, which settles the shortages that were poured before it.
#[utoipa::path(tag = "stock", operation_id = "count_stock", security(("bearer" = [])), request_body = NewCount,
    responses((status = 201, description = "The slip, entered now or by an earlier try", body = Slip), WriteProblems))]
#[post("/sites/{site_id}/counts")]
pub async fn count_stock(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewCount>,
) -> Result<Created<Slip>, Refused> {
    let site = path.into_inner();
    let count = Count {
        done: done(body.0.client_id, body.0.done_at),
        product: Id::new(body.0.product_id),
        lot: body.0.lot_id.map(Id::new),
        counted: body.0.counted.word(),
        confirmed: body.0.confirmed,
    };
    Ok(created(site, stock::count_stock(&app, &caller.0, Id::new(site), count).await?))
}

/// Write off a part of a lot that is spilt, spoilt or expired.
#[utoipa::path(tag = "stock", operation_id = "write_off_lot", security(("bearer" = [])), request_body = NewWriteOff,
    responses((status = 201, description = "The slip, entered now or by an earlier try", body = Slip), WriteProblems))]
#[post("/sites/{site_id}/write-offs")]
pub async fn write_off_lot(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewWriteOff>,
) -> Result<Created<Slip>, Refused> {
    let site = path.into_inner();
    let write_off = WriteOff {
        done: done(body.0.client_id, body.0.done_at),
        lot: Id::new(body.0.lot_id),
        amount: body.0.amount.word(),
        reason: stated_reason(&body.0.reason)?,
    };
    Ok(created(site, stock::write_off(&app, &caller.0, Id::new(site), write_off).await?))
}

/// Enter a stock solution that was made on site: lots in, a new lot out.
#[utoipa::path(tag = "stock", operation_id = "make_preparation", security(("bearer" = [])), request_body = NewPreparation,
    responses((status = 201, description = "The slip, entered now or by an earlier try", body = Slip), WriteProblems))]
#[post("/sites/{site_id}/preparations")]
pub async fn make_preparation(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewPreparation>,
) -> Result<Created<Slip>, Refused> {
    let site = path.into_inner();
    body.0.check()?;
    let NewPreparation { client_id, product_id, lot_number, expiry_on, amount, strength, parts, done_at } =
        body.0;
    let part = |part: &fillmark_api::PreparationPart| Part {
        product: Id::new(part.product_id),
        lot: part.lot_id.map(Id::new),
        amount: part.amount.word(),
    };
    let made = Preparation {
        done: done(client_id, done_at),
        product: Id::new(product_id),
        lot_number: lot_number.trim().to_owned(),
        expiry: expiry_on,
        amount: amount.word(),
        strength,
        parts: parts.iter().map(part).collect(),
    };
    Ok(created(site, stock::make_preparation(&app, &caller.0, Id::new(site), made).await?))
}

/// Read a slip and what it did.
#[utoipa::path(tag = "stock", operation_id = "read_slip", security(("bearer" = [])),
    responses((status = 200, description = "As it was entered", body = Slip), ReadProblems))]
#[get("/sites/{site_id}/slips/{slip_id}")]
pub async fn read_slip(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let handled = stock::read_slip(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(HttpResponse::Ok().json(slip(handled)))
}

/// Take back all that a slip did, its shortage included.
///
/// What was sent to another site is taken back until it arrives.
///
/// Managers may; staff may for 24 hours, what they entered themselves.
#[utoipa::path(tag = "stock", operation_id = "reverse_slip", security(("bearer" = [])), request_body = NewReversal,
    responses((status = 201, description = "The slip, entered now or by an earlier try", body = Slip), WriteProblems))]
#[post("/sites/{site_id}/slips/{slip_id}/reversals")]
pub async fn reverse_slip(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewReversal>,
) -> Result<Created<Slip>, Refused> {
    let (site, id) = path.into_inner();
    let (done, reason) = (done(body.0.client_id, None), stated_reason(&body.0.reason)?);
    let back = stock::reverse_slip(&app, &caller.0, Id::new(site), Id::new(id), done, reason).await?;
    Ok(created(site, back))
}

/// Take back one movement by its linked opposite.
///
/// Managers may; staff may for 24 hours, what they entered themselves.
#[utoipa::path(tag = "stock", operation_id = "reverse_movement", security(("bearer" = [])), request_body = NewReversal,
    responses((status = 201, description = "The slip, entered now or by an earlier try", body = Slip), WriteProblems))]
#[post("/sites/{site_id}/movements/{movement_id}/reversals")]
pub async fn reverse_movement(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewReversal>,
) -> Result<Created<Slip>, Refused> {
    let (site, id) = path.into_inner();
    let (done, reason) = (done(body.0.client_id, None), stated_reason(&body.0.reason)?);
    let back = stock::reverse_movement(&app, &caller.0, Id::new(site), Id::new(id), done, reason).await?;
    Ok(created(site, back))
}

/// List the products with what a site holds of each, lot by lot.
#[utoipa::path(tag = "stock", operation_id = "list_stock", security(("bearer" = [])),
    params(ListQuery, ("archived" = Option<bool>, Query, description = "The archived products instead"),
        ("q" = Option<String>, Query, description = "Only products whose name holds this")),
    responses((status = 200, description = "A page of them", body = StockPage), ReadProblems))]
#[get("/sites/{site_id}/stock")]
pub async fn list_stock(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, kind::<fillmark_domain::stock::Product>())?;
    let page = stock::list_stock(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, product_stock))
}

/// Read what a site holds of a product, lot by lot.
#[utoipa::path(tag = "stock", operation_id = "read_stock", security(("bearer" = [])),
    responses((status = 200, description = "What is held now", body = ProductStock), ReadProblems))]
#[get("/sites/{site_id}/products/{product_id}/stock")]
pub async fn read_stock(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, product) = path.into_inner();
    let held = stock::read_stock(&app, &caller.0, Id::new(site), Id::new(product)).await?;
    Ok(HttpResponse::Ok().json(product_stock(held)))
}

fn product_stock(held: stock::ProductStock) -> ProductStock {
    let base = held.product.content.base;
    let lots = held.lots.iter().map(|holding| LotHeld::of(&holding.lot, &holding.on_hand, base)).collect();
    ProductStock::of(&held.product, (held.balance, held.usable, held.short), lots)
}

/// List the movements of a site's ledger.
#[utoipa::path(tag = "stock", operation_id = "list_movements", security(("bearer" = [])),
    params(ListQuery, ("product_id" = Option<Uuid>, Query, description = "Only of this product; repeated, of any of them"),
        ("lot_id" = Option<Uuid>, Query, description = "Only of this lot"),
        ("slip_id" = Option<Uuid>, Query, description = "Only of this slip"),
        ("kind" = Option<String>, Query, description = "Only of this kind"),
        ("recorded_from" = Option<String>, Query, description = "Done at this instant or later"),
        ("recorded_before" = Option<String>, Query, description = "Done before this instant")),
    responses((status = 200, description = "A page of them", body = MovementPage), ReadProblems))]
#[get("/sites/{site_id}/movements")]
pub async fn list_movements(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, MOVEMENTS)?;
    let page = stock::list_movements(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, Movement::from))
}

/// List what was used beyond the record.
#[utoipa::path(tag = "stock", operation_id = "list_shortages", security(("bearer" = [])),
    params(ListQuery, ("product_id" = Option<Uuid>, Query, description = "Only of this product; repeated, of any of them"),
        ("state" = Option<String>, Query, description = "Only in this state"),
        ("recorded_from" = Option<String>, Query, description = "Used at this instant or later"),
        ("recorded_before" = Option<String>, Query, description = "Used before this instant")),
    responses((status = 200, description = "A page of them", body = ShortagePage), ReadProblems))]
#[get("/sites/{site_id}/shortages")]
pub async fn list_shortages(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, SHORTAGES)?;
    let page = stock::list_shortages(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, Shortage::from))
}
