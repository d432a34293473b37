//! What comes in, goes out and is counted: what is entered, and the slip that answers it.

use chrono::NaiveDate;
use fillmark_domain::stock as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::product::expiry;
use super::{MovementKind, ShortageState, SlipKind, quantity};
use crate::{Code, Instant, Quantity};

/// Something that came in, with or without an order. The lot is made when its number is new.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "product_id": "019a0000-0000-7000-8000-000000000003",
    "lot_number": "L2611", "expiry_on": "2027-11-30", "amount": {"value": 10.0, "unit": "L"},
    "done_at": "2026-11-24T09:00:00+01:00", "order_id": null}))]
pub struct NewReceipt {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// Of what.
    pub product_id: Uuid,
    /// As printed on the pack.
    #[schema(min_length = 1, max_length = 60)]
    pub lot_number: String,
    /// Last day on which it may be used; null where the label gives none.
    #[serde(default)]
    pub expiry_on: Option<NaiveDate>,
    /// How much, with at most three decimals of the product's base unit.
    pub amount: Quantity,
    /// When it came; now, unless stated.
    #[serde(default)]
    pub done_at: Option<Instant>,
    /// The order it came on.
    #[serde(default)]
    pub order_id: Option<Uuid>,
    /// It was asked back as looking mis-keyed or entered before, and is right all the same.
    #[serde(default)]
    pub confirmed: bool,
}

impl NewReceipt {
    /// What is wrong with it by itself.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn check(&self) -> Result<(), Faults> {
        let mut faults = Faults::default();
        faults.text("/lot_number", &self.lot_number, 60);
        expiry(&mut faults, self.expiry_on);
        faults.or(Some(()))
    }
}

/// A product taken out for use.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "amount": {"value": 250.0, "unit": "mL"},
    "lot_id": null, "done_at": null, "poured_all_the_same": false}))]
pub struct NewIssue {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// How much, with at most three decimals of the product's base unit.
    pub amount: Quantity,
    /// The lot on the label; without one, those that expire first.
    #[serde(default)]
    pub lot_id: Option<Uuid>,
    /// When; now, unless stated.
    #[serde(default)]
    pub done_at: Option<Instant>,
    /// It was used though the record holds less: what is missing is kept as a shortage. A lot that is named is drawn
    /// down even when it has expired or is in quarantine.
    #[serde(default)]
    pub poured_all_the_same: bool,
}

/// What was found of a product, or of one lot of it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "product_id": "019a0000-0000-7000-8000-000000000003",
    "lot_id": null, "counted": {"value": 7.4, "unit": "L"}, "done_at": null, "confirmed": false}))]
pub struct NewCount {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// Of what.
    pub product_id: Uuid,
    /// Of this lot only; else of all lots together.
    #[serde(default)]
    pub lot_id: Option<Uuid>,
    /// How much was found.
    pub counted: Quantity,
    /// When it was counted; now, unless stated.
    #[serde(default)]
    pub done_at: Option<Instant>,
    /// It was asked back as looking mis-keyed, and is right all the same.
    #[serde(default)]
    pub confirmed: bool,
}

/// A part of a lot that is spilt, spoilt or expired.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "lot_id": "019a0000-0000-7000-8000-000000000004",
    "amount": {"value": 500.0, "unit": "mL"}, "reason": "canister leaked", "done_at": null}))]
pub struct NewWriteOff {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// Of which lot.
    pub lot_id: Uuid,
    /// How much.
    pub amount: Quantity,
    /// Why.
    #[schema(min_length = 1, max_length = 500)]
    pub reason: String,
    /// When; now, unless stated.
    #[serde(default)]
    pub done_at: Option<Instant>,
}

/// A stock solution made on site: lots in, a new lot out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"client_id": "019a0000-0000-7000-8000-000000000001", "product_id": "019a0000-0000-7000-8000-000000000007",
    "lot_number": "A-48", "expiry_on": "2026-12-24", "amount": {"value": 20.0, "unit": "L"}, "strength": 100.0,
    "parts": [{"product_id": "019a0000-0000-7000-8000-000000000003", "lot_id": null, "amount": {"value": 2.0, "unit": "kg"}}],
    "done_at": null}))]
pub struct NewPreparation {
    /// Made by the client; the same one twice has one effect.
    pub client_id: Uuid,
    /// The stock solution, itself a product.
    pub product_id: Uuid,
    /// The number given to what was made.
    #[schema(min_length = 1, max_length = 60)]
    pub lot_number: String,
    /// Last day on which it may be used.
    #[serde(default)]
    pub expiry_on: Option<NaiveDate>,
    /// How much was made.
    pub amount: Quantity,
    /// How many times the strength that is fed: 100 behind a doser of 1 to 100.
    #[schema(minimum = 1, maximum = 1000)]
    pub strength: f64,
    /// What went in, water apart.
    #[schema(min_items = 1, max_items = 20)]
    pub parts: Vec<PreparationPart>,
    /// When it was made; now, unless stated.
    #[serde(default)]
    pub done_at: Option<Instant>,
}

/// What of one product went into a stock solution.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PreparationPart {
    /// Of what.
    pub product_id: Uuid,
    /// From this lot; without one, those that expire first.
    #[serde(default)]
    pub lot_id: Option<Uuid>,
    /// How much.
    pub amount: Quantity,
}

