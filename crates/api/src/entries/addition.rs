//! Additions.

use fillmark_domain::entries as words;
use fillmark_domain::{Base, Id, Unit};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{AdditionReason, Batch};
use crate::{Code, Instant, Quantity};

/// Up to 500 additions.
pub type AdditionBatch = Batch<NewAddition>;

/// Product or water that somebody put into a tank.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "tank_id": "019a0000-0000-7000-8000-000000000002",
    "product_id": "019a0000-0000-7000-8000-000000000003", "amount": {"value": 120.0, "unit": "mL"}, "reason": "strength",
    "advice_id": null, "recorded_at": "2026-11-24T06:40:00+01:00"}))]
pub struct NewAddition {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// Into which tank.
    pub tank_id: Uuid,
    /// The product; null for water.
    #[serde(default)]
    pub product_id: Option<Uuid>,
    /// How much: in the product's base unit or a multiple of it, or the volume of water.
    pub amount: Quantity,
    /// The lot on the label; without one, those that expire first.
    #[serde(default)]
    pub lot_id: Option<Uuid>,
    /// Why.
    pub reason: AdditionReason,
    /// The advice for this tank that it followed.
    #[serde(default)]
    pub advice_id: Option<Uuid>,
    /// When.
    pub recorded_at: Instant,
    /// Who poured, when not the one who enters it.
    #[serde(default)]
    pub done_by: Option<Uuid>,
    /// It was poured though the record holds less: what is missing is kept as a shortage. A lot that is named is drawn
    /// down even when it has expired or is in quarantine.
    #[serde(default)]
    pub poured_all_the_same: bool,
    /// It was asked back as looking mis-keyed or entered before, and is right all the same.
    #[serde(default)]
    pub confirmed: bool,
}

/// An amount from a lot.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LotAmount {
    /// The lot.
    pub lot_id: Uuid,
    /// How much.
    pub amount: Quantity,
}

/// An addition as kept.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Addition {
    /// Made by the server.
    pub id: Uuid,
    /// As it was sent.
    pub client_id: Uuid,
    /// Into which tank.
    pub tank_id: Uuid,
    /// The product; null for water.
    pub product_id: Option<Uuid>,
    /// How much; the opposite where it takes another back.
    pub amount: Quantity,
    /// From which lots.
    #[schema(max_items = 200)]
    pub lots: Vec<LotAmount>,
    /// Poured though no lot of the record held it.
    pub shortage: Option<Quantity>,
    /// Why.
    pub reason: AdditionReason,
    /// The tank change it was part of.
    pub tank_change_id: Option<Uuid>,
    /// The advice it followed.
    pub advice_id: Option<Uuid>,
    /// When.
    pub recorded_at: Instant,
    /// When the server got it.
    pub received_at: Instant,
    /// Who poured.
    pub done_by: Option<Uuid>,
    /// Who typed it.
    pub entered_by: Option<Uuid>,
    /// The addition it takes back.
    pub reverses_id: Option<Uuid>,
    /// The addition that took it back.
    pub reversed_by_id: Option<Uuid>,
    /// Why it was taken back.
    #[schema(max_length = 500)]
    pub reversal_reason: Option<String>,
}

/// Takes an entry back, stock included; it is entered anew if it was wrong only in part.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000009", "reason": "typed for the wrong tank"}))]
pub struct NewReversal {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// Why.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
}

impl From<(Id<words::Addition>, words::Addition)> for Addition {
    fn from((id, kept): (Id<words::Addition>, words::Addition)) -> Self {
        let (product_id, amount, lots, shortage) = match kept.poured {
            words::Poured::Product { product, amount, base, lots, shortage, .. } => {
                let lots = lots
                    .iter()
                    .map(|(lot, amount)| LotAmount { lot_id: lot.uuid(), amount: quantity(*amount, base) });
                let short = Some(shortage).filter(|short| *short != fillmark_domain::Amount::ZERO);
                let short = short.map(|short| quantity(short, base));
                (Some(product.uuid()), quantity(amount, base), lots.collect(), short)
            }
            words::Poured::Water { litres } => (None, Quantity::new(litres, Unit::Litre), Vec::new(), None),
        };
        Self {
            id: id.uuid(),
            client_id: kept.client_id,
            tank_id: kept.tank.uuid(),
            product_id,
            amount,
            lots,
            shortage,
            reason: Code(kept.reason),
            tank_change_id: kept.change.map(Id::uuid),
            advice_id: kept.advice.map(Id::uuid),
            recorded_at: kept.recorded_at.into(),
            received_at: kept.received_at.into(),
            done_by: kept.done_by.map(Id::uuid),
            entered_by: kept.entered_by.map(Id::uuid),
            reverses_id: kept.reverses.as_ref().map(|(id, _)| id.uuid()),
            reversed_by_id: kept.reversed.map(Id::uuid),
            reversal_reason: kept.reverses.map(|(_, reason)| reason),
        }
    }
}

fn quantity(amount: fillmark_domain::Amount, base: Base) -> Quantity {
    amount.quantity(base).into()
}
