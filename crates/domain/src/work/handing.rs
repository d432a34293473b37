//! Checks that people offer to one another, and what they leave for the next to know.

use chrono::{DateTime, NaiveDate, Utc};

use crate::Id;
use crate::code::coded;
use crate::people::Person;
use crate::places::Room;
use crate::work::Check;

/// Checks that somebody offers to a colleague: they stay in the round they are in until somebody accepts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CheckOffer {
    /// The local day of the rounds.
    pub day: NaiveDate,
    /// What is offered, at least one.
    pub checks: Vec<Id<Check>>,
    /// What is wanted in return, of whom it is offered to.
    pub returns: Vec<Id<Check>>,
    /// Who has them.
    pub from: Id<Person>,
    /// To whom; nobody in particular where it is none.
    pub to: Option<Id<Person>>,
    /// Why, or what to know about it.
    pub note: Option<String>,
    /// When it was offered.
    pub offered_at: DateTime<Utc>,
    /// What became of it.
    pub state: OfferState,
}

coded! {
    /// Where an offer stands.
    OfferStanding {
        /// Nobody has said anything.
        Open = "open",
        /// The checks have gone over.
        Accepted = "accepted",
        /// Whom it was made to does not want them.
        Declined = "declined",
        /// Who made it keeps them.
        Withdrawn = "withdrawn",
        /// A check of it has gone another way, or its day is over.
        Lapsed = "lapsed",
    }
}

/// What became of an offer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum OfferState {
    /// Nobody has said anything.
    Open,
    /// Nobody has, and it is too late.
    Lapsed {
        /// Since when.
        at: DateTime<Utc>,
    },
    /// Somebody has.
    Settled {
        /// What: accepted, declined or withdrawn.
        standing: OfferStanding,
        /// Who.
        by: Id<Person>,
        /// When.
        at: DateTime<Utc>,
    },
}

impl OfferState {
    /// Where it stands, without the facts.
    pub fn standing(self) -> OfferStanding {
        match self {
            OfferState::Open => OfferStanding::Open,
            OfferState::Lapsed { .. } => OfferStanding::Lapsed,
            OfferState::Settled { standing, .. } => standing,
        }
    }
}

impl CheckOffer {
    /// Accepted by this person.
    /// # Errors
    /// [`NotAnOffer`] when it is settled, is their own, or was made to somebody else.
    pub fn accepted(self, at: DateTime<Utc>, by: Id<Person>) -> Result<CheckOffer, NotAnOffer> {
        if by == self.from {
            return Err(NotAnOffer::Own);
        }
        if self.to.is_some_and(|to| to != by) {
            return Err(NotAnOffer::ToSomebodyElse);
        }
        self.settled(OfferStanding::Accepted, at, by)
    }

    /// Taken back by who made it or by a manager, declined by whom it was made to.
    /// # Errors
    /// [`NotAnOffer`] when it is settled, or neither's.
    pub fn ended(self, at: DateTime<Utc>, by: Id<Person>, manages: bool) -> Result<CheckOffer, NotAnOffer> {
        if self.to == Some(by) {
            return self.settled(OfferStanding::Declined, at, by);
        }
        if by != self.from && !manages {
            return Err(NotAnOffer::ToSomebodyElse);
        }
        self.settled(OfferStanding::Withdrawn, at, by)
    }

    fn settled(
        self,
        standing: OfferStanding,
        at: DateTime<Utc>,
        by: Id<Person>,
    ) -> Result<CheckOffer, NotAnOffer> {
        match self.state {
            OfferState::Open => Ok(CheckOffer { state: OfferState::Settled { standing, by, at }, ..self }),
            state => Err(NotAnOffer::Settled(state.standing())),
        }
    }

    /// Whether it is about one of these checks, given or wanted in return.
    pub fn is_about(&self, checks: &[Id<Check>]) -> bool {
        self.checks.iter().chain(&self.returns).any(|check| checks.contains(check))
    }
}

/// Why an offer cannot be accepted or ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotAnOffer {
    /// Something became of it already.
    #[error("the offer is settled already")]
    Settled(OfferStanding),
    /// It is one's own.
    #[error("nobody accepts their own offer")]
    Own,
    /// It was made to somebody else.
    #[error("the offer was made to somebody else")]
    ToSomebodyElse,
}

