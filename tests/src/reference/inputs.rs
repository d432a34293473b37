//! The inputs of a row, by their keys.

use std::fmt::Display;

use chrono::NaiveDate;
use serde_json::{Map, Value};

/// A row that the product could not be asked.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unfit {
    /// An input is not there.
    #[error("{0} is missing")]
    Missing(String),
    /// An input is there, but is not what its key says.
    #[error("{0} cannot be read")]
    Unreadable(String),
    /// The product was asked and refused.
    #[error("refused: {0}")]
    Refused(String),
}

impl Unfit {
    /// The product's refusal.
    pub fn refused(why: impl Display) -> Self {
        Unfit::Refused(why.to_string())
    }
}

/// The inputs of a row, and the unit in which its value is told.
pub struct Inputs {
    keys: Map<String, Value>,
    unit: String,
}

impl Inputs {
    /// From the JSON of the row; none when it is no object.
    pub fn read(json: &str, unit: &str) -> Option<Self> {
        match serde_json::from_str(json) {
            Ok(Value::Object(keys)) => Some(Self { keys, unit: unit.to_owned() }),
            _ => None,
        }
    }

    /// From the keys of the row.
    pub fn of(keys: Map<String, Value>) -> Self {
        Self { keys, unit: String::new() }
    }

    /// The unit in which the row tells its value.
    pub fn unit(&self) -> &str {
        &self.unit
    }

    /// All keys with their values.
    pub fn all(&self) -> impl Iterator<Item = (&String, &Value)> {
        self.keys.iter()
    }

    /// What stands under a key, if anything does.
    pub fn given(&self, key: &str) -> Option<&Value> {
        self.keys.get(key).filter(|value| !value.is_null())
    }

    /// A number.
    /// # Errors
    /// [`Unfit`] when it is missing or none.
    pub fn number(&self, key: &str) -> Result<f64, Unfit> {
        let value = self.given(key).ok_or_else(|| Unfit::Missing(key.to_owned()))?;
        value.as_f64().ok_or_else(|| Unfit::Unreadable(key.to_owned()))
    }

    /// The first of some keys that is there, as a number: one thing goes by several names.
    /// # Errors
    /// [`Unfit`] when none is there or it is no number.
    pub fn number_of(&self, keys: &[&str]) -> Result<f64, Unfit> {
        match keys.iter().find(|key| self.given(key).is_some()) {
            Some(key) => self.number(key),
            None => Err(Unfit::Missing(keys.join(" or "))),
        }
    }

    /// A number, or what holds where the row does not say.
    /// # Errors
    /// [`Unfit`] when it is there but no number.
    pub fn number_or(&self, key: &str, otherwise: f64) -> Result<f64, Unfit> {
        if self.given(key).is_some() { self.number(key) } else { Ok(otherwise) }
    }

    /// A whole number, not below nought.
    /// # Errors
    /// [`Unfit`] when it is missing or none.
    pub fn count(&self, key: &str) -> Result<u64, Unfit> {
        let number = self.number(key)?;
        let whole = number >= 0.0 && number.fract() == 0.0;
        whole.then_some(number as u64).ok_or_else(|| Unfit::Unreadable(key.to_owned()))
    }

    /// A day.
    /// # Errors
    /// [`Unfit`] when it is missing or none.
    pub fn day(&self, key: &str) -> Result<NaiveDate, Unfit> {
        self.text(key)?.parse().map_err(|_| Unfit::Unreadable(key.to_owned()))
    }

    /// A list; none where nothing is listed.
    /// # Errors
    /// [`Unfit`] when it is there but no list.
    pub fn list(&self, key: &str) -> Result<&[Value], Unfit> {
        let Some(value) = self.given(key) else { return Ok(&[]) };
        value.as_array().map(Vec::as_slice).ok_or_else(|| Unfit::Unreadable(key.to_owned()))
    }

    /// A list of things that have keys themselves.
    /// # Errors
    /// [`Unfit`] when it is there but no such list.
    pub fn rows(&self, key: &str) -> Result<Vec<Inputs>, Unfit> {
        let unreadable = || Unfit::Unreadable(key.to_owned());
        let keys = |one: &Value| one.as_object().cloned().map(Inputs::of).ok_or_else(unreadable);
        self.list(key)?.iter().map(keys).collect()
    }

    /// A text.
    /// # Errors
    /// [`Unfit`] when it is missing or none.
    pub fn text(&self, key: &str) -> Result<&str, Unfit> {
        let value = self.given(key).ok_or_else(|| Unfit::Missing(key.to_owned()))?;
        value.as_str().ok_or_else(|| Unfit::Unreadable(key.to_owned()))
    }

    /// Numbers by name.
    /// # Errors
    /// [`Unfit`] when it is missing or none.
    pub fn amounts(&self, key: &str) -> Result<Vec<(&str, f64)>, Unfit> {
        let unreadable = || Unfit::Unreadable(key.to_owned());
        let value = self.given(key).ok_or_else(|| Unfit::Missing(key.to_owned()))?;
        let amounts = value.as_object().ok_or_else(unreadable)?;
        amounts
            .iter()
            .map(|(name, amount)| Ok((name.as_str(), amount.as_f64().ok_or_else(unreadable)?)))
            .collect()
    }

    /// Numbers in order.
    /// # Errors
    /// [`Unfit`] when it is missing or none.
    pub fn numbers(&self, key: &str) -> Result<Vec<f64>, Unfit> {
        let unreadable = || Unfit::Unreadable(key.to_owned());
        let value = self.given(key).ok_or_else(|| Unfit::Missing(key.to_owned()))?;
        value
            .as_array()
            .ok_or_else(unreadable)?
            .iter()
            .map(|one| one.as_f64().ok_or_else(unreadable))
            .collect()
    }
}
