//! What to count, and what came of a count.

use actix_web::web::{Json as Answer, Path};
use actix_web::{HttpRequest, HttpResponse, get};
use fillmark_actions::stock::{self, CauseRead, CountListed, CountRead, ToCount};
use fillmark_api::{
    Code, CountFound, CountList, DifferenceCause, Listed, ProductToCount, Quantity, StockCount,
};
use fillmark_domain::stock::CountKind;
use fillmark_domain::{Amount, Id};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::csv;
use crate::http::list::{Asked, ListKind};
use crate::http::{AppData, ListQuery, Query, ReadProblems, Refused, SignedIn};

type CountPage = Listed<StockCount>;

const COUNTS: ListKind = ListKind {
    ordered_by: &["done_at"],
    narrowed_by: &["product_id", "lot_id"],
    archives: false,
    named: false,
    recorded: Some("done_at"),
    coded_by: &[],
};

/// A difference is no proof.
const NO_PROOF: &str = "A cause that is named is the likeliest of the usual ones and no proof: look at the records before any is \
                        corrected.";

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_due_counts).service(list_counts).service(read_count);
}

/// Which products.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DueQuery {
    /// `rotating`, if nothing is said: a few, those first whose count tells most; or `full`: all that is held, in the order of the
    /// shelves.
    #[param(value_type = Option<String>)]
    kind: Option<Code<CountKind>>,
    /// How many products of a rotating count; 3, if nothing is said.
    #[param(minimum = 1, maximum = 100)]
    number: Option<u16>,
    /// `csv` where no Accept header can be sent.
    #[param(max_length = 10)]
    format: Option<String>,
}

/// List what to count.
///
/// It does not say what the ledger holds, so that people write down what they find. A few products each week find a slip while
/// people still remember it: first where more was poured than the record held, then what was never counted, then the most value
/// that moved since its last count. Each is entered by `count_stock`.
#[utoipa::path(tag = "stock", operation_id = "list_due_counts", security(("bearer" = [])), params(DueQuery),
    responses((status = 200, description = "The products",
        content((CountList = "application/json"), (String = "text/csv"))), ReadProblems))]
#[get("/sites/{site_id}/counts/due")]
pub async fn list_due_counts(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
    query: Query<DueQuery>,
) -> Result<HttpResponse, Refused> {
    let wants_csv = csv::is_wanted(&request, query.0.format.as_deref())?;
    let number = query.0.number.unwrap_or(stock::A_FEW);
    let kind = query.0.kind.unwrap_or(Code(CountKind::Rotating));
    let due = stock::due_counts(&app, &caller.0, Id::new(path.into_inner()), kind.0, number).await?;
    let told = CountList { kind, products: due.into_iter().map(to_count).collect() };
    Ok(csv::answer(wants_csv, || told.products.clone(), &told))
}

fn to_count(one: ToCount) -> ProductToCount {
    let product = one.product.content;
    ProductToCount {
        product_id: one.product.id.uuid(),
        unit: Code(product.base.unit()),
        name: product.name,
        storage: product.storage,
        lot_numbers: one.lot_numbers,
        counted_on: one.due.uncounted.counted_on,
        why: Code(one.due.why),
    }
}

/// List the counts that were made.
#[utoipa::path(tag = "stock", operation_id = "list_counts", security(("bearer" = [])),
    params(ListQuery, ("product_id" = Option<Uuid>, Query, description = "Only of this product; repeated, of any of them"),
        ("lot_id" = Option<Uuid>, Query, description = "Only of this lot alone"),
        ("recorded_from" = Option<String>, Query, description = "Counted at this instant or later"),
        ("recorded_before" = Option<String>, Query, description = "Counted before this instant")),
    responses((status = 200, description = "A page of them", body = CountPage), ReadProblems))]
#[get("/sites/{site_id}/counts")]
pub async fn list_counts(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, COUNTS)?;
    let page = stock::list_counts(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, listed))
}

fn listed(count: CountListed) -> StockCount {
    let says = count.slip.says;
    let quantity = |amount: Amount| Quantity::from(amount.quantity(says.base));
    StockCount {
        slip_id: count.slip.id.uuid(),
        product_id: count.product.id.uuid(),
        name: count.product.content.name,
        lot_id: says.lot.map(Id::uuid),
        done_at: says.done_at.into(),
        entered_by: count.slip.entered_by.map(Id::uuid),
        counted: quantity(says.amount),
        changed: quantity(count.changed),
        taken_back: count.taken_back,
    }
}

/// Read what a count found, and what the difference may come from.
///
/// The difference is held against what the readings of the tanks show of all that was poured since the count before.
#[utoipa::path(tag = "stock", operation_id = "read_count", security(("bearer" = [])),
    responses((status = 200, description = "The count with its difference", body = CountFound), ReadProblems))]
#[get("/sites/{site_id}/counts/{count_id}")]
pub async fn read_count(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Answer<CountFound>, Refused> {
    let (site, slip) = path.into_inner();
    Ok(Answer(found(stock::read_count(&app, &caller.0, Id::new(site), Id::new(slip)).await?)))
}

fn found(read: CountRead) -> CountFound {
    let base = read.product.content.base;
    let quantity = |amount: Amount| Quantity::from(amount.quantity(base));
    let says = &read.entered.slip.says;
    let cause = |cause: &CauseRead| DifferenceCause {
        kind: Code(cause.kind),
        tank_id: cause.tank.map(|tank| tank.uuid()),
        addition_ids: cause.additions.iter().map(|id| id.uuid()).collect(),
        explains: cause.explains.map(quantity),
        told: cause.told.clone(),
    };
    let tanks_speak = read.causes.iter().any(|cause| cause.tank.is_some());
    CountFound {
        slip_id: read.entered.slip.id.uuid(),
        kind: Code(says.kind),
        product_id: read.product.id.uuid(),
        name: read.product.content.name.clone(),
        lot_id: says.lot.map(|lot| lot.uuid()),
        done_at: says.done_at.into(),
        since_at: read.since.into(),
        counted_before: read.counted_before,
        counted: quantity(says.amount),
        held: quantity(says.amount - read.difference),
        difference: quantity(read.difference),
        taken: quantity(read.taken),
        causes: read.causes.iter().map(cause).collect(),
        cautions: if tanks_speak { vec![NO_PROOF.to_owned()] } else { Vec::new() },
    }
}
