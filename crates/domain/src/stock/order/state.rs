//! Where an order stands, and what came of it.

use chrono::NaiveDate;

use super::{OrderLine, outstanding};
use crate::stock::Product;
use crate::{Amount, Id};

/// What of an order came in on a day.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Received {
    /// Of what.
    pub product: Id<Product>,
    /// How much.
    pub amount: Amount,
    /// When.
    pub on: NaiveDate,
}

/// Where an order stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum OrderState {
    /// May still be changed; the supplier knows nothing of it.
    Draft,
    /// The supplier has it.
    Placed {
        /// When it was placed.
        on: NaiveDate,
        /// When it should arrive.
        expected_on: NaiveDate,
    },
    /// Something came, something is still to come.
    PartReceived {
        /// When it was placed.
        placed_on: NaiveDate,
        /// When the rest should arrive.
        expected_on: NaiveDate,
        /// What came.
        received: Vec<Received>,
    },
    /// Nothing more will come.
    Received {
        /// When it was placed.
        placed_on: NaiveDate,
        /// When it should have arrived.
        expected_on: NaiveDate,
        /// What came.
        received: Vec<Received>,
    },
    /// Given up before anything came.
    Cancelled {
        /// When it had been placed; never, of a draft.
        placed_on: Option<NaiveDate>,
        /// When it was given up.
        on: NaiveDate,
    },
}

impl OrderState {
    /// The codes of all states.
    pub const CODES: [&str; 5] = ["draft", "placed", "part_received", "received", "cancelled"];

    /// Of an order that its supplier has, with what came of it.
    pub(super) fn of(
        lines: &[OrderLine],
        placed_on: NaiveDate,
        expected_on: NaiveDate,
        received: Vec<Received>,
    ) -> OrderState {
        match (received.is_empty(), outstanding(lines, &received).is_empty()) {
            (true, _) => OrderState::Placed { on: placed_on, expected_on },
            (false, true) => OrderState::Received { placed_on, expected_on, received },
            (false, false) => OrderState::PartReceived { placed_on, expected_on, received },
        }
    }

    /// When an order that its supplier has was placed, when it is expected, and what came of it.
    /// # Errors
    /// Its code, where the supplier has none.
    pub(super) fn placed(self) -> Result<(NaiveDate, NaiveDate, Vec<Received>), &'static str> {
        match self {
            OrderState::Placed { on, expected_on } => Ok((on, expected_on, Vec::new())),
            OrderState::PartReceived { placed_on, expected_on, received }
            | OrderState::Received { placed_on, expected_on, received } => {
                Ok((placed_on, expected_on, received))
            }
            OrderState::Draft | OrderState::Cancelled { .. } => Err(self.code()),
        }
    }

    /// When the supplier was given it, and kept it; never, of a draft or one that was given up.
    pub fn placed_on(&self) -> Option<NaiveDate> {
        match self {
            OrderState::Placed { on, .. } => Some(*on),
            OrderState::PartReceived { placed_on, .. } | OrderState::Received { placed_on, .. } => {
                Some(*placed_on)
            }
            OrderState::Draft | OrderState::Cancelled { .. } => None,
        }
    }

    /// Its code in rows and JSON.
    pub fn code(&self) -> &'static str {
        match self {
            OrderState::Draft => "draft",
            OrderState::Placed { .. } => "placed",
            OrderState::PartReceived { .. } => "part_received",
            OrderState::Received { .. } => "received",
            OrderState::Cancelled { .. } => "cancelled",
        }
    }
}
