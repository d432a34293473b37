//! Water sources.

use fillmark_domain::Kept;
use fillmark_domain::places::WaterSource;
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, Record, SiteScope};

table!(site "water_sources" {
    name: String,
    ec_ms_cm: f64,
    ph: Option<f64>,
    alkalinity_meq_l: Option<f64>,
    analysed_on: Option<ChronoDate>,
});

impl Record for WaterSource {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "water source";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            ec_ms_cm: Set(self.ec_ms_cm),
            ph: Set(self.ph),
            alkalinity_meq_l: Set(self.alkalinity_meq_l),
            analysed_on: Set(self.analysed_on),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<WaterSource>, BrokenRow> {
        let content = WaterSource {
            name: row.name.clone(),
            ec_ms_cm: row.ec_ms_cm,
            ph: row.ph,
            alkalinity_meq_l: row.alkalinity_meq_l,
            analysed_on: row.analysed_on,
        };
        Ok(row.kept(content))
    }
}