/// What somebody leaves for the next to know.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HandoverNote {
    /// What it is about.
    pub about: NoteAbout,
    /// What there is to know.
    pub text: String,
    /// Who wrote it.
    pub written_by: Id<Person>,
    /// When.
    pub written_at: DateTime<Utc>,
    /// Who has seen it first, and when.
    pub seen: Option<(Id<Person>, DateTime<Utc>)>,
}

/// What a note is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoteAbout {
    /// A check.
    Check(Id<Check>),
    /// A room.
    Room(Id<Room>),
}

impl HandoverNote {
    /// Seen by this person; who saw it first stays.
    /// # Errors
    /// [`OwnNote`] for who wrote it: it is for the next.
    pub fn seen(self, at: DateTime<Utc>, by: Id<Person>) -> Result<HandoverNote, OwnNote> {
        if by == self.written_by {
            return Err(OwnNote);
        }
        Ok(HandoverNote { seen: self.seen.or(Some((by, at))), ..self })
    }
}

/// A note is for somebody else than who wrote it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("a note is for the next: who wrote it cannot have seen it for them")]
pub struct OwnNote;

#[cfg(test)]
mod tests {
    use super::*;
    use uuid::Uuid;

    const SAM: Id<Person> = Id::new(Uuid::from_u128(1));
    const KIM: Id<Person> = Id::new(Uuid::from_u128(2));
    const LEE: Id<Person> = Id::new(Uuid::from_u128(3));

    fn offer(to: Option<Id<Person>>) -> CheckOffer {
        CheckOffer {
            day: "2027-05-03".parse().unwrap(),
            checks: vec![Id::new(Uuid::from_u128(9))],
            returns: Vec::new(),
            from: SAM,
            to,
            note: None,
            offered_at: DateTime::UNIX_EPOCH,
            state: OfferState::Open,
        }
    }

    #[track_caller]
    fn check(settled: Result<CheckOffer, NotAnOffer>, expected: Result<OfferStanding, NotAnOffer>) {
        assert_eq!(settled.map(|offer| offer.state.standing()), expected);
    }

    #[test]
    fn an_offer_is_accepted_by_whom_it_is_for() {
        let at = DateTime::UNIX_EPOCH;
        check(offer(Some(KIM)).accepted(at, KIM), Ok(OfferStanding::Accepted));
        check(offer(Some(KIM)).accepted(at, LEE), Err(NotAnOffer::ToSomebodyElse));
        check(offer(None).accepted(at, LEE), Ok(OfferStanding::Accepted));
        check(offer(None).accepted(at, SAM), Err(NotAnOffer::Own));
        let accepted = offer(None).accepted(at, LEE).unwrap();
        check(accepted.accepted(at, KIM), Err(NotAnOffer::Settled(OfferStanding::Accepted)));
    }

    #[test]
    fn an_offer_is_taken_back_declined_or_ended_by_a_manager() {
        let at = DateTime::UNIX_EPOCH;
        check(offer(Some(KIM)).ended(at, SAM, false), Ok(OfferStanding::Withdrawn));
        check(offer(Some(KIM)).ended(at, KIM, false), Ok(OfferStanding::Declined));
        check(offer(Some(KIM)).ended(at, LEE, true), Ok(OfferStanding::Withdrawn));
        check(offer(Some(KIM)).ended(at, LEE, false), Err(NotAnOffer::ToSomebodyElse));
    }

    #[test]
    fn a_note_is_seen_by_the_next() {
        let note = HandoverNote {
            about: NoteAbout::Room(Id::new(Uuid::from_u128(5))),
            text: "The pump hums".into(),
            written_by: SAM,
            written_at: DateTime::UNIX_EPOCH,
            seen: None,
        };
        assert_eq!(note.clone().seen(DateTime::UNIX_EPOCH, SAM), Err(OwnNote));
        let seen = note.seen(DateTime::UNIX_EPOCH, KIM).unwrap();
        assert_eq!(seen.seen(DateTime::UNIX_EPOCH, LEE).unwrap().seen.unwrap().0, KIM);
    }
}
