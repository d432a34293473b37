//! Advice as it was given. It is kept once and never changed.

use fillmark_domain::entries::{Advice, AdviceOutcome, AdvisedStep, Expectation, Lacking, Portion};
use fillmark_domain::people::PersonId;
use fillmark_domain::{Amount, Coded, Id};
use sea_orm::{ColumnTrait, EntityTrait, IntoActiveModel, QueryFilter};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::columns::{self, Reading};
use crate::{BrokenRow, SiteScope, Stamp, StoreError, Tx, journal};

/// What the journal calls it.
pub(crate) const WORD: &str = "advice";

/// Keeps advice, under an id of its own.
/// # Errors
/// When the database fails.
pub async fn keep(
    tx: &Tx,
    scope: SiteScope,
    stamp: &Stamp<'_>,
    advice: &Advice,
) -> Result<Id<Advice>, StoreError> {
    let id = stamp.fresh::<Advice>();
    let row = row::Model {
        site_id: scope.uuid(),
        id: id.uuid(),
        tank_id: advice.tank.uuid(),
        kind: columns::code(advice.kind),
        made_at: advice.made_at,
        asked_by: advice.asked_by.map(PersonId::uuid),
        outcome: Some(columns::code(advice.outcome)),
        litres: advice.litres,
        steps: columns::list(advice.steps.iter().map(StepColumn::write)),
        ec_low: advice.ec_expected.map(|ec| ec.low),
        ec_value: advice.ec_expected.map(|ec| ec.value),
        ec_high: advice.ec_expected.map(|ec| ec.high),
        lacking: columns::list(advice.lacking.iter().map(LackingColumn::write)),
        reasons: columns::list(advice.reasons.iter()),
        cautions: columns::list(advice.cautions.iter()),
    };
    let row = row.into_active_model();
    let detail = journal::hashed(&row);
    row::Entity::insert(row).exec_without_returning(&tx.0).await?;
    journal::append(tx, scope, stamp, "given", WORD, id.uuid(), detail).await?;
    Ok(id)
}

/// The advice with this id.
/// # Errors
/// When the database fails or the row is broken.
pub async fn find(tx: &Tx, scope: SiteScope, id: Id<Advice>) -> Result<Option<Advice>, StoreError> {
    let row = row::Entity::find()
        .filter(row::Column::SiteId.eq(scope.uuid()))
        .filter(row::Column::Id.eq(id.uuid()))
        .one(&tx.0)
        .await?;
    Ok(row.map(read).transpose()?)
}

fn read(row: row::Model) -> Result<Advice, BrokenRow> {
    let reading = Reading { table: "advice", id: row.id };
    let steps: Vec<StepColumn> = reading.list(row.steps)?;
    let lacking: Vec<LackingColumn> = reading.list(row.lacking)?;
    let ec_expected = match (row.ec_low, row.ec_value, row.ec_high) {
        (Some(low), Some(value), Some(high)) => Some(Expectation { value, low, high }),
        _ => None,
    };
    Ok(Advice {
        tank: Id::new(row.tank_id),
        kind: reading.code(&row.kind)?,
        made_at: row.made_at,
        asked_by: row.asked_by.map(Id::new),
        // Advice of earlier releases said it in its reasons only.
        outcome: row.outcome.map_or(Ok(AdviceOutcome::FollowSteps), |outcome| reading.code(&outcome))?,
        litres: row.litres,
        steps: steps.into_iter().map(|step| step.read(reading)).collect::<Result<_, _>>()?,
        ec_expected,
        lacking: lacking.into_iter().map(|lacking| lacking.read(reading)).collect::<Result<_, _>>()?,
        reasons: reading.list(row.reasons)?,
        cautions: reading.list(row.cautions)?,
    })
}

#[derive(Serialize, Deserialize)]
struct PortionColumn {
    product: Uuid,
    thousandths: i64,
    base: String,
}

impl PortionColumn {
    fn write(portion: &Portion) -> Self {
        Self {
            product: portion.product.uuid(),
            thousandths: portion.amount.thousandths(),
            base: columns::code(portion.base),
        }
    }

    fn read(self, row: Reading) -> Result<Portion, BrokenRow> {
        Ok(Portion {
            product: Id::new(self.product),
            amount: Amount::from_thousandths(self.thousandths),
            base: row.code(&self.base)?,
        })
    }
}

#[derive(Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
enum StepColumn {
    Drain(f64),
    Water(f64),
    Dose(PortionColumn),
    Adjust { first: PortionColumn, expected_thousandths: i64, to_ph: f64 },
    Measure(String),
}

impl StepColumn {
    fn write(step: &AdvisedStep) -> Self {
        match step {
            AdvisedStep::Drain(litres) => Self::Drain(*litres),
            AdvisedStep::Water(litres) => Self::Water(*litres),
            AdvisedStep::Dose(portion) => Self::Dose(PortionColumn::write(portion)),
            AdvisedStep::Adjust { first, expected, to_ph } => Self::Adjust {
                first: PortionColumn::write(first),
                expected_thousandths: expected.thousandths(),
                to_ph: *to_ph,
            },
            AdvisedStep::Measure(metric) => Self::Measure(metric.code().to_owned()),
        }
    }

    fn read(self, row: Reading) -> Result<AdvisedStep, BrokenRow> {
        Ok(match self {
            Self::Drain(litres) => AdvisedStep::Drain(litres),
            Self::Water(litres) => AdvisedStep::Water(litres),
            Self::Dose(portion) => AdvisedStep::Dose(portion.read(row)?),
            Self::Adjust { first, expected_thousandths, to_ph } => AdvisedStep::Adjust {
                first: first.read(row)?,
                expected: Amount::from_thousandths(expected_thousandths),
                to_ph,
            },
            Self::Measure(metric) => AdvisedStep::Measure(row.code(&metric)?),
        })
    }
}

#[derive(Serialize, Deserialize)]
struct LackingColumn {
    needed: PortionColumn,
    held_thousandths: i64,
}

impl LackingColumn {
    fn write(lacking: &Lacking) -> Self {
        Self { needed: PortionColumn::write(&lacking.needed), held_thousandths: lacking.held.thousandths() }
    }

    fn read(self, row: Reading) -> Result<Lacking, BrokenRow> {
        let held = Amount::from_thousandths(self.held_thousandths);
        Ok(Lacking { needed: self.needed.read(row)?, held })
    }
}

pub(crate) mod row {
    use sea_orm::entity::prelude::*;

    #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
    #[sea_orm(table_name = "advice")]
    pub struct Model {
        #[sea_orm(primary_key, auto_increment = false)]
        pub site_id: Uuid,
        #[sea_orm(primary_key, auto_increment = false)]
        pub id: Uuid,
        pub tank_id: Uuid,
        pub kind: String,
        pub made_at: ChronoDateTimeUtc,
        pub asked_by: Option<Uuid>,
        pub outcome: Option<String>,
        pub litres: f64,
        pub steps: Json,
        pub ec_low: Option<f64>,
        pub ec_value: Option<f64>,
        pub ec_high: Option<f64>,
        pub lacking: Json,
        pub reasons: Json,
        pub cautions: Json,
    }

    #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
    pub enum Relation {}

    impl ActiveModelBehavior for ActiveModel {}
}
