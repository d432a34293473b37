//! Additions: product or water put into a tank.

use chrono::{DateTime, Utc};
use uuid::Uuid;

use crate::code::coded;
use crate::entries::{Advice, TankChange};
use crate::people::PersonId;
use crate::places::TankId;
use crate::stock::{Lot, Product, SlipId};
use crate::{Amount, Base, Id};

coded! {
    /// Why something was added.
    AdditionReason {
        /// To raise or lower the strength.
        Strength = "strength",
        /// To move the pH.
        Ph = "ph",
        /// To fill up to the mark.
        TopUp = "top_up",
        /// As part of a tank change.
        Change = "change",
    }
}

/// What was put in.
#[derive(Debug, Clone, PartialEq)]
pub enum Poured {
    /// A product, from these lots, with what no lot of the record held.
    Product {
        /// Which.
        product: Id<Product>,
        /// How much in all.
        amount: Amount,
        /// What it is counted in.
        base: Base,
        /// What it drew, in the ledger.
        slip: SlipId,
        /// From which lots how much.
        lots: Vec<(Id<Lot>, Amount)>,
        /// Poured though no lot of the record held it: in use and forecast, in no balance.
        shortage: Amount,
    },
    /// Water, in litres.
    Water {
        /// How much.
        litres: f64,
    },
}

impl Poured {
    /// How much of a product.
    pub const fn amount(&self) -> Option<Amount> {
        match self {
            Poured::Product { amount, .. } => Some(*amount),
            Poured::Water { .. } => None,
        }
    }

    /// How much water, L.
    pub const fn water_l(&self) -> Option<f64> {
        match self {
            Poured::Water { litres } => Some(*litres),
            Poured::Product { .. } => None,
        }
    }
}

/// One addition.
#[derive(Debug, Clone, PartialEq)]
pub struct Addition {
    /// Made by the client that entered it.
    pub client_id: Uuid,
    /// Into which tank.
    pub tank: TankId,
    /// What.
    pub poured: Poured,
    /// Why.
    pub reason: AdditionReason,
    /// The tank change it was part of.
    pub change: Option<Id<TankChange>>,
    /// The advice it followed.
    pub advice: Option<Id<Advice>>,
    /// When.
    pub recorded_at: DateTime<Utc>,
    /// When the server got it.
    pub received_at: DateTime<Utc>,
    /// Who poured.
    pub done_by: Option<PersonId>,
    /// Who typed it.
    pub entered_by: Option<PersonId>,
    /// The addition it takes back, and why: then every amount is an opposite.
    pub reverses: Option<(Id<Addition>, String)>,
    /// The addition that took it back.
    pub reversed: Option<Id<Addition>>,
}
