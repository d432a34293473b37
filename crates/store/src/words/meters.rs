//! Meters.

use fillmark_domain::Kept;
use fillmark_domain::entries::Meter;
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, Record, SiteScope};

table!(site "meters" {
    name: String,
    kind: String,
    serial: Option<String>,
    calibrate_every_days: Option<i64>,
});

impl Record for Meter {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "meter";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            kind: Set(columns::code(self.kind)),
            serial: Set(self.serial.clone()),
            calibrate_every_days: Set(self.calibrate_every_days.map(i64::from)),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Meter>, BrokenRow> {
        let read = row.reading();
        let content = Meter {
            name: row.name.clone(),
            kind: read.code(&row.kind)?,
            serial: row.serial.clone(),
            calibrate_every_days: row.calibrate_every_days.map(|days| read.whole(days)).transpose()?,
        };
        Ok(row.kept(content))
    }
}
