//! Finding checks.

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_domain::work::{AlertKind, Check, CheckStanding, LONGEST_LIMIT_MIN, Place};
use fillmark_domain::{Coded, Id};
use sea_orm::sea_query::{Expr, ExprTrait, LockBehavior, LockType, Query, SelectStatement};
use sea_orm::{ColumnTrait, Condition, QueryFilter, QueryOrder, QuerySelect, Select, Value};
use uuid::Uuid;

use super::KeptCheck;
use super::row::{Column, Entity, Model, of_site, read};
use crate::entries::to_a_step;
use crate::records::{Filter, Page, PageQuery, page_of};
use crate::{SiteScope, StoreError, Tx};

/// The check with this id.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find(tx: &Tx, site: SiteScope, id: Id<Check>) -> Result<Option<KeptCheck>, StoreError> {
    one(tx, of_site(site).filter(Column::Id.eq(id.uuid()))).await
}

/// The checks with these ids that are still there.
/// # Errors
/// When the database fails or a row is broken.
pub async fn find_many(tx: &Tx, site: SiteScope, ids: &[Id<Check>]) -> Result<Vec<KeptCheck>, StoreError> {
    all(tx, of_site(site).filter(Column::Id.is_in(to_a_step(ids.iter().map(|id| id.uuid()))))).await
}

/// The check with this id, locked for a change.
/// # Errors
/// When the database fails or the row is broken.
pub async fn lock(tx: &Tx, site: SiteScope, id: Id<Check>) -> Result<Option<KeptCheck>, StoreError> {
    one(tx, of_site(site).filter(Column::Id.eq(id.uuid())).lock_exclusive()).await
}

/// The check that was done by the entry with this client id.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find_by_client_id(
    tx: &Tx,
    site: SiteScope,
    client_id: Uuid,
) -> Result<Option<KeptCheck>, StoreError> {
    one(tx, of_site(site).filter(Column::ClientId.eq(client_id))).await
}

/// All checks of a local day.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_day(tx: &Tx, site: SiteScope, day: NaiveDate) -> Result<Vec<KeptCheck>, StoreError> {
    let mut checks = all(tx, of_site(site).filter(Column::DueOn.eq(day))).await?;
    // Asked for this order, SQLite would walk all checks of the site by their instants instead of using the day's index.
    checks.sort_by_key(|kept| (kept.check.due_at, kept.id));
    Ok(checks)
}

/// The checks of days before a local day, of which nothing had become when their window was over and that may still be
/// done when it begins.
/// # Errors
/// When the database fails or a row is broken.
pub async fn carried_into(
    tx: &Tx,
    site: SiteScope,
    day: NaiveDate,
    begins: DateTime<Utc>,
) -> Result<Vec<KeptCheck>, StoreError> {
    let settled_since = Condition::any()
        .add(Column::StateAt.gte(begins))
        .add(Column::State.is_in([CheckStanding::Planned, CheckStanding::Open].map(Coded::code)));
    let rows = of_site(site)
        .filter(Column::DueOn.lt(day))
        .filter(Column::DueOn.gte(day - TimeDelta::minutes(LONGEST_LIMIT_MIN.into()) - TimeDelta::days(1)))
        .filter(Column::WindowUntilAt.lt(begins))
        .filter(Column::LimitAt.gt(begins))
        .filter(settled_since);
    all(tx, rows).await
}

/// Checks whose limit has passed and of which nothing became, longest overdue first, at most so many. Those
/// that another beat holds are left to it.
/// # Errors
/// When the database fails or a row is broken.
pub async fn lock_overdue(
    tx: &Tx,
    site: SiteScope,
    at: DateTime<Utc>,
    most: u64,
) -> Result<Vec<KeptCheck>, StoreError> {
    let rows = unsettled(site).filter(Column::LimitAt.lt(at)).order_by_asc(Column::LimitAt).limit(most);
    all(tx, rows.lock_with_behavior(LockType::Update, LockBehavior::SkipLocked)).await
}

/// Checks whose window is over and that can still be done, of which nobody was warned yet, at most so many. Those that
/// another beat holds are left to it.
/// # Errors
/// When the database fails or a row is broken.
pub async fn lock_unwarned(
    tx: &Tx,
    site: SiteScope,
    at: DateTime<Utc>,
    most: u64,
) -> Result<Vec<KeptCheck>, StoreError> {
    let alert = |name: &'static str| Expr::col(("alerts", name));
    let warned = Query::select()
        .expr(Expr::val(1))
        .from("alerts")
        .and_where(alert("site_id").eq(Expr::col(("checks", "site_id"))))
        .and_where(alert("kind").eq(AlertKind::CheckOverdue.code()))
        .and_where(alert("about_id").eq(Expr::col(("checks", "id"))))
        .take();
    let rows = unsettled(site)
        .filter(Column::WindowUntilAt.lt(at))
        .filter(Column::LimitAt.gte(at))
        .filter(Expr::exists(warned).not())
        .order_by_asc(Column::LimitAt)
        .limit(most);
    all(tx, rows.lock_with_behavior(LockType::Update, LockBehavior::SkipLocked)).await
}

/// Checks that are due at a tank which is out of use that day, at most so many. Those that another beat holds
/// are left to it.
/// # Errors
/// When the database fails or a row is broken.
pub async fn lock_out_of_use(
    tx: &Tx,
    site: SiteScope,
    at: DateTime<Utc>,
    most: u64,
) -> Result<Vec<KeptCheck>, StoreError> {
    let rows = unsettled(site)
        .filter(Column::DueAt.lte(at))
        .filter(Expr::exists(outage_of_check()))
        .order_by_asc(Column::DueAt)
        .limit(most);
    all(tx, rows.lock_with_behavior(LockType::Update, LockBehavior::SkipLocked)).await
}

