//! How often somebody may try to sign in: slower and slower for an account, so many at a time from an address, and never
//! locked out, since a lock is a weapon in the hand of whoever knows a name.

use std::net::IpAddr;

use chrono::{DateTime, TimeDelta, Utc};

use crate::code::coded;

/// An account may fail so often before it has to wait.
const FREE: u32 = 5;
/// The longest an account waits, s.
const LONGEST_S: i64 = 60;
/// So many may fail from an address…
const FROM_ADDRESS: u32 = 30;
/// …in so long.
const SPAN: TimeDelta = TimeDelta::minutes(5);

coded! {
    /// What is counted.
    Counted {
        /// Failures of an account, whether it is there or not, since it was signed in to last.
        Account = "account",
        /// Failures from an address.
        Address = "address",
    }
}

/// Failures in a row.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tries {
    /// How many.
    pub failed: u32,
    /// When the first of them was.
    pub first_at: DateTime<Utc>,
    /// When the last was.
    pub last_at: DateTime<Utc>,
}

impl Counted {
    /// When the next may be tried, if that is not now.
    pub fn waits_until(self, tries: Tries, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
        let until = match self {
            Counted::Account => tries.last_at + wait(tries.failed),
            Counted::Address if tries.failed >= FROM_ADDRESS => tries.first_at + SPAN,
            Counted::Address => return None,
        };
        (now < until).then_some(until)
    }

    /// The row with one more failure. An address begins anew after its span, an account when a day was quiet.
    pub fn failed(self, tries: Option<Tries>, at: DateTime<Utc>) -> Tries {
        let goes_on = |tries: &Tries| match self {
            Counted::Account => at - tries.last_at < FORGOTTEN_AFTER,
            Counted::Address => at - tries.first_at < SPAN,
        };
        match tries.filter(goes_on) {
            Some(tries) => Tries { failed: tries.failed.saturating_add(1), last_at: at, ..tries },
            None => Tries { failed: 1, first_at: at, last_at: at },
        }
    }
}

/// Failures are forgotten when so long there was no other.
pub const FORGOTTEN_AFTER: TimeDelta = TimeDelta::days(1);

/// 1, 2, 4 … 60 s from the fifth failure on.
fn wait(failed: u32) -> TimeDelta {
    match failed.checked_sub(FREE) {
        None => TimeDelta::zero(),
        Some(doublings) => TimeDelta::seconds((1_i64 << doublings.min(6)).min(LONGEST_S)),
    }
}

/// What an address is counted as: an IPv4 address by itself, an IPv6 address by its /64 network, since that is what one
/// household has.
pub fn origin(address: IpAddr) -> String {
    match address.to_canonical() {
        IpAddr::V4(address) => address.to_string(),
        IpAddr::V6(address) => {
            let [a, b, c, d, ..] = address.segments();
            format!("{a:x}:{b:x}:{c:x}:{d:x}::/64")
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(seconds: i64) -> DateTime<Utc> {
        DateTime::UNIX_EPOCH + TimeDelta::seconds(seconds)
    }

    #[test]
    fn an_account_waits_longer_and_longer_and_never_for_good() {
        let waits = [0, 0, 0, 0, 1, 2, 4, 8, 16, 32, 60, 60];
        let mut tries = None;
        for expected in waits {
            let now = tries.map_or(at(0), |tries: Tries| tries.last_at);
            let after = Counted::Account.failed(tries, now);
            let until = Counted::Account.waits_until(after, now);
            assert_eq!(until.map_or(0, |until| (until - now).num_seconds()), expected, "{}", after.failed);
            tries = Some(after);
        }
        let many = Tries { failed: u32::MAX, first_at: at(0), last_at: at(0) };
        assert_eq!(Counted::Account.waits_until(many, at(0)), Some(at(60)));
        assert_eq!(Counted::Account.waits_until(many, at(60)), None);
    }

    #[test]
    fn an_address_fails_thirty_times_in_five_minutes() {
        let mut tries = None;
        for second in 0..30 {
            assert!(
                tries.is_none_or(|tries| Counted::Address.waits_until(tries, at(second)).is_none()),
                "{second}"
            );
            tries = Some(Counted::Address.failed(tries, at(second)));
        }
        let full = tries.unwrap();
        assert_eq!(Counted::Address.waits_until(full, at(29)), Some(at(300)));
        assert_eq!(Counted::Address.waits_until(full, at(300)), None);
        assert_eq!(Counted::Address.failed(Some(full), at(300)).failed, 1);
    }

    #[test]
    fn a_household_is_one_address() {
        let same = |one: &str, other: &str| origin(one.parse().unwrap()) == origin(other.parse().unwrap());
        assert!(same("2001:db8:1:2::1", "2001:db8:1:2:ffff::9"));
        assert!(!same("2001:db8:1:2::1", "2001:db8:1:3::1"));
        assert!(same("192.0.2.7", "::ffff:192.0.2.7"));
        assert!(!same("192.0.2.7", "192.0.2.8"));
    }
}
