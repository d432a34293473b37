//! How values of the domain stand in columns, and what a broken one is called.

use chrono::NaiveDate;
use fillmark_domain::growing::{Dose, StageDate, Step};
use fillmark_domain::{Band, Coded, Id};
use sea_orm::{DbErr, FromQueryResult, JsonValue, QueryResult};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

use crate::BrokenRow;

/// The row that is being read, for the error that names it.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Reading {
    pub(crate) table: &'static str,
    pub(crate) id: Uuid,
}

/// A row that can be named in an error.
pub(crate) trait Row {
    /// It is being read.
    fn reading(&self) -> Reading;
}

impl Reading {
    pub(crate) fn broken(self, what: impl Into<String>) -> BrokenRow {
        BrokenRow { table: self.table, id: self.id, what: what.into() }
    }

    pub(crate) fn code<C: Coded>(self, code: &str) -> Result<C, BrokenRow> {
        C::from_code(code).ok_or_else(|| self.broken(format!("{code} is no {}", C::NAME)))
    }

    pub(crate) fn whole<N: TryFrom<i64>>(self, value: i64) -> Result<N, BrokenRow> {
        N::try_from(value).map_err(|_| self.broken(format!("{value} is out of range")))
    }

    pub(crate) fn parsed<T: std::str::FromStr>(self, text: &str) -> Result<T, BrokenRow> {
        text.parse().map_err(|_| self.broken(format!("{text} cannot be read")))
    }

    fn json<T: for<'a> Deserialize<'a>>(self, json: JsonValue) -> Result<T, BrokenRow> {
        serde_json::from_value(json).map_err(|error| self.broken(error.to_string()))
    }

    pub(crate) fn bands(self, json: JsonValue) -> Result<Vec<Band>, BrokenRow> {
        let bands: Vec<BandColumn> = self.json(json)?;
        bands.into_iter().map(|band| band.read(self)).collect()
    }

    pub(crate) fn stages(self, json: JsonValue) -> Result<Vec<StageDate>, BrokenRow> {
        let stages: Vec<(String, NaiveDate)> = self.json(json)?;
        stages.into_iter().map(|(stage, from)| Ok(StageDate { stage: self.code(&stage)?, from })).collect()
    }

    pub(crate) fn steps(self, json: JsonValue) -> Result<Vec<Step>, BrokenRow> {
        let steps: Vec<StepColumn> = self.json(json)?;
        steps.into_iter().map(|step| step.read(self)).collect()
    }

    pub(crate) fn list<T: for<'a> Deserialize<'a>>(self, json: JsonValue) -> Result<Vec<T>, BrokenRow> {
        self.json(json)
    }
}

/// A row that was joined to another: none where there was none to join, an error where it cannot be read.
pub(crate) fn joined<M: FromQueryResult>(
    row: &QueryResult,
    before: &str,
    key: &str,
) -> Result<Option<M>, DbErr> {
    let key: Option<Uuid> = row.try_get(before, key)?;
    key.map(|_| M::from_query_result(row, before)).transpose()
}

#[derive(Serialize, Deserialize)]
struct BandColumn {
    metric: String,
    low: f64,
    aim: f64,
    high: f64,
}

impl BandColumn {
    fn write(band: &Band) -> Self {
        Self { metric: band.metric.code().to_owned(), low: band.low, aim: band.aim, high: band.high }
    }

    fn read(self, row: Reading) -> Result<Band, BrokenRow> {
        Band::new(row.code(&self.metric)?, self.low, self.aim, self.high)
            .map_err(|error| row.broken(error.to_string()))
    }
}

#[derive(Serialize, Deserialize)]
struct StepColumn {
    stage: String,
    days: u32,
    doses: Vec<(Uuid, f64)>,
    strength: f64,
    bands: Vec<BandColumn>,
    change_every_days: Option<u32>,
    top_up_strength: f64,
}

