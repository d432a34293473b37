//! Orders: drafted, placed, closed or cancelled. What comes of them is entered as receipts.

use actix_web::http::header;
use actix_web::web::{Path, Query};
use actix_web::{HttpRequest, HttpResponse, HttpResponseBuilder, get, patch, post};
use fillmark_actions::stock::{self, Confirmation, Packs, Placing, SupplierOrder};
use fillmark_api::{Listed, NewConfirmation, NewOrder, NewPlacing, Order, OrderedLine};
use fillmark_domain::Id;
use fillmark_domain::stock::OrderState;
use uuid::Uuid;

use crate::http::csv::{self, FormatQuery};
use crate::http::list::{Asked, ListKind, one_of_codes};
use crate::http::{AppData, Json, ListQuery, ReadProblems, Refused, Seen, SignedIn, WriteProblems};

type OrderPage = Listed<Order>;

const ORDERS: ListKind = ListKind {
    ordered_by: &["created_at"],
    narrowed_by: &["supplier_id"],
    archives: false,
    named: false,
    recorded: None,
    coded_by: &[("state", an_order_state)],
};

fn an_order_state(value: &str) -> Result<(), String> {
    one_of_codes(&OrderState::CODES, value)
}

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_orders).service(draft_order).service(read_order).service(redraft_order);
    config.service(approve_order).service(read_order_message);
    config.service(place_order).service(confirm_order).service(close_order).service(cancel_order);
}

fn packs(order: &NewOrder) -> Vec<Packs> {
    order.lines.iter().map(|line| Packs { offer: Id::new(line.offer_id), packs: line.packs }).collect()
}

/// An order as it is answered.
pub(crate) fn told(order: &SupplierOrder) -> Order {
    Order::of(&order.order, &order.supplier, &order.products)
}

fn tagged(mut response: HttpResponseBuilder, order: Order) -> HttpResponse {
    response.insert_header((header::ETAG, format!("\"v{}\"", order.version))).json(order)
}

/// Stand for a draft being placed as it is. Other lines want it anew.
#[utoipa::path(tag = "stock", operation_id = "approve_order", security(("bearer" = [])),
    responses((status = 201, description = "As it is now", body = Order), WriteProblems))]
#[post("/sites/{site_id}/orders/{order_id}/approvals")]
pub async fn approve_order(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let order = stock::approve_order(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(tagged(HttpResponse::Created(), told(&order)))
}

/// Read a message to the supplier that can be sent as it stands. As CSV a row for each line that is ordered.
#[utoipa::path(tag = "stock", operation_id = "read_order_message", security(("bearer" = [])), params(FormatQuery),
    responses((status = 200, description = "The message",
        content((String = "text/plain"), (String = "text/csv"))), ReadProblems))]
#[get("/sites/{site_id}/orders/{order_id}/message")]
pub async fn read_order_message(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    request: HttpRequest,
    query: Query<FormatQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted_of_text(&request, query.0.format.as_deref())?;
    let (site, id) = path.into_inner();
    let message = stock::order_message(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    if wants_csv {
        let SupplierOrder { order, supplier, products } = &message.order;
        let lines = OrderedLine::all(order, &supplier.name, &message.site, products);
        return Ok(HttpResponse::Ok().content_type(csv::CONTENT_TYPE).body(csv::of_items(&lines)));
    }
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(message.text))
}

/// List the orders of a site.
#[utoipa::path(tag = "stock", operation_id = "list_orders", security(("bearer" = [])),
    params(ListQuery, ("supplier_id" = Option<Uuid>, Query, description = "Only to this supplier; repeated, to any of them"),
        ("state" = Option<String>, Query, description = "Only in this state; repeated, in any of them")),
    responses((status = 200, description = "A page of them", body = OrderPage), ReadProblems))]
#[get("/sites/{site_id}/orders")]
pub async fn list_orders(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, ORDERS)?;
    let page = stock::list_orders(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, |order| told(&order)))
}

/// Draft an order of packs that one supplier offers.
#[utoipa::path(tag = "stock", operation_id = "draft_order", security(("bearer" = [])), request_body = NewOrder,
    responses((status = 201, description = "The draft", body = Order), WriteProblems))]
