//! Sites. Rows of the business: a site is not a row of itself.

use chrono::Weekday;
use fillmark_domain::places::Site;
use fillmark_domain::{Currency, Kept, Week};
use sea_orm::Set;

use crate::columns::{self, Row, table};
use crate::{BrokenRow, BusinessScope, Record};

table!(business "sites" {
    name: String,
    time_zone: String,
    currency: String,
    working_week: Json,
    service_level: f64,
    walk_rooms_min: i64,
    walk_buildings_min: i64,
});

impl Record for Site {
    type Scope = BusinessScope;
    type Entity = row::Entity;
    type Row = row::Model;
    type Change = row::ActiveModel;
    const WORD: &'static str = "site";
    const TELLS_WHO_MAY: bool = true;
    const ORDERED_BY: &'static [&'static str] = &["name", "created_at"];

    fn columns(&self) -> row::ActiveModel {
        row::ActiveModel {
            name: Set(self.name.clone()),
            time_zone: Set(self.time_zone.name().to_owned()),
            currency: Set(self.currency.code()),
            working_week: Set(week(&self.working_week)),
            service_level: Set(self.service_level),
            walk_rooms_min: Set(self.walk_rooms_min.into()),
            walk_buildings_min: Set(self.walk_buildings_min.into()),
            ..Default::default()
        }
    }

    fn read(row: row::Model) -> Result<Kept<Site>, BrokenRow> {
        let read = row.reading();
        let content = Site {
            name: row.name.clone(),
            time_zone: read.parsed(&row.time_zone)?,
            currency: Currency::from_code(&row.currency)
                .ok_or_else(|| read.broken("currency cannot be read"))?,
            working_week: Week::of(
                read.list::<u8>(row.working_week.clone())?.into_iter().filter_map(weekday),
            ),
            service_level: row.service_level,
            walk_rooms_min: read.whole(row.walk_rooms_min)?,
            walk_buildings_min: read.whole(row.walk_buildings_min)?,
        };
        Ok(row.kept(content))
    }
}

/// A week as numbers, Monday 0.
pub(crate) fn week(week: &Week) -> sea_orm::JsonValue {
    columns::list(week.days().map(|day| day.num_days_from_monday()))
}

pub(crate) fn weekday(number: u8) -> Option<Weekday> {
    Weekday::try_from(number).ok()
}
