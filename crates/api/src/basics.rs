//! Small values that many bodies share: coded words, instants, quantities, bands.

use std::borrow::Cow;
use std::fmt;

use chrono::{DateTime, Datelike, SecondsFormat, SubsecRound, Utc};
use fillmark_domain::{Coded, Faults};
use serde::de::{Error, Unexpected, Visitor};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use utoipa::openapi::schema::{ObjectBuilder, SchemaFormat, Type};
use utoipa::openapi::{KnownFormat, RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// A word of a closed list, written as its code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Code<C>(pub C);

impl<C: Coded> Serialize for Code<C> {
    fn serialize<S: Serializer>(&self, out: S) -> Result<S::Ok, S::Error> {
        out.serialize_str(self.0.code())
    }
}

impl<'a, C: Coded> Deserialize<'a> for Code<C> {
    fn deserialize<D: Deserializer<'a>>(from: D) -> Result<Self, D::Error> {
        let text = Cow::<str>::deserialize(from)?;
        C::from_code(&text).map(Code).ok_or_else(|| {
            let codes: Vec<&str> = C::all().iter().map(|word| word.code()).collect();
            D::Error::custom(format!("expected one of {}", codes.join(", ")))
        })
    }
}

impl<C: Coded> PartialSchema for Code<C> {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .enum_values(Some(C::all().iter().map(|word| word.code())))
            .description(Some(format!("A {} by its code.", spaced(C::NAME))))
            .into()
    }
}

impl<C: Coded> ToSchema for Code<C> {
    fn name() -> Cow<'static, str> {
        Cow::Borrowed(C::NAME)
    }
}

/// `RoomUse` as "room use".
pub(crate) fn spaced(name: &str) -> String {
    let mut spaced = String::new();
    for letter in name.chars() {
        if letter.is_uppercase() && !spaced.is_empty() {
            spaced.push(' ');
        }
        spaced.extend(letter.to_lowercase());
    }
    spaced
}

/// An instant: read with any offset, kept in whole milliseconds, written in UTC with three digits.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Instant(pub DateTime<Utc>);

impl Instant {
    /// As it is written everywhere.
    pub fn text(self) -> String {
        self.0.to_rfc3339_opts(SecondsFormat::Millis, true)
    }
}

impl Serialize for Instant {
    fn serialize<S: Serializer>(&self, out: S) -> Result<S::Ok, S::Error> {
        out.serialize_str(&self.text())
    }
}

impl<'a> Deserialize<'a> for Instant {
    fn deserialize<D: Deserializer<'a>>(from: D) -> Result<Self, D::Error> {
        struct InstantVisitor;
        impl Visitor<'_> for InstantVisitor {
            type Value = Instant;

            fn expecting(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
                out.write_str("an RFC 3339 instant with an offset, of the years 2000 to 2100")
            }

            fn visit_str<E: Error>(self, text: &str) -> Result<Instant, E> {
                DateTime::parse_from_rfc3339(text)
                    .ok()
                    .and_then(|instant| counted(instant.with_timezone(&Utc)))
                    .filter(|instant| (2000..=2100).contains(&instant.year()))
                    .map(Instant)
                    .ok_or_else(|| E::invalid_value(Unexpected::Str(text), &self))
            }
        }
        from.deserialize_str(InstantVisitor)
    }
}

/// In whole milliseconds as Unix counts them, in which a leap second is the second after it: kept as 23:59:60 one
/// database would keep the second that the other does not know.
fn counted(instant: DateTime<Utc>) -> Option<DateTime<Utc>> {
    Some(DateTime::from_timestamp_nanos(instant.timestamp_nanos_opt()?).round_subsecs(3))
}

impl From<DateTime<Utc>> for Instant {
    fn from(instant: DateTime<Utc>) -> Self {
        Instant(instant)
    }
}

impl PartialSchema for Instant {
    fn schema() -> RefOr<Schema> {
        ObjectBuilder::new()
            .schema_type(Type::String)
            .format(Some(SchemaFormat::KnownFormat(KnownFormat::DateTime)))
            .max_length(Some(40))
            .description(Some("An instant as RFC 3339 with an offset; answered in UTC with milliseconds."))
            .examples([serde_json::json!("2026-11-24T06:30:00.000Z")])
            .into()
    }
}

