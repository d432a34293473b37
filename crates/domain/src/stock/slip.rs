//! Slips: what one act entered into the ledger, as the paper slip of a store would have it.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use super::{Lot, Movement, MovementKind, Order, Product};
use crate::code::coded;
use crate::people::PersonId;
use crate::places::SiteId;
use crate::{Amount, Base, Id};

coded! {
    /// What kind of act a slip stands for.
    SlipKind {
        /// Something came in.
        Receipt = "receipt",
        /// Something was taken out for use.
        Issue = "issue",
        /// Something was poured into a tank: entered with the addition.
        Pour = "pour",
        /// What is there was counted.
        Count = "count",
        /// Something was spilt, spoilt or expired.
        WriteOff = "write_off",
        /// Something left for another site.
        TransferOut = "transfer_out",
        /// Something came from another site.
        TransferIn = "transfer_in",
        /// A stock solution was made.
        Preparation = "preparation",
        /// Something entered before was taken back.
        Reversal = "reversal",
    }
}

/// What a slip is to say.
#[derive(Debug, Clone, PartialEq)]
pub struct Wanted {
    /// Made by the client that enters it; none when it is entered with something else that has one.
    pub client_id: Option<Uuid>,
    /// What kind of act.
    pub kind: SlipKind,
    /// Of which product.
    pub product: Id<Product>,
    /// The lot that was named.
    pub lot: Option<Id<Lot>>,
    /// What the product is counted in.
    pub base: Base,
    /// How much: what came, went or was counted.
    pub amount: Amount,
    /// When it was done.
    pub done_at: DateTime<Utc>,
    /// Why, where a reason is asked for.
    pub reason: Option<String>,
    /// The order it came on.
    pub order: Option<Id<Order>>,
    /// The other site of a transfer.
    pub other_site: Option<SiteId>,
    /// The slip that it takes back, in whole or for one lot.
    pub reverses: Option<Id<Slip>>,
}

/// Which open shortages of its product a slip settles.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Settles {
    /// None.
    Nothing,
    /// Those that were poured up to this instant.
    PouredUntil(DateTime<Utc>),
    /// Every one.
    All,
}

impl Wanted {
    /// Which shortages it settles. What came in settles all, also one that is dated before the pour: a receipt that was
    /// typed late is the commonest reason why the record held nothing. A count tells of what was poured before it, and
    /// only if all lots were counted, since the pour may have come from any.
    pub fn settles(&self) -> Settles {
        match self.kind {
            SlipKind::Receipt | SlipKind::TransferIn | SlipKind::Preparation => Settles::All,
            SlipKind::Count if self.lot.is_none() => Settles::PouredUntil(self.done_at),
            SlipKind::Count
            | SlipKind::Issue
            | SlipKind::Pour
            | SlipKind::WriteOff
            | SlipKind::TransferOut
            | SlipKind::Reversal => Settles::Nothing,
        }
    }
}

/// A slip as it was entered.
#[derive(Debug, Clone, PartialEq)]
pub struct Slip {
    /// Made by the server.
    pub id: Id<Slip>,
    /// What it says.
    pub says: Wanted,
    /// When the server got it.
    pub entered_at: DateTime<Utc>,
    /// Who entered it.
    pub entered_by: Option<PersonId>,
}

impl Slip {
    /// Whether this is what is wanted again: the same in all that was stated. An instant left out is no other one.
    pub fn says_again(&self, wanted: &Wanted, at_stated: bool) -> bool {
        let says = &self.says;
        let at = if at_stated { wanted.done_at } else { says.done_at };
        *says == Wanted { done_at: at, ..wanted.clone() }
    }
}

impl Slip {
    /// Whether a movement of it says that another count had found what it tells of.
    pub fn had_found(&self, movement: &Movement) -> bool {
        let adjusts = movement.kind == MovementKind::CountAdjustment && movement.reverses.is_none();
        adjusts && movement.done_at != self.says.done_at
    }
}

/// A slip with what it did.
#[derive(Debug, Clone, PartialEq)]
pub struct Entered {
    /// The slip.
    pub slip: Slip,
    /// Its movements, in the order they were made.
    pub movements: Vec<Movement>,
    /// What was poured though no lot of the record held it.
    pub short: Amount,
    /// How many times the strength that is fed, of a stock solution that was made.
    pub strength: Option<f64>,
}

impl Entered {
    /// See [`Slip::had_found`].
    pub fn had_found(&self, movement: &Movement) -> bool {
        self.slip.had_found(movement)
    }

    /// What goes with a movement of it: all that it did to the lot and what counts had found of that, which of a lot that
    /// came in may have lain in other lots.
    pub fn going_with(&self, movement: &Movement) -> Vec<Movement> {
        let of_it = |other: &&Movement| other.product == movement.product;
        let came_in = self.movements.iter().filter(of_it).any(|other| other.kind == MovementKind::Receipt);
        let goes = |other: &&Movement| of_it(other) && (came_in || other.lot == movement.lot);
        self.movements.iter().filter(goes).cloned().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::stock::testing::{id, lot_id};

    #[track_caller]
    fn check(kind: SlipKind, lot: Option<Id<Lot>>, settles: Settles) {
        let says = Wanted {
            client_id: None,
            kind,
            product: id("A"),
            lot,
            base: Base::Volume,
            amount: Amount::ZERO,
            done_at: monday(),
            reason: None,
            order: None,
            other_site: None,
            reverses: None,
        };
        assert_eq!(says.settles(), settles, "{kind:?}");
    }

    fn monday() -> DateTime<Utc> {
        "2031-03-03T08:00:00Z".parse().unwrap()
    }

    #[test]
    fn what_came_in_settles_every_shortage() {
        check(SlipKind::Receipt, Some(lot_id("A1")), Settles::All);
        check(SlipKind::TransferIn, None, Settles::All);
        check(SlipKind::Preparation, Some(lot_id("A1")), Settles::All);
    }

    #[test]
    fn a_count_settles_what_was_poured_before_it_when_all_lots_were_counted() {
        check(SlipKind::Count, None, Settles::PouredUntil(monday()));
        check(SlipKind::Count, Some(lot_id("A1")), Settles::Nothing);
    }

    #[test]
    fn what_went_out_settles_nothing() {
        check(SlipKind::WriteOff, Some(lot_id("A1")), Settles::Nothing);
        check(SlipKind::Pour, None, Settles::Nothing);
    }
}
