//! A person's time, whichever site it is known at: nobody works at two sites at once, and who is ill is ill everywhere.

use chrono::{DateTime, NaiveDate, Utc};
use fillmark_domain::people::PersonId;
use fillmark_domain::places::{Site, SiteId};
use fillmark_domain::work::{Absence, Shift};
use fillmark_domain::{Id, Kept};
use sea_orm::sea_query::{Expr, Query, SelectStatement};
use sea_orm::{ColumnTrait, EntityTrait, QueryFilter, QueryOrder, QuerySelect};

use crate::entries::to_a_step;
use crate::words::{absences, shifts, sites};
use crate::{BusinessScope, Record, StoreError, Tx, records};

/// A business has no more absences at a time.
const MOST_ABSENCES: u64 = 5_000;

/// A shift of a person at any site that is not put away.
#[derive(Debug, Clone, PartialEq)]
pub struct ShiftSomewhere {
    /// Where.
    pub site: Kept<Site>,
    /// Its id there.
    pub id: Id<Shift>,
    /// The shift, by the site's clock.
    pub shift: Shift,
}

/// The shifts of a person on some days of whatever site's clock, those put away left out.
/// # Errors
/// When the database fails or a row is broken.
pub async fn shifts_of(
    tx: &Tx,
    business: BusinessScope,
    person: PersonId,
    days: &[NaiveDate],
) -> Result<Vec<ShiftSomewhere>, StoreError> {
    use shifts::row::Column;
    let rows = shifts::row::Entity::find()
        // Named by site, the days are found by their index.
        .filter(Column::SiteId.in_subquery(all_sites()))
        .filter(Column::DayOn.is_in(days.iter().copied()))
        .filter(Column::PersonId.eq(person.uuid()))
        .filter(Column::ArchivedAt.is_null())
        .all(&tx.0)
        .await?;
    let ids = rows.iter().map(|row| row.site_id.into()).collect();
    let sites = records::find_many::<Site>(tx, business, "id", ids).await?;
    let mut found = Vec::new();
    for row in rows {
        let here = SiteId::new(row.site_id);
        let site = sites.iter().find(|site| site.id == here && site.archived_at.is_none());
        let Kept { id, content: shift, .. } = Shift::read(row)?;
        found.extend(site.map(|site| ShiftSomewhere { site: site.clone(), id, shift }));
    }
    found.sort_unstable_by_key(|found| found.id);
    Ok(found)
}

/// When people are away in a span of time, whichever site it was entered at.
/// # Errors
/// When the database fails or a row is broken.
pub async fn absences_of(
    tx: &Tx,
    _business: BusinessScope,
    people: impl IntoIterator<Item = PersonId>,
    (from, until): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Absence>, StoreError> {
    use absences::row::Column;
    let people = to_a_step(people.into_iter().map(Id::uuid));
    let rows = absences::row::Entity::find()
        .filter(Column::SiteId.in_subquery(all_sites()))
        .filter(Column::UntilAt.gte(from))
        .filter(Column::FromAt.lt(until))
        .filter(Column::PersonId.is_in(people))
        .filter(Column::ArchivedAt.is_null())
        .order_by_asc(Column::Id)
        .limit(MOST_ABSENCES)
        .all(&tx.0)
        .await?;
    Ok(rows.into_iter().map(|row| Absence::read(row).map(|kept| kept.content)).collect::<Result<_, _>>()?)
}

fn all_sites() -> SelectStatement {
    Query::select().expr(Expr::col(sites::row::Column::Id)).from(sites::row::Entity).to_owned()
}
