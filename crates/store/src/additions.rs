//! Additions: kept once, never changed; one that was wrong is taken back by a linked opposite.

use chrono::{DateTime, Utc};
use fillmark_domain::entries::{Addition, AdditionReason, Measured, Poured, SeenAddition, TankChange};
use fillmark_domain::people::PersonId;
use fillmark_domain::places::TankId;
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Amount, Coded, Id};
use sea_orm::sea_query::Condition;
use sea_orm::{ColumnTrait, QueryFilter, QueryOrder, QuerySelect, Set};
use uuid::Uuid;

use crate::columns::{self, Row};
use crate::entries::{self, Entry};
use crate::{BrokenRow, SiteScope, StoreError, Tx};

/// An addition with its id.
pub type KeptAddition = entries::Kept<Addition>;

impl Entry for Addition {
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "addition";
    const DONE_AT: &'static str = "recorded_at";
    const CORRECTS: &'static str = "reverses_id";

    fn columns(&self) -> row::ActiveModel {
        let (product_id, amount, base, slip, lots, shortage, water_l) = match &self.poured {
            Poured::Product { product, amount, base, slip, lots, shortage } => {
                let lots = lots.iter().map(|(lot, amount)| (lot.uuid(), amount.thousandths()));
                let (product, slip) = (Some(product.uuid()), Some(slip.uuid()));
                (
                    product,
                    Some(amount.thousandths()),
                    Some(columns::code(*base)),
                    slip,
                    columns::list(lots),
                    *shortage,
                    None,
                )
            }
            Poured::Water { litres } => {
                (None, None, None, None, columns::list([0u8; 0].into_iter()), Amount::ZERO, Some(*litres))
            }
        };
        row::ActiveModel {
            client_id: Set(self.client_id),
            tank_id: Set(self.tank.uuid()),
            change_id: Set(self.change.map(Id::uuid)),
            advice_id: Set(self.advice.map(Id::uuid)),
            reason: Set(columns::code(self.reason)),
            product_id: Set(product_id),
            amount_thousandths: Set(amount),
            base: Set(base),
            slip_id: Set(slip),
            lots: Set(lots),
            shortage_thousandths: Set(shortage.thousandths()),
            water_l: Set(water_l),
            recorded_at: Set(self.recorded_at),
            received_at: Set(self.received_at),
            done_by: Set(self.done_by.map(PersonId::uuid)),
            entered_by: Set(self.entered_by.map(PersonId::uuid)),
            reverses_id: Set(self.reverses.as_ref().map(|(id, _)| id.uuid())),
            reason_corrected: Set(self.reverses.as_ref().map(|(_, reason)| reason.clone())),
            ..Default::default()
        }
    }

    fn id(row: &row::Model) -> Uuid {
        row.id
    }

    fn read(row: row::Model, corrected_by: Option<Id<Addition>>) -> Result<Addition, BrokenRow> {
        Ok(Addition {
            client_id: row.client_id,
            tank: Id::new(row.tank_id),
            poured: poured(&row)?,
            reason: row.reading().code(&row.reason)?,
            change: row.change_id.map(Id::new),
            advice: row.advice_id.map(Id::new),
            recorded_at: row.recorded_at,
            received_at: row.received_at,
            done_by: row.done_by.map(Id::new),
            entered_by: row.entered_by.map(Id::new),
            reverses: row
                .reverses_id
                .map(|id| (Id::new(id), row.reason_corrected.clone().unwrap_or_default())),
            reversed: corrected_by,
        })
    }

    fn stands(&self) -> bool {
        self.reversed.is_none() && self.reverses.is_none()
    }

    fn done_at(&self) -> DateTime<Utc> {
        self.recorded_at
    }

    fn received_at(&self) -> DateTime<Utc> {
        self.received_at
    }

    fn corrected_by(&self) -> Option<Id<Addition>> {
        self.reversed
    }
}

/// Those of a tank change.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_change(
    tx: &Tx,
    scope: SiteScope,
    change: Id<TankChange>,
) -> Result<Vec<KeptAddition>, StoreError> {
    entries::among(tx, scope, "change_id", &[change.uuid()]).await
}

