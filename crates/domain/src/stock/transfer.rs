//! Transfers between sites.

use chrono::{DateTime, Utc};

use super::{Product, Slip};
use crate::code::coded;
use crate::places::SiteId;
use crate::{Amount, Base, Id};

coded! {
    /// Where a transfer is.
    TransferState {
        /// It has left and has not arrived: in no site's stock.
        InTransit = "in_transit",
        /// It is in the stock of the other site.
        Arrived = "arrived",
        /// It never left, or came back: it is in the stock of the site it was sent from.
        TakenBack = "taken_back",
    }
}

/// Product on its way from one site to another. It arrives whole: what was lost on the way is written off there,
/// so that nothing vanishes between two ledgers.
#[derive(Debug, Clone, PartialEq)]
pub struct Transfer {
    /// Made by the server.
    pub id: Id<Transfer>,
    /// From where.
    pub from: SiteId,
    /// To where.
    pub to: SiteId,
    /// Of what.
    pub product: Id<Product>,
    /// What it is counted in.
    pub base: Base,
    /// How much.
    pub amount: Amount,
    /// The slip it left on.
    pub out: Id<Slip>,
    /// When it left.
    pub sent_at: DateTime<Utc>,
    /// The slip it arrived on, and when.
    pub arrived: Option<(Id<Slip>, DateTime<Utc>)>,
    /// The slip it was taken back on before it arrived, and when.
    pub taken_back: Option<(Id<Slip>, DateTime<Utc>)>,
}

impl Transfer {
    /// Where it is.
    pub fn state(&self) -> TransferState {
        match (self.arrived, self.taken_back) {
            (Some(_), _) => TransferState::Arrived,
            (None, Some(_)) => TransferState::TakenBack,
            (None, None) => TransferState::InTransit,
        }
    }

    /// Whether it may still arrive, or be taken back.
    /// # Errors
    /// [`NotInTransit`] says what became of it.
    pub fn in_transit(&self) -> Result<(), NotInTransit> {
        match self.state() {
            TransferState::InTransit => Ok(()),
            TransferState::Arrived => Err(NotInTransit::Arrived),
            TransferState::TakenBack => Err(NotInTransit::TakenBack),
        }
    }
}

/// Why a transfer can neither arrive nor be taken back.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotInTransit {
    /// It is in the stock of the other site.
    #[error("the transfer has arrived already; what came is sent back by another")]
    Arrived,
    /// Whoever sent it took it back.
    #[error("the transfer was taken back by the site that sent it")]
    TakenBack,
}
