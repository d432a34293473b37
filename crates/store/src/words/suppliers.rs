//! Suppliers.

use fillmark_domain::stock::Supplier;
use fillmark_domain::{Currency, Kept, Week};
use sea_orm::Set;

use super::sites::{week, weekday};
use crate::columns::{Row, table};
use crate::{BrokenRow, BusinessScope, Record};

table!(business "suppliers" {
    name: String,
    order_days: Json,
    cut_off_local: String,
    promised_lead_days: i64,
    minimum_order_minor: i64,
    freight_minor: i64,
    currency: String,
});

impl Record for Supplier {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "supplier";
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            order_days: Set(week(&self.order_days)),
            cut_off_local: Set(self.cut_off.format("%H:%M").to_string()),
            promised_lead_days: Set(self.promised_lead_days.into()),
            minimum_order_minor: Set(self.minimum_order_minor),
            freight_minor: Set(self.freight_minor),
            currency: Set(self.currency.code()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Supplier>, BrokenRow> {
        let read = row.reading();
        let content = Supplier {
            name: row.name.clone(),
            order_days: Week::of(read.list::<u8>(row.order_days.clone())?.into_iter().filter_map(weekday)),
            cut_off: read.parsed(&format!("{}:00", row.cut_off_local))?,
            promised_lead_days: read.whole(row.promised_lead_days)?,
            minimum_order_minor: row.minimum_order_minor,
            freight_minor: row.freight_minor,
            currency: Currency::from_code(&row.currency)
                .ok_or_else(|| read.broken("currency cannot be read"))?,
        };
        Ok(row.kept(content))
    }
}
