//! Slips against what the journal was told of them, and their movements against what they say.

use std::collections::HashMap;

use fillmark_domain::Coded;
use fillmark_domain::stock::{MovementKind, SlipKind};
use sea_orm::sea_query::{Alias, Expr, ExprTrait};
use sea_orm::{
    ColumnTrait, ConnectionTrait, EntityTrait, JsonValue, PaginatorTrait, QueryFilter, QuerySelect, Statement,
};
use uuid::Uuid;

use super::{Broken, Found, Told};
use crate::journal::Entry;
use crate::slips::{WORD, row};
use crate::{StoreError, Tx, movements, shortages};

/// Looks at the slips that entries of a journal tell of.
pub(super) async fn look(
    tx: &Tx,
    owner: Uuid,
    entries: &[Entry],
    told: &mut Told,
    found: &mut Found,
) -> Result<(), StoreError> {
    let then: Vec<&Entry> = entries.iter().filter(|entry| entry.word == WORD).collect();
    if then.is_empty() {
        return Ok(());
    }
    let ids: Vec<Uuid> = then.iter().map(|entry| entry.record_id).collect();
    let now = rows(tx, owner, &ids).await?;
    let moved = moved(tx, owner, &ids).await?;
    let short = short(tx, owner, &ids).await?;
    *told.entered.entry(WORD.to_owned()).or_default() += then.len() as u64;
    found.entries += then.len() as u64;
    for Entry { record_id: id, detail, .. } in then {
        let Some(slip) = now.get(id).filter(|slip| is_told(detail, &slip.detail())) else {
            found.broken.push(Broken::Entry { owner, word: WORD, id: *id });
            continue;
        };
        let moved = |kind: &str| moved.get(&(*id, slip.product_id, kind.to_owned())).copied().unwrap_or(0);
        let Some((kind, sign)) = moved_by(&slip.kind) else { continue };
        let moved = sign * moved(kind);
        let least = slip.amount - short.get(id).copied().unwrap_or(0);
        if !(least..=slip.amount).contains(&moved) {
            found.broken.push(Broken::Slip { owner, id: *id, says: slip.amount, moved });
        }
    }
    Ok(())
}

/// Counts a site's slips beside those its journal knows, and looks whether what takes a movement back is its opposite.
pub(super) async fn close(tx: &Tx, owner: Uuid, told: &Told, found: &mut Found) -> Result<(), StoreError> {
    let rows = row::Entity::find().filter(row::Column::SiteId.eq(owner)).count(&tx.0).await?;
    super::untold(owner, WORD, rows, told.entered(WORD), found);
    let unequal = "select back.id from movements back join movements it
        on it.site_id = back.site_id and it.id = back.reverses_id
        where back.site_id = $1 and (back.change <> -it.change or back.lot_id <> it.lot_id)
        order by back.id limit 1";
    let backend = tx.0.get_database_backend();
    let first = tx.0.query_one_raw(Statement::from_sql_and_values(backend, unequal, [owner.into()])).await?;
    if let Some(first) = first {
        found.broken.push(Broken::Reversal { owner, id: first.try_get_by_index(0)? });
    }
    Ok(())
}

/// Whether a slip is what the journal tells. What an older version did not tell is not asked.
fn is_told(then: &JsonValue, now: &JsonValue) -> bool {
    then.as_object().is_some_and(|then| then.iter().all(|(name, value)| now.get(name) == Some(value)))
}

/// Which movements of its product make the amount of a slip, and whether they come in or go out. Those of a count are the
/// difference to what was held, and those of a reversal the opposites of others.
fn moved_by(slip: &str) -> Option<(&'static str, i64)> {
    let (kind, sign) = match SlipKind::from_code(slip)? {
        SlipKind::Receipt | SlipKind::Preparation => (MovementKind::Receipt, 1),
        SlipKind::TransferIn => (MovementKind::TransferIn, 1),
        SlipKind::Issue | SlipKind::Pour => (MovementKind::Issue, -1),
        SlipKind::WriteOff => (MovementKind::WriteOff, -1),
        SlipKind::TransferOut => (MovementKind::TransferOut, -1),
        SlipKind::Count | SlipKind::Reversal => return None,
    };
    Some((kind.code(), sign))
}

async fn rows(tx: &Tx, owner: Uuid, ids: &[Uuid]) -> Result<HashMap<Uuid, row::Model>, StoreError> {
    let rows = row::Entity::find()
        .filter(row::Column::SiteId.eq(owner))
        .filter(row::Column::Id.is_in(ids.iter().copied()));
    Ok(rows.all(&tx.0).await?.into_iter().map(|row| (row.id, row)).collect())
}

/// What slips moved, thousandths of mL or g, by slip, product and kind of movement; opposites of others left out.
async fn moved(
    tx: &Tx,
    owner: Uuid,
    slips: &[Uuid],
) -> Result<HashMap<(Uuid, Uuid, String), i64>, StoreError> {
    use movements::row::{Column, Entity};
    // A sum of whole numbers is a decimal number to PostgreSQL unless it is told otherwise.
    let sum = Expr::col(Column::Change).sum().cast_as(Alias::new("bigint"));
    let sums: Vec<(Uuid, Uuid, String, i64)> = Entity::find()
        .select_only()
        .columns([Column::SlipId, Column::ProductId, Column::Kind])
        .column_as(sum, "sum")
        .filter(Column::SiteId.eq(owner))
        .filter(Column::SlipId.is_in(slips.iter().copied()))
        .filter(Column::ReversesId.is_null())
        .group_by(Column::SlipId)
        .group_by(Column::ProductId)
        .group_by(Column::Kind)
        .into_tuple()
        .all(&tx.0)
        .await?;
    Ok(sums.into_iter().map(|(slip, product, kind, sum)| ((slip, product, kind), sum)).collect())
}

/// How much of slips no lot held, thousandths of mL or g. What came in later may have been drawn for it since.
async fn short(tx: &Tx, owner: Uuid, slips: &[Uuid]) -> Result<HashMap<Uuid, i64>, StoreError> {
    use shortages::row::{Column, Entity};
    let amounts: Vec<(Uuid, i64)> = Entity::find()
        .select_only()
        .columns([Column::SlipId, Column::Amount])
        .filter(Column::SiteId.eq(owner))
        .filter(Column::SlipId.is_in(slips.iter().copied()))
        .into_tuple()
        .all(&tx.0)
        .await?;
    Ok(amounts.into_iter().collect())
}
