//! What is wrong with an entry, field by field, so that a person can mend all of it at once.

use std::fmt;

/// One field that cannot be taken.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fault {
    /// The field, as a JSON pointer into what was entered.
    pub pointer: String,
    /// A stable word for the kind of fault.
    pub code: &'static str,
    /// What was expected.
    pub detail: String,
}

/// All that is wrong with an entry.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Faults(Vec<Fault>);

impl Faults {
    /// Notes a fault.
    pub fn add(&mut self, pointer: impl Into<String>, code: &'static str, detail: impl Into<String>) {
        self.0.push(Fault { pointer: pointer.into(), code, detail: detail.into() });
    }

    /// Notes a fault unless a condition holds.
    pub fn unless(&mut self, holds: bool, pointer: &str, code: &'static str, detail: impl Into<String>) {
        if !holds {
            self.add(pointer, code, detail);
        }
    }

    /// The value of a result, or its error noted as a fault.
    pub fn take<T, E: fmt::Display>(
        &mut self,
        pointer: impl Into<String>,
        code: &'static str,
        result: Result<T, E>,
    ) -> Option<T> {
        result.map_err(|error| self.add(pointer, code, error.to_string())).ok()
    }

    /// Notes the faults of a part, each under the part's own pointer.
    pub fn within(&mut self, pointer: &str, part: Faults) {
        self.0.extend(
            part.0.into_iter().map(|fault| Fault { pointer: format!("{pointer}{}", fault.pointer), ..fault }),
        );
    }

    /// The value of a part, or its faults noted, each under the part's own pointer.
    pub fn part<T>(&mut self, pointer: &str, part: Result<T, Faults>) -> Option<T> {
        part.map_err(|faults| self.within(pointer, faults)).ok()
    }

    /// A number that must lie in a closed range.
    pub fn range(&mut self, pointer: &str, value: f64, lowest: f64, highest: f64) {
        let holds = (lowest..=highest).contains(&value);
        self.unless(holds, pointer, "out_of_range", format!("expected {lowest} to {highest}, found {value}"));
    }

    /// A text that must not be blank and not be longer than so many characters.
    pub fn text(&mut self, pointer: &str, text: &str, longest: usize) {
        let length = text.chars().count();
        let holds = !text.trim().is_empty() && length <= longest && !text.chars().any(char::is_control);
        self.unless(holds, pointer, "bad_text", format!("expected 1 to {longest} printable characters"));
    }

    /// Whether nothing is wrong.
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The faults in the order they were noted.
    pub fn iter(&self) -> impl Iterator<Item = &Fault> {
        self.0.iter()
    }

    /// The value when nothing is wrong with it.
    /// # Errors
    /// The faults themselves.
    pub fn or<T>(self, value: Option<T>) -> Result<T, Faults> {
        match value {
            Some(value) if self.is_empty() => Ok(value),
            _ => Err(self),
        }
    }
}

impl fmt::Display for Faults {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let texts: Vec<String> =
            self.0.iter().map(|fault| format!("{}: {}", fault.pointer, fault.detail)).collect();
        write!(out, "{}", texts.join("; "))
    }
}
