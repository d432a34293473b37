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
}

impl Transfer {
    /// Where it is.
    pub fn state(&self) -> TransferState {
        match self.arrived {
            None => TransferState::InTransit,
            Some(_) => TransferState::Arrived,
        }
    }
}