impl ToSchema for Instant {
    fn name() -> Cow<'static, str> {
        Cow::Borrowed("Instant")
    }
}

/// A unit by its code.
pub type Unit = Code<fillmark_domain::Unit>;
/// A metric by its code.
pub type Metric = Code<fillmark_domain::Metric>;
/// A stage by its code.
pub type Stage = Code<fillmark_domain::Stage>;

/// A number with its unit, as a person or a device enters it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"value": 1.25, "unit": "mS/cm"}))]
pub struct Quantity {
    /// The number as the meter, jug or label shows it.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub value: f64,
    /// The unit it is shown in.
    pub unit: Unit,
}

impl Quantity {
    /// A quantity of so much of a unit.
    pub fn new(value: f64, unit: fillmark_domain::Unit) -> Self {
        Self { value, unit: Code(unit) }
    }

    /// As the domain has it.
    pub fn word(self) -> fillmark_domain::Quantity {
        fillmark_domain::Quantity::new(self.value, self.unit.0)
    }

    /// The canonical value of a metric.
    pub fn of(self, metric: fillmark_domain::Metric, pointer: &str, faults: &mut Faults) -> Option<f64> {
        faults.take(pointer, "not_a_value", metric.canonical(self.word()))
    }
}

impl From<fillmark_domain::Quantity> for Quantity {
    fn from(quantity: fillmark_domain::Quantity) -> Self {
        Self { value: quantity.value, unit: Code(quantity.unit) }
    }
}

/// Low, aim and high of one metric, in its canonical unit.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"metric": "ph", "low": 5.8, "aim": 6.0, "high": 6.4}))]
pub struct Band {
    /// What is banded.
    pub metric: Metric,
    /// Lowest value in band.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub low: f64,
    /// What a correction aims at.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub aim: f64,
    /// Highest value in band.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub high: f64,
}

impl Band {
    /// Bands as the domain has them, one a metric at most.
    pub fn words(bands: &[Band], pointer: &str, faults: &mut Faults) -> Vec<fillmark_domain::Band> {
        let mut words: Vec<fillmark_domain::Band> = Vec::new();
        for (at, band) in bands.iter().enumerate() {
            let pointer = format!("{pointer}/{at}");
            let twice = words.iter().any(|word| word.metric == band.metric.0);
            faults.unless(!twice, &pointer, "twice", "expected one band a metric");
            let word = fillmark_domain::Band::new(band.metric.0, band.low, band.aim, band.high);
            words.extend(faults.take(pointer, "not_a_band", word));
        }
        words
    }
}

impl From<&fillmark_domain::Band> for Band {
    fn from(band: &fillmark_domain::Band) -> Self {
        Self { metric: Code(band.metric), low: band.low, aim: band.aim, high: band.high }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(text: &str, kept: Option<&str>) {
        let read: Option<Instant> = serde_json::from_value(serde_json::json!(text)).ok();
        assert_eq!(read.map(Instant::text).as_deref(), kept, "{text}");
    }

    #[test]
    fn an_instant_is_kept_in_whole_milliseconds_of_utc() {
        check("2026-11-24T07:30:00.0006+01:00", Some("2026-11-24T06:30:00.001Z"));
        check("2026-11-24T07:30:00", None);
        check("1999-12-31T23:59:59Z", None);
        check("9999-12-31T23:59:59Z", None);
    }

    #[test]
    fn a_leap_second_is_the_second_after_it() {
        check("2026-06-30T23:59:60Z", Some("2026-07-01T00:00:00.000Z"));
        check("2026-07-01T01:59:60.25+02:00", Some("2026-07-01T00:00:00.250Z"));
        check("2026-06-30T23:59:59.9996Z", Some("2026-07-01T00:00:00.000Z"));
        check("2026-06-30T23:59:60.9996Z", Some("2026-07-01T00:00:01.000Z"));
        check("2100-12-31T23:59:60Z", None);
    }
}