impl StepColumn {
    fn write(step: &Step) -> Self {
        Self {
            stage: step.stage.code().to_owned(),
            days: step.days,
            doses: step.doses.iter().map(|dose| (dose.product.uuid(), dose.per_litre)).collect(),
            strength: step.strength,
            bands: step.bands.iter().map(BandColumn::write).collect(),
            change_every_days: step.change_every_days,
            top_up_strength: step.top_up_strength,
        }
    }

    fn read(self, row: Reading) -> Result<Step, BrokenRow> {
        Ok(Step {
            stage: row.code(&self.stage)?,
            days: self.days,
            doses: self
                .doses
                .into_iter()
                .map(|(product, per_litre)| Dose { product: Id::new(product), per_litre })
                .collect(),
            strength: self.strength,
            bands: self.bands.into_iter().map(|band| band.read(row)).collect::<Result<_, _>>()?,
            change_every_days: self.change_every_days,
            top_up_strength: self.top_up_strength,
        })
    }
}

pub(crate) fn bands(bands: &[Band]) -> JsonValue {
    list(bands.iter().map(BandColumn::write))
}

pub(crate) fn stages(stages: &[StageDate]) -> JsonValue {
    list(stages.iter().map(|stage| (stage.stage.code(), stage.from)))
}

pub(crate) fn steps(steps: &[Step]) -> JsonValue {
    list(steps.iter().map(StepColumn::write))
}

pub(crate) fn list<T: Serialize>(items: impl Iterator<Item = T>) -> JsonValue {
    JsonValue::Array(items.map(|item| serde_json::json!(item)).collect())
}

pub(crate) fn code<C: Coded>(word: C) -> String {
    word.code().to_owned()
}

/// Declares the table of a word with the common life: `row::{Model, Entity, ActiveModel, Column}`.
macro_rules! table {
    (site $name:literal { $($field:ident: $kind:ty),+ $(,)? }) => {
        $crate::columns::table!(@rows $name
            { #[sea_orm(primary_key, auto_increment = false)] pub site_id: uuid::Uuid, } { $($field: $kind),+ });
    };
    (business $name:literal { $($field:ident: $kind:ty),+ $(,)? }) => {
        $crate::columns::table!(@rows $name {} { $($field: $kind),+ });
    };
    (@rows $name:literal { $($scope:tt)* } { $($field:ident: $kind:ty),+ }) => {
        /// The table.
        pub mod row {
            use sea_orm::entity::prelude::*;

            #[expect(missing_docs, reason = "columns are documented by the words they keep")]
            mod entity {
                use super::*;
                #[derive(Clone, Debug, PartialEq, DeriveEntityModel)]
                #[sea_orm(table_name = $name)]
                pub struct Model {
                    $($scope)*
                    #[sea_orm(primary_key, auto_increment = false)]
                    pub id: uuid::Uuid,
                    pub version: i64,
                    pub created_at: chrono::DateTime<chrono::Utc>,
                    pub updated_at: chrono::DateTime<chrono::Utc>,
                    pub archived_at: Option<chrono::DateTime<chrono::Utc>>,
                    $(pub $field: $kind),+
                }

                #[derive(Copy, Clone, Debug, EnumIter, DeriveRelation)]
                pub enum Relation {}

                impl ActiveModelBehavior for ActiveModel {}
            }
            pub use entity::*;

            impl $crate::columns::Row for Model {
                fn reading(&self) -> $crate::columns::Reading {
                    $crate::columns::Reading { table: $name, id: self.id }
                }
            }

            impl Model {
                pub(crate) fn kept<W>(&self, content: W) -> fillmark_domain::Kept<W> {
                    fillmark_domain::Kept {
                        id: fillmark_domain::Id::new(self.id),
                        version: self.version,
                        created_at: self.created_at,
                        updated_at: self.updated_at,
                        archived_at: self.archived_at,
                        content,
                    }
                }
            }
        }
    };
}
pub(crate) use table;
