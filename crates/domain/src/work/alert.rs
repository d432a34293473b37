//! Alerts: what a person must see.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::Id;
use crate::code::coded;
use crate::people::Person;
use crate::places::Site;

coded! {
    /// What an alert is about.
    AlertKind {
        /// A reading out of band.
        OutOfBand = "out_of_band",
        /// A check whose window is over and that can still be done: for whoever has it.
        CheckOverdue = "check_overdue",
        /// A check that was missed.
        CheckMissed = "check_missed",
        /// A product that must be ordered soon.
        OrderByNear = "order_by_near",
        /// A product that may run out before an order of it can come.
        StockOutNear = "stock_out_near",
        /// A lot of which some will be left when it expires.
        Expiry = "expiry",
        /// A price that has risen much since it was last paid.
        PriceJump = "price_jump",
        /// An order that takes longer than its supplier usually does.
        SupplierLate = "supplier_late",
        /// An amount poured that no lot held.
        Shortage = "shortage",
        /// A balance that does not close.
        BalanceOpen = "balance_open",
    }
}

/// Something that a person must see.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alert {
    /// Where.
    pub site: Id<Site>,
    /// What it is about.
    pub kind: AlertKind,
    /// The record it is about: a reading, check, product, lot, offer, order, shortage, tank, addition or meter, as the kind says. Kind and
    /// record together name an alert that is not closed, so that a job cannot raise it twice.
    pub about: Uuid,
    /// Whom it is for; whoever manages where it is nobody in particular.
    pub whom: Option<Id<Person>>,
    /// What a person reads.
    pub text: String,
    /// When it was raised.
    pub raised_at: DateTime<Utc>,
    /// What became of it.
    pub state: AlertState,
}

coded! {
    /// Where an alert stands.
    AlertStanding {
        /// Nobody has seen it.
        Open = "open",
        /// Somebody has.
        Seen = "seen",
        /// What it was about is no more.
        Closed = "closed",
    }
}

/// What became of an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AlertState {
    /// Nobody has seen it.
    Open,
    /// Somebody has.
    Seen {
        /// Who.
        by: Id<Person>,
        /// When.
        at: DateTime<Utc>,
    },
    /// What it was about is no more.
    Closed {
        /// What closed it.
        by: ClosedBy,
        /// When.
        at: DateTime<Utc>,
    },
}

/// What closed an alert.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClosedBy {
    /// A person who says that nothing is to be done.
    Person(Id<Person>),
    /// A record: the reading back in band, the order placed, the count.
    Record(Uuid),
    /// Time: what it warned of is over.
    Over,
}

impl AlertState {
    /// Where it stands, without the facts.
    pub fn standing(self) -> AlertStanding {
        match self {
            AlertState::Open => AlertStanding::Open,
            AlertState::Seen { .. } => AlertStanding::Seen,
            AlertState::Closed { .. } => AlertStanding::Closed,
        }
    }
}

impl Alert {
    /// Seen by this person. Who saw it first stays.
    /// # Errors
    /// [`AlreadyClosed`] when it is closed.
    pub fn seen(self, at: DateTime<Utc>, by: Id<Person>) -> Result<Alert, AlreadyClosed> {
        match self.state {
            AlertState::Open => Ok(Alert { state: AlertState::Seen { by, at }, ..self }),
            AlertState::Seen { .. } => Ok(self),
            AlertState::Closed { at, .. } => Err(AlreadyClosed { at }),
        }
    }

    /// Closed by this, seen or not.
    /// # Errors
    /// [`AlreadyClosed`] when it is closed.
    pub fn closed(self, at: DateTime<Utc>, by: ClosedBy) -> Result<Alert, AlreadyClosed> {
        match self.state {
            AlertState::Open | AlertState::Seen { .. } => {
                Ok(Alert { state: AlertState::Closed { by, at }, ..self })
            }
            AlertState::Closed { at, .. } => Err(AlreadyClosed { at }),
        }
    }
}

/// The alert is closed: what comes again is a new one.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("the alert was closed at {at}")]
pub struct AlreadyClosed {
    /// When.
    pub at: DateTime<Utc>,
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::Coded;

    const ADA: Id<Person> = Id::new(Uuid::from_u128(1));
    const BEN: Id<Person> = Id::new(Uuid::from_u128(2));

    fn at(hour: u32) -> DateTime<Utc> {
        format!("2027-05-03T{hour:02}:00:00Z").parse().unwrap()
    }

    fn low_ph() -> Alert {
        Alert {
            site: Id::new(Uuid::from_u128(3)),
            kind: AlertKind::OutOfBand,
            about: Uuid::from_u128(4),
            whom: None,
            text: "pH 5.1 in the north tank".into(),
            raised_at: at(8),
            state: AlertState::Open,
        }
    }

    #[track_caller]
    fn check(alert: Result<Alert, AlreadyClosed>, state: Result<AlertState, AlreadyClosed>) {
        assert_eq!(alert.map(|alert| alert.state), state);
    }

    #[test]
    fn who_saw_it_first_stays() {
        let seen = low_ph().seen(at(9), ADA).unwrap();
        check(seen.seen(at(10), BEN), Ok(AlertState::Seen { by: ADA, at: at(9) }));
    }

    #[test]
    fn a_closed_alert_stays_closed() {
        let over = ClosedBy::Record(Uuid::from_u128(5));
        check(low_ph().closed(at(9), over), Ok(AlertState::Closed { by: over, at: at(9) }));
        let closed = low_ph().closed(at(9), over).unwrap();
        check(closed.clone().closed(at(10), ClosedBy::Over), Err(AlreadyClosed { at: at(9) }));
        check(closed.seen(at(10), ADA), Err(AlreadyClosed { at: at(9) }));
    }

    #[test]
    fn each_kind_stands_at_its_own_place_in_the_table() {
        for &kind in AlertKind::all() {
            assert_eq!(AlertKind::from_code(kind.code()), Some(kind));
        }
    }
}
