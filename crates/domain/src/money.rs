//! Money: whole minor units of one currency, so that sums are exact and never mix currencies.

use std::fmt;

/// A currency by its ISO 4217 code.
#[derive(Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub struct Currency([u8; 3]);

impl Currency {
    /// The currency with this code: three capital letters. Whether a code is in use is not checked,
    /// since the list changes and a grower cannot wait for it.
    pub fn from_code(code: &str) -> Option<Currency> {
        let letters: [u8; 3] = code.as_bytes().try_into().ok()?;
        letters.iter().all(u8::is_ascii_uppercase).then_some(Currency(letters))
    }

    /// Digits after the point: ISO 4217 gives most currencies two.
    fn digits(self) -> usize {
        match &self.0 {
            b"BIF" | b"CLP" | b"DJF" | b"GNF" | b"ISK" | b"JPY" | b"KMF" | b"KRW" | b"PYG" | b"RWF"
            | b"UGX" | b"VND" | b"VUV" | b"XAF" | b"XOF" | b"XPF" => 0,
            b"BHD" | b"IQD" | b"JOD" | b"KWD" | b"LYD" | b"OMR" | b"TND" => 3,
            _ => 2,
        }
    }

    /// Its code.
    pub fn code(self) -> String {
        self.0.iter().map(|letter| char::from(*letter)).collect()
    }
}

impl fmt::Display for Currency {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        out.write_str(&self.code())
    }
}

impl fmt::Debug for Currency {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        fmt::Display::fmt(self, out)
    }
}

/// An amount of money in minor units (cents, pence).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Money {
    /// Minor units.
    pub minor: i64,
    /// Of which currency.
    pub currency: Currency,
}

impl Money {
    /// So many minor units.
    pub const fn new(minor: i64, currency: Currency) -> Money {
        Money { minor, currency }
    }

    /// So many times this; stops at the largest amount, which no order reaches.
    #[must_use]
    pub const fn times(self, count: i64) -> Money {
        Money { minor: self.minor.saturating_mul(count), currency: self.currency }
    }

    /// The sum.
    /// # Errors
    /// [`MixedCurrencies`]: an exchange rate is a fact of a day that a sum would hide.
    pub fn plus(self, other: Money) -> Result<Money, MixedCurrencies> {
        if self.currency != other.currency {
            return Err(MixedCurrencies { one: self.currency, other: other.currency });
        }
        Ok(Money { minor: self.minor.saturating_add(other.minor), currency: self.currency })
    }
}

/// As people write prices.
impl fmt::Display for Money {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        let width = self.currency.digits();
        let sign = if self.minor < 0 { "-" } else { "" };
        let digits = format!("{:0least$}", self.minor.unsigned_abs(), least = width + 1);
        let (whole, part) = digits.split_at(digits.len() - width);
        let point = if width > 0 { "." } else { "" };
        write!(out, "{sign}{whole}{point}{part} {}", self.currency)
    }
}

/// Two currencies in one sum.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{one} and {other} are never summed")]
pub struct MixedCurrencies {
    /// As given.
    pub one: Currency,
    /// As given.
    pub other: Currency,
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check(one: (i64, &str), other: (i64, &str), sum: Option<i64>) {
        let money = |(minor, code)| Money::new(minor, Currency::from_code(code).unwrap());
        assert_eq!(money(one).plus(money(other)).ok().map(|total| total.minor), sum);
    }

    #[test]
    fn currencies_are_never_summed() {
        check((150, "EUR"), (50, "EUR"), Some(200));
        check((150, "EUR"), (50, "GBP"), None);
    }

    #[test]
    fn a_currency_is_three_capital_letters() {
        assert_eq!(Currency::from_code("EUR").map(Currency::code).as_deref(), Some("EUR"));
        assert_eq!(Currency::from_code("eur"), None);
        assert_eq!(Currency::from_code("EURO"), None);
    }

    #[test]
    fn a_price_has_the_digits_of_its_currency() {
        let told = |minor, code| Money::new(minor, Currency::from_code(code).unwrap()).to_string();
        assert_eq!(told(123_405, "EUR"), "1234.05 EUR");
        assert_eq!(told(-5, "EUR"), "-0.05 EUR");
        assert_eq!(told(1_234, "JPY"), "1234 JPY");
        assert_eq!(told(1_234, "KWD"), "1.234 KWD");
    }
}
