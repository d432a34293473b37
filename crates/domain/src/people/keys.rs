//! The keys that the server makes for itself: for how long one signs, and for how long it is still believed.

use chrono::{DateTime, TimeDelta, Utc};

use crate::code::coded;

/// A key signs for so long…
const SIGNS_FOR: TimeDelta = TimeDelta::days(90);
/// …and is believed for so long after the next has come: longer than any access token lasts.
const BELIEVED_FOR: TimeDelta = TimeDelta::hours(24);

coded! {
    /// What a key is for.
    KeyPurpose {
        /// It signs access tokens.
        Tokens = "tokens",
        /// It marks the cursors of lists as the server's own.
        Cursors = "cursors",
    }
}

impl KeyPurpose {
    /// Whether another is due where the newest was made then. What a cursor is marked with proves nothing about anybody, so
    /// its key stays.
    pub fn is_due(self, newest_at: Option<DateTime<Utc>>, now: DateTime<Utc>) -> bool {
        match (self, newest_at) {
            (_, None) => true,
            (KeyPurpose::Tokens, Some(newest_at)) => now >= newest_at + SIGNS_FOR,
            (KeyPurpose::Cursors, Some(_)) => false,
        }
    }
}

/// Before when a key was made that is no longer believed, where the newest was made then.
pub fn forgotten_before(newest_at: DateTime<Utc>, now: DateTime<Utc>) -> Option<DateTime<Utc>> {
    (now >= newest_at + BELIEVED_FOR).then_some(newest_at)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_key_signs_for_ninety_days_and_is_believed_a_day_longer() {
        let made = DateTime::UNIX_EPOCH;
        assert!(KeyPurpose::Tokens.is_due(None, made));
        assert!(!KeyPurpose::Tokens.is_due(Some(made), made + TimeDelta::days(89)));
        let next = made + TimeDelta::days(90);
        assert!(KeyPurpose::Tokens.is_due(Some(made), next));
        assert_eq!(forgotten_before(next, next + TimeDelta::hours(23)), None);
        assert_eq!(forgotten_before(next, next + TimeDelta::hours(24)), Some(next));
        assert!(!KeyPurpose::Cursors.is_due(Some(made), made + TimeDelta::days(900)));
    }
}