impl NewPreparation {
    /// What is wrong with it by itself.
    /// # Errors
    /// All fields that cannot be taken.
    pub fn check(&self) -> Result<(), Faults> {
        let mut faults = Faults::default();
        faults.text("/lot_number", &self.lot_number, 60);
        expiry(&mut faults, self.expiry_on);
        faults.range("/strength", self.strength, 1.0, 1000.0);
        let count = (1..=20).contains(&self.parts.len());
        faults.unless(count, "/parts", "count", "expected 1 to 20 parts");
        faults.or(Some(()))
    }
}

/// A reason, where one is asked for.
/// # Errors
/// When it is blank or too long.
pub fn stated_reason(reason: &str) -> Result<String, Faults> {
    let mut faults = Faults::default();
    faults.text("/reason", reason, 500);
    faults.or(Some(reason.trim().to_owned()))
}

/// What one act entered into the ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Slip {
    /// Made by the server.
    pub id: Uuid,
    /// As it was sent; null when it was entered with an addition.
    pub client_id: Option<Uuid>,
    /// What kind of act.
    pub kind: SlipKind,
    /// Of which product.
    pub product_id: Uuid,
    /// The lot that was named.
    pub lot_id: Option<Uuid>,
    /// How much came, went or was counted.
    pub amount: Quantity,
    /// When it was done.
    pub done_at: Instant,
    /// When the server got it.
    pub entered_at: Instant,
    /// Who entered it.
    pub entered_by: Option<Uuid>,
    /// Why, where a reason was asked for.
    #[schema(max_length = 500)]
    pub reason: Option<String>,
    /// The order it came on.
    pub order_id: Option<Uuid>,
    /// The other site of a transfer.
    pub other_site_id: Option<Uuid>,
    /// The slip that this one takes back, in whole or for one lot.
    pub reverses_slip_id: Option<Uuid>,
    /// How many times the strength that is fed, of a stock solution that was made.
    #[schema(minimum = 1, maximum = 1000)]
    pub strength: Option<f64>,
    /// What it did, one movement a lot. Beside what was poured before a count and entered after it stands the opposite
    /// adjustment, since the count had found it.
    #[schema(max_items = 1000)]
    pub movements: Vec<Movement>,
    /// What was used though no lot of the record held it.
    pub shortage: Option<Quantity>,
    /// What whoever handles the product should be told.
    #[schema(max_items = 10)]
    pub cautions: Vec<String>,
}

/// One entry of the ledger of a lot at a site.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Movement {
    /// Made by the server.
    pub id: Uuid,
    /// The slip it was entered on.
    pub slip_id: Uuid,
    /// Of which product.
    pub product_id: Uuid,
    /// Of which lot.
    pub lot_id: Uuid,
    /// Why.
    pub kind: MovementKind,
    /// In is positive, out is negative.
    pub change: Quantity,
    /// When it was done.
    pub done_at: Instant,
    /// The movement that this one takes back.
    pub reverses_id: Option<Uuid>,
}

/// What was used though no lot of the record held it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Shortage {
    /// Made by the server.
    pub id: Uuid,
    /// The slip it was entered on.
    pub slip_id: Uuid,
    /// Of which product.
    pub product_id: Uuid,
    /// How much beyond what was held.
    pub amount: Quantity,
    /// When.
    pub poured_at: Instant,
    /// What became of it.
    pub state: ShortageState,
    /// The slip of the count, receipt or correction that ended it.
    pub settled_by_id: Option<Uuid>,
}

impl Slip {
    /// The slip of an act, with what to be told of its product.
    pub fn of(entered: words::Entered, cautions: &[&str]) -> Self {
        let words::Entered { slip, movements, short, strength } = entered;
        let says = slip.says;
        Self {
            id: slip.id.uuid(),
            client_id: says.client_id,
            kind: Code(says.kind),
            product_id: says.product.uuid(),
            lot_id: says.lot.map(Id::uuid),
            amount: quantity(says.amount, says.base),
            done_at: says.done_at.into(),
            entered_at: slip.entered_at.into(),
            entered_by: slip.entered_by.map(Id::uuid),
            reason: says.reason,
            order_id: says.order.map(Id::uuid),
            other_site_id: says.other_site.map(Id::uuid),
            reverses_slip_id: says.reverses.map(Id::uuid),
            strength,
            movements: movements.into_iter().map(Movement::from).collect(),
            shortage: short.is_positive().then(|| quantity(short, says.base)),
            cautions: cautions.iter().map(|caution| (*caution).to_owned()).collect(),
        }
    }
}

impl From<words::Movement> for Movement {
    fn from(movement: words::Movement) -> Self {
        Self {
            id: movement.id.uuid(),
            slip_id: movement.slip.uuid(),
            product_id: movement.product.uuid(),
            lot_id: movement.lot.uuid(),
            kind: Code(movement.kind),
            change: quantity(movement.change, movement.base),
            done_at: movement.done_at.into(),
            reverses_id: movement.reverses.map(Id::uuid),
        }
    }
}

impl From<words::Shortage> for Shortage {
    fn from(shortage: words::Shortage) -> Self {
        Self {
            id: shortage.id.uuid(),
            slip_id: shortage.slip.uuid(),
            product_id: shortage.product.uuid(),
            amount: quantity(shortage.amount, shortage.base),
            poured_at: shortage.poured_at.into(),
            state: Code(shortage.state),
            settled_by_id: shortage.settled_by.map(Id::uuid),
        }
    }
}