/// Those into some tanks in a span of time that stand.
/// # Errors
/// When the database fails or a row is broken.
pub async fn of_tanks(
    tx: &Tx,
    scope: SiteScope,
    tanks: &[TankId],
    (from, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<KeptAddition>, StoreError> {
    let there = Condition::all().add(row::Column::TankId.is_in(tanks.iter().map(|tank| tank.uuid())));
    entries::standing_where(tx, scope, from, before, there).await
}

/// Those into a tank in a span of time that stand, in the order they were done, as far as learning from them needs them.
/// # Errors
/// When the database fails or a row is broken.
pub async fn seen_of_tank(
    tx: &Tx,
    scope: SiteScope,
    tank: TankId,
    (from, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<SeenAddition>, StoreError> {
    use row::Column;
    let rows = entries::scoped::<Addition>(scope)
        .filter(Column::TankId.eq(tank.uuid()))
        .filter(Column::RecordedAt.gte(from))
        .filter(Column::RecordedAt.lt(before))
        .filter(Column::ReversesId.is_null())
        .filter(entries::is_not_corrected::<Addition>())
        .select_only()
        .columns([Column::Id, Column::ProductId, Column::AmountThousandths, Column::Base, Column::WaterL])
        .columns([Column::Reason, Column::ChangeId, Column::RecordedAt])
        .into_tuple::<Seen>();
    let mut additions: Vec<SeenAddition> =
        rows.all(&tx.0).await?.into_iter().map(seen).collect::<Result<_, _>>()?;
    additions.sort_by_key(|addition| (addition.recorded_at, addition.id));
    Ok(additions)
}

/// When the first of so many newest additions to a tank was made, of those before an instant; none where there are fewer.
/// # Errors
/// When the database fails.
pub async fn newest_back_to(
    tx: &Tx,
    scope: SiteScope,
    tank: TankId,
    number: u64,
    before: DateTime<Utc>,
) -> Result<Option<DateTime<Utc>>, StoreError> {
    use row::Column;
    let newest = entries::scoped::<Addition>(scope)
        .filter(Column::TankId.eq(tank.uuid()))
        .filter(Column::RecordedAt.lt(before))
        .select_only()
        .column(Column::RecordedAt)
        .order_by_desc(Column::RecordedAt)
        .offset(number.saturating_sub(1));
    Ok(newest.limit(1).into_tuple().one(&tx.0).await?)
}

type Seen =
    (Uuid, Option<Uuid>, Option<i64>, Option<String>, Option<f64>, String, Option<Uuid>, DateTime<Utc>);

fn seen(
    (id, product, amount, base, water_l, reason, change, recorded_at): Seen,
) -> Result<SeenAddition, BrokenRow> {
    let read = columns::Reading { table: "additions", id };
    let poured = match (water_l, product.zip(amount).zip(base)) {
        (Some(litres), _) => Measured::Water { litres },
        (None, Some(((product, amount), base))) => Measured::Product {
            product: Id::new(product),
            amount: Amount::from_thousandths(amount),
            base: read.code(&base)?,
        },
        (None, None) => return Err(read.broken("expected a product with its amount, or water")),
    };
    let (reason, with_change) = (read.code(&reason)?, change.is_some());
    Ok(SeenAddition { id: Id::new(id), poured, reason, with_change, recorded_at })
}

/// What others than a person put of a product, or of water, into a tank in a span of time, as far as it stands.
/// # Errors
/// When the database fails or a row is broken.
pub async fn by_others(
    tx: &Tx,
    scope: SiteScope,
    person: Option<PersonId>,
    tank: TankId,
    product: Option<ProductId>,
    (from, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<KeptAddition>, StoreError> {
    let typed = row::Column::EnteredBy;
    let others = Condition::any()
        .add_option(person.map(|person| typed.ne(person.uuid())))
        .add(if person.is_some() { typed.is_null() } else { typed.is_not_null() });
    let same = row::Column::ProductId;
    let there = Condition::all()
        .add(row::Column::TankId.eq(tank.uuid()))
        .add(product.map_or_else(|| same.is_null(), |product| same.eq(product.uuid())))
        .add(others);
    entries::standing_where(tx, scope, from, before, there).await
}

/// What a tank was given for a reason in a span of time, of a product or of water.
/// # Errors
/// When the database fails.
pub async fn given(
    tx: &Tx,
    scope: SiteScope,
    tank: TankId,
    (product, reason): (Option<ProductId>, AdditionReason),
    (from, before): (DateTime<Utc>, DateTime<Utc>),
) -> Result<Vec<Poured>, StoreError> {
    let of = match product {
        Some(product) => row::Column::ProductId.eq(product.uuid()),
        None => row::Column::ProductId.is_null(),
    };
    let there = Condition::all()
        .add(row::Column::TankId.eq(tank.uuid()))
        .add(of)
        .add(row::Column::Reason.eq(reason.code()));
    let additions = entries::standing_where::<Addition>(tx, scope, from, before, there).await?;
    Ok(additions.into_iter().map(|(_, addition)| addition.poured).collect())
}

fn poured(row: &row::Model) -> Result<Poured, BrokenRow> {
    let read = row.reading();
    if let Some(litres) = row.water_l {
        return Ok(Poured::Water { litres });
    }
    let (Some(product), Some(amount), Some(base), Some(slip)) =
        (row.product_id, row.amount_thousandths, &row.base, row.slip_id)
    else {
        return Err(read.broken("expected a product with its amount, or water"));
    };
    let lots: Vec<(Uuid, i64)> = read.list(row.lots.clone())?;
    Ok(Poured::Product {
        product: Id::new(product),
        amount: Amount::from_thousandths(amount),
        base: read.code(base)?,
        slip: Id::new(slip),
        lots: lots
            .into_iter()
            .map(|(lot, amount)| (Id::new(lot), Amount::from_thousandths(amount)))
            .collect(),
        shortage: Amount::from_thousandths(row.shortage_thousandths),
    })
}

impl Row for row::Model {
    fn reading(&self) -> columns::Reading {
        columns::Reading { table: "additions", id: self.id }
    }
}

mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "additions")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub client_id: Uuid,
        pub tank_id: Uuid,
        pub change_id: Option<Uuid>,
        pub advice_id: Option<Uuid>,
        pub reason: String,
        pub product_id: Option<Uuid>,
        pub amount_thousandths: Option<i64>,
        pub base: Option<String>,
        pub slip_id: Option<Uuid>,
        pub lots: Json,
        pub shortage_thousandths: i64,
        pub water_l: Option<f64>,
        pub recorded_at: ChronoDateTimeUtc,
        pub received_at: ChronoDateTimeUtc,
        pub done_by: Option<Uuid>,
        pub entered_by: Option<Uuid>,
        pub reverses_id: Option<Uuid>,
        pub reason_corrected: Option<String>,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