#[post("/sites/{site_id}/orders")]
pub async fn draft_order(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewOrder>,
) -> Result<HttpResponse, Refused> {
    let site = path.into_inner();
    body.0.check()?;
    let order = stock::draft_order(&app, &caller.0, Id::new(site), &packs(&body.0)).await?;
    let mut response = HttpResponse::Created();
    response.insert_header((header::LOCATION, format!("/api/v1/sites/{site}/orders/{}", order.order.id)));
    Ok(tagged(response, told(&order)))
}

/// Read an order and where it stands.
#[utoipa::path(tag = "stock", operation_id = "read_order", security(("bearer" = [])),
    responses((status = 200, description = "Where it stands", body = Order), ReadProblems))]
#[get("/sites/{site_id}/orders/{order_id}")]
pub async fn read_order(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let order = stock::read_order(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(tagged(HttpResponse::Ok(), told(&order)))
}

/// Replace the lines of a draft.
///
/// `If-Match` says which version the change was made against.
#[utoipa::path(tag = "stock", operation_id = "redraft_order", security(("bearer" = [])), request_body = NewOrder,
    params(("If-Match" = String, Header, description = "The order's entity tag")),
    responses((status = 200, description = "As it is now", body = Order), WriteProblems))]
#[patch("/sites/{site_id}/orders/{order_id}")]
pub async fn redraft_order(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    seen: Seen,
    body: Json<NewOrder>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    body.0.check()?;
    let (site, id) = (Id::new(site), Id::new(id));
    let order = stock::redraft_order(&app, &caller.0, site, id, seen.0, &packs(&body.0)).await?;
    Ok(tagged(HttpResponse::Ok(), told(&order)))
}

/// Place a draft: the supplier has it now.
///
/// One that is below the supplier's least order, or whose offers have changed since it was drafted, is asked back, and placed when it
/// is confirmed: with the price that it was drafted at.
#[utoipa::path(tag = "stock", operation_id = "place_order", security(("bearer" = [])), request_body = NewPlacing,
    responses((status = 200, description = "Where it stands now", body = Order), WriteProblems))]
#[post("/sites/{site_id}/orders/{order_id}/placements")]
pub async fn place_order(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewPlacing>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let placing = Placing {
        at: body.0.placed_at.map(|at| at.0),
        expected_on: body.0.expected_on,
        confirmed: body.0.confirmed,
    };
    let order = stock::place_order(&app, &caller.0, Id::new(site), Id::new(id), placing).await?;
    Ok(tagged(HttpResponse::Ok(), told(&order)))
}

/// Note what the supplier says of an order that he has: another day, other packs.
///
/// The packs of a line are all of it, those that came included. Where nothing else is to come of the order, it is received. Of one that
/// was closed short the lines that are named are awaited again, or all of it where only a day is. Far more packs than were ordered, or a
/// day far off, are asked back.
#[utoipa::path(tag = "stock", operation_id = "confirm_order", security(("bearer" = [])), request_body = NewConfirmation,
    responses((status = 200, description = "Where it stands now", body = Order), WriteProblems))]
#[post("/sites/{site_id}/orders/{order_id}/confirmations")]
pub async fn confirm_order(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
    body: Json<NewConfirmation>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    body.0.check()?;
    let packs = body.0.lines.iter().map(|line| Packs { offer: Id::new(line.offer_id), packs: line.packs });
    let (expected_on, confirmed) = (body.0.expected_on, body.0.confirmed);
    let confirmation = Confirmation { expected_on, packs: packs.collect(), confirmed };
    let order = stock::confirm_order(&app, &caller.0, Id::new(site), Id::new(id), &confirmation).await?;
    Ok(tagged(HttpResponse::Ok(), told(&order)))
}

/// Close an order of which the rest will not come.
#[utoipa::path(tag = "stock", operation_id = "close_order", security(("bearer" = [])),
    responses((status = 200, description = "Where it stands now", body = Order), WriteProblems))]
#[post("/sites/{site_id}/orders/{order_id}/closures")]
pub async fn close_order(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let order = stock::close_order(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(tagged(HttpResponse::Ok(), told(&order)))
}

/// Give an order up before anything came.
#[utoipa::path(tag = "stock", operation_id = "cancel_order", security(("bearer" = [])),
    responses((status = 200, description = "Where it stands now", body = Order), WriteProblems))]
#[post("/sites/{site_id}/orders/{order_id}/cancellations")]
pub async fn cancel_order(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let order = stock::cancel_order(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(tagged(HttpResponse::Ok(), told(&order)))
}