fn outage_of_check() -> SelectStatement {
    let outage = |name: &'static str| Expr::col(("outages", name));
    let check = |name: &'static str| Expr::col(("checks", name));
    Query::select()
        .expr(Expr::val(1))
        .from("outages")
        .and_where(outage("site_id").eq(check("site_id")))
        .and_where(outage("tank_id").eq(check("tank_id")))
        .and_where(outage("archived_at").is_null())
        .and_where(outage("from_on").lte(check("due_on")))
        .and_where(outage("until_on").is_null().or(outage("until_on").gte(check("due_on"))))
        .take()
}

/// A page of a site's checks. A room stands for what is done in it and at the tanks that feed it on the day; a
/// person for the checks of their round as it is published.
/// # Errors
/// When the database fails or a row is broken.
pub async fn page(tx: &Tx, site: SiteScope, query: &PageQuery) -> Result<Page<KeptCheck>, StoreError> {
    let mut rows = of_site(site);
    let mut query = query.clone();
    let mut rest = Vec::new();
    for filter in std::mem::take(&mut query.filters) {
        rows = match filter {
            Filter::OneOf("room_id", rooms) => rows.filter(in_rooms(rooms)),
            Filter::OneOf("person_id", people) => rows.filter(in_rounds_of(people)),
            filter => {
                rest.push(filter);
                rows
            }
        };
    }
    query.filters = rest;
    let rows = page_of(tx, rows, &query).await?;
    let items = rows.items.into_iter().map(read).collect::<Result<_, _>>()?;
    Ok(Page { items, next: rows.next })
}

fn in_rooms(rooms: Vec<Value>) -> Expr {
    let fed = |name: &'static str| Expr::col(("tank_rooms", name));
    let check = |name: &'static str| Expr::col(("checks", name));
    let feeds = Query::select()
        .expr(Expr::val(1))
        .from("tank_rooms")
        .and_where(fed("site_id").eq(check("site_id")))
        .and_where(fed("tank_id").eq(check("tank_id")))
        .and_where(fed("archived_at").is_null())
        .and_where(fed("from_on").lte(check("due_on")))
        .and_where(fed("until_on").is_null().or(fed("until_on").gte(check("due_on"))))
        .and_where(fed("room_id").is_in(rooms.clone()))
        .take();
    check("room_id").is_in(rooms).or(Expr::exists(feeds))
}

fn in_rounds_of(people: Vec<Value>) -> Expr {
    let latest = "\"publications\".\"number\" = (select max(\"p\".\"number\") from \"publications\" as \"p\" \
        where \"p\".\"site_id\" = \"publications\".\"site_id\" and \"p\".\"day_on\" = \"publications\".\"day_on\")";
    let of = |table: &'static str, name: &'static str| Expr::col((table, name));
    let steps = Query::select()
        .expr(Expr::val(1))
        .from("round_steps")
        .inner_join(
            "rounds",
            of("rounds", "site_id")
                .eq(of("round_steps", "site_id"))
                .and(of("rounds", "id").eq(of("round_steps", "round_id"))),
        )
        .inner_join(
            "publications",
            of("publications", "site_id")
                .eq(of("rounds", "site_id"))
                .and(of("publications", "id").eq(of("rounds", "publication_id"))),
        )
        .and_where(of("round_steps", "site_id").eq(of("checks", "site_id")))
        .and_where(of("round_steps", "check_id").eq(of("checks", "id")))
        .and_where(of("rounds", "person_id").is_in(people))
        .and_where(Expr::cust(latest))
        .take();
    Expr::exists(steps)
}

/// Checks of which nothing became yet.
fn unsettled(site: SiteScope) -> Select<Entity> {
    // Written out, not bound: only then can a database tell that its index of unsettled checks holds all of them.
    let open =
        [CheckStanding::Planned, CheckStanding::Open].map(|state| Expr::cust(format!("'{}'", state.code())));
    of_site(site).filter(Expr::col((Entity, Column::State)).is_in(open))
}

pub(super) async fn one(tx: &Tx, rows: Select<Entity>) -> Result<Option<KeptCheck>, StoreError> {
    Ok(rows.one(&tx.0).await?.map(read).transpose()?)
}

pub(crate) async fn all(tx: &Tx, rows: Select<Entity>) -> Result<Vec<KeptCheck>, StoreError> {
    let rows: Vec<Model> = rows.all(&tx.0).await?;
    Ok(rows.into_iter().map(read).collect::<Result<_, _>>()?)
}

/// The checks of a room and of tanks that fell due in a span of time, in the order they did.
/// # Errors
/// When the database fails or a row is broken.
pub async fn due_at_places(
    tx: &Tx,
    site: SiteScope,
    places: &[Place],
    from: DateTime<Utc>,
    before: DateTime<Utc>,
) -> Result<Vec<KeptCheck>, StoreError> {
    let tanks = places.iter().filter_map(|place| match place {
        Place::Tank(tank) => Some(tank.uuid()),
        Place::Room(_) => None,
    });
    let rooms = places.iter().filter_map(|place| match place {
        Place::Room(room) => Some(room.uuid()),
        Place::Tank(_) => None,
    });
    let rows = of_site(site)
        .filter(Column::TankId.is_in(tanks).or(Column::RoomId.is_in(rooms)))
        .filter(Column::DueAt.gte(from))
        .filter(Column::DueAt.lt(before))
        .order_by_asc(Column::DueAt)
        .order_by_asc(Column::Id);
    all(tx, rows).await
}
