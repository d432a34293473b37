//! Transfers.

use fillmark_domain::Id;
use fillmark_domain::stock as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{TransferState, quantity};
use crate::{Code, Instant, Quantity};

/// Product to be sent to another site.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "product_id": "019a0000-0000-7000-8000-000000000003",
    "lot_id": null, "amount": {"value": 5.0, "unit": "L"}, "to_site_id": "019a0000-0000-7000-8000-000000000008", "done_at": null}))]
pub struct NewTransfer {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// Of what.
    pub product_id: Uuid,
    /// From this lot; without one, those that expire first.
    #[serde(default)]
    pub lot_id: Option<Uuid>,
    /// How much.
    pub amount: Quantity,
    /// To where.
    pub to_site_id: Uuid,
    /// When it left; now, unless stated.
    #[serde(default)]
    pub done_at: Option<Instant>,
}

/// A transfer taken in where it was sent to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "done_at": null}))]
pub struct NewArrival {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// When it arrived; now, unless stated.
    #[serde(default)]
    pub done_at: Option<Instant>,
}

/// Product on its way from one site to another, arrived, or taken back. It arrives whole; what was lost is written off there.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Transfer {
    /// Made by the server.
    pub id: Uuid,
    /// From where.
    pub from_site_id: Uuid,
    /// To where.
    pub to_site_id: Uuid,
    /// Of what.
    pub product_id: Uuid,
    /// How much.
    pub amount: Quantity,
    /// Where it is.
    pub state: TransferState,
    /// When it left.
    pub sent_at: Instant,
    /// When it arrived.
    pub arrived_at: Option<Instant>,
    /// The slip it left on, at the one site.
    pub out_slip_id: Uuid,
    /// The slip it arrived on, at the other.
    pub in_slip_id: Option<Uuid>,
    /// When it was taken back by the site that sent it, by reversing the slip it left on.
    pub taken_back_at: Option<Instant>,
}

impl From<words::Transfer> for Transfer {
    fn from(transfer: words::Transfer) -> Self {
        Self {
            id: transfer.id.uuid(),
            from_site_id: transfer.from.uuid(),
            to_site_id: transfer.to.uuid(),
            product_id: transfer.product.uuid(),
            amount: quantity(transfer.amount, transfer.base),
            state: Code(transfer.state()),
            sent_at: transfer.sent_at.into(),
            arrived_at: transfer.arrived.map(|(_, at)| at.into()),
            out_slip_id: transfer.out.uuid(),
            in_slip_id: transfer.arrived.map(|(slip, _)| Id::uuid(slip)),
            taken_back_at: transfer.taken_back.map(|(_, at)| at.into()),
        }
    }
}
