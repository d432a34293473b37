//! Devices.

use fillmark_domain::Kept;
use fillmark_domain::people::Device;
use sea_orm::Set;

use crate::columns::table;
use crate::{BrokenRow, Record, SiteScope};

table!(site "devices" {
    name: String,
    until_at: ChronoDateTimeUtc,
});

impl Record for Device {
    type Scope = SiteScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "device";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel { name: Set(self.name.clone()), until_at: Set(self.until), ..Default::default() }
    }

    fn read(row: row::Model) -> Result<Kept<Device>, BrokenRow> {
        let content = Device { name: row.name.clone(), until: row.until_at };
        Ok(row.kept(content))
    }
}
