//! Orders to a supplier and the states they pass through.

mod message;
mod state;
mod terms;

use chrono::{DateTime, NaiveDate, Utc};

use super::{Offer, Product, Supplier};
use crate::people::PersonId;
use crate::{Amount, Base, Id, Money};

pub use state::{OrderState, Received};
pub use terms::{Outdated, ShortOfLeast};

/// What is ordered of one product.
#[derive(Debug, Clone, PartialEq)]
pub struct OrderLine {
    /// Of what.
    pub product: Id<Product>,
    /// On which offer.
    pub offer: Id<Offer>,
    /// How many packs.
    pub packs: u32,
    /// What one pack holds.
    pub pack: Amount,
    /// What the pack is counted in.
    pub base: Base,
    /// What one pack costs.
    pub price: Money,
    /// Why it is ordered, where the forecast asked for it.
    pub why: Option<String>,
}

impl OrderLine {
    /// What the packs hold together.
    pub fn amount(&self) -> Amount {
        Amount::from_thousandths(self.pack.thousandths().saturating_mul(self.packs.into()))
    }
}

/// That somebody stands for an order being placed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Approval {
    /// Who.
    pub by: Option<PersonId>,
    /// When.
    pub at: DateTime<Utc>,
}

/// An order to one supplier.
#[derive(Debug, Clone, PartialEq)]
pub struct Order {
    /// To whom.
    pub supplier: Id<Supplier>,
    /// What.
    pub lines: Vec<OrderLine>,
    /// Who stands for it being placed; other lines of a draft want it anew.
    pub approved: Option<Approval>,
    /// Where it stands.
    pub state: OrderState,
}

impl Order {
    /// A draft of these lines.
    pub fn draft(supplier: Id<Supplier>, lines: Vec<OrderLine>) -> Order {
        Order { supplier, lines, approved: None, state: OrderState::Draft }
    }

    /// Sum of its lines, without freight; none where there are none.
    pub fn value(&self) -> Option<Money> {
        let costs = self.lines.iter().map(|line| line.price.times(line.packs.into()));
        // Offers are in the site's money, so all lines are.
        costs.reduce(|sum, cost| Money::new(sum.minor.saturating_add(cost.minor), sum.currency))
    }

    /// The same draft, with somebody who stands for it.
    /// # Errors
    /// [`NotAllowed`] once the supplier has it, or while it has no packs.
    pub fn approve(self, approval: Approval) -> Result<Order, NotAllowed> {
        if self.state != OrderState::Draft {
            return Err(NotAllowed::Not { wanted: "approved", state: self.state.code() });
        }
        if !self.lines.iter().any(|line| line.packs > 0) {
            return Err(NotAllowed::Empty);
        }
        Ok(Order { approved: Some(approval), ..self })
    }

    /// What an order is called in letters and on the phone: the end of its id, which is drawn at random.
    pub fn reference(id: Id<Order>) -> String {
        let text = id.uuid().simple().to_string().to_uppercase();
        text[text.len() - 8..].to_owned()
    }

    /// The same order with other lines.
    /// # Errors
    /// [`NotAllowed`] once the supplier has it.
    pub fn with_lines(self, lines: Vec<OrderLine>) -> Result<Order, NotAllowed> {
        match self.state {
            OrderState::Draft => Ok(Order { lines, approved: None, ..self }),
            state => Err(NotAllowed::Not { wanted: "changed", state: state.code() }),
        }
    }

    /// Given to the supplier.
    /// # Errors
    /// [`NotAllowed`] unless it is a draft with at least one pack, expected no earlier than it is placed.
    pub fn place(self, on: NaiveDate, expected_on: NaiveDate) -> Result<Order, NotAllowed> {
        if self.state != OrderState::Draft {
            return Err(NotAllowed::Not { wanted: "placed", state: self.state.code() });
        }
        if !self.lines.iter().any(|line| line.packs > 0) {
            return Err(NotAllowed::Empty);
        }
        if expected_on < on {
            return Err(NotAllowed::TooEarly { on: expected_on, placed_on: on });
        }
        Ok(Order { state: OrderState::Placed { on, expected_on }, ..self })
    }

    /// As the supplier confirms it: for another day, with other packs of some lines. What came stands; where nothing else is to come of
    /// it, it is received, until he says otherwise. Of what was closed short only the lines that he names are awaited again, or all of it
    /// where he only names a day.
    /// # Errors
    /// [`NotAllowed`] unless the supplier has it, for a day before it was placed, for fewer packs than came, and when no pack is left.
    pub fn confirmed(
        self,
        expected_on: Option<NaiveDate>,
        packs: &[(Id<Offer>, u32)],
    ) -> Result<Order, NotAllowed> {
        let closed = matches!(self.state, OrderState::Received { .. });
        let (placed_on, expected_before, received) =
            self.state.placed().map_err(|state| NotAllowed::Not { wanted: "confirmed", state })?;
        let expected_on = expected_on.unwrap_or(expected_before);
        if expected_on < placed_on {
            return Err(NotAllowed::TooEarly { on: expected_on, placed_on });
        }
        let mut lines = match closed && !packs.is_empty() {
            true => as_came(self.lines, received.clone()),
            false => self.lines,
        };
        for line in &mut lines {
            let other = packs.iter().find(|(offer, _)| *offer == line.offer);
            line.packs = other.map_or(line.packs, |(_, packs)| *packs);
        }
        for (offer, _) in packs {
            let Some(named) = lines.iter().find(|line| line.offer == *offer) else { continue };
            let of_it = lines.iter().filter(|line| line.product == named.product);
            let confirmed: Amount = of_it.map(OrderLine::amount).sum();
            let of_it = received.iter().filter(|one| one.product == named.product);
            let came: Amount = of_it.map(|one| one.amount).sum();
            // Somewhat more than a pack holds may have come with it.
            if confirmed + named.pack <= came {
                return Err(NotAllowed::FewerThanCame { offer: *offer });
            }
        }
        if received.is_empty() && outstanding(&lines, &[]).is_empty() {
            return Err(NotAllowed::NothingLeft);
        }
        let state = OrderState::of(&lines, placed_on, expected_on, received);
        Ok(Order { lines, state, ..self })
    }

    /// Something of it came in. More than was ordered is taken as it is: it stands in the store.
    /// # Errors
    /// [`NotAllowed`] unless it is on its way, when the product is not on it, or before it was placed.
    pub fn receive(self, came: Received) -> Result<Order, NotAllowed> {
        let refused = NotAllowed::Not { wanted: "received", state: self.state.code() };
        if matches!(self.state, OrderState::Received { .. }) {
            return Err(refused);
        }
        let (placed_on, expected_on, mut received) = self.state.placed().map_err(|_| refused)?;
        if !self.lines.iter().any(|line| line.product == came.product) {
            return Err(NotAllowed::NotOrdered { product: came.product });
        }
        if came.on < placed_on {
            return Err(NotAllowed::TooEarly { on: came.on, placed_on });
        }
        received.push(came);
        let state = OrderState::of(&self.lines, placed_on, expected_on, received);
        Ok(Order { state, ..self })
    }

    /// What was entered as received had not come: it is awaited again.
    /// # Errors
    /// [`NotAllowed`] when no such part of it was entered.
    pub fn take_back(self, came: &Received) -> Result<Order, NotAllowed> {
        let refused = |state| NotAllowed::Not { wanted: "taken back in part", state };
        let (placed_on, expected_on, mut received) = self.state.placed().map_err(refused)?;
        let Some(at) = received.iter().position(|one| one == came) else {
            return Err(NotAllowed::NotOrdered { product: came.product });
        };
        received.remove(at);
        let state = OrderState::of(&self.lines, placed_on, expected_on, received);
        Ok(Order { state, ..self })
    }

    /// The rest will not come: the supplier gave it up, or the grower did.
    /// # Errors
    /// [`NotAllowed`] unless a part of it came.
    pub fn close_short(self) -> Result<Order, NotAllowed> {
        match self.state {
            OrderState::PartReceived { placed_on, expected_on, received } => {
                Ok(Order { state: OrderState::Received { placed_on, expected_on, received }, ..self })
            }
            state => Err(NotAllowed::Not { wanted: "closed short", state: state.code() }),
        }
    }

    /// Given up before anything came.
    /// # Errors
    /// [`NotAllowed`] once something came: that part is in the stock, the rest is closed short.
    pub fn cancel(self, on: NaiveDate) -> Result<Order, NotAllowed> {
        let placed_on = match self.state {
            OrderState::Draft => None,
            OrderState::Placed { on, .. } => Some(on),
            state => return Err(NotAllowed::Not { wanted: "cancelled", state: state.code() }),
        };
        Ok(Order { state: OrderState::Cancelled { placed_on, on }, ..self })
    }

    /// How much of a product is still to come, where so much more came that it looks mis-keyed: suppliers round up to
    /// a pack or add one, they do not send half as much again; common practice, no source.
    pub fn exceeded_by(&self, came: &Received) -> Option<Amount> {
        let awaited = self.awaited(came.product);
        let far = awaited.thousandths().saturating_mul(3) / 2;
        (came.amount.thousandths() > far).then_some(awaited)
    }

    /// Whether more of a product came than was still to come.
    pub fn is_exceeded_by(&self, came: &Received) -> bool {
        came.amount > self.awaited(came.product)
    }

    fn awaited(&self, product: Id<Product>) -> Amount {
        let open = self.outstanding().into_iter().find(|(open, _)| *open == product);
        open.map_or(Amount::ZERO, |(_, amount)| amount)
    }

    /// What is still to come, by product; nothing of an order that is a draft or settled.
    pub fn outstanding(&self) -> Vec<(Id<Product>, Amount)> {
        match &self.state {
            OrderState::Placed { .. } => outstanding(&self.lines, &[]),
            OrderState::PartReceived { received, .. } => outstanding(&self.lines, received),
            OrderState::Draft | OrderState::Received { .. } | OrderState::Cancelled { .. } => Vec::new(),
        }
    }

    /// What of a settled order never came, by product.
    pub fn never_came(&self) -> Vec<(Id<Product>, Amount)> {
        match &self.state {
            OrderState::Received { received, .. } => outstanding(&self.lines, received),
            OrderState::Draft
            | OrderState::Placed { .. }
            | OrderState::PartReceived { .. }
            | OrderState::Cancelled { .. } => Vec::new(),
        }
    }

    /// When the supplier had sent it: the day on which half of its value had come, so that a part sent ahead makes nobody faster, nor
    /// a rest that follows slower; of one closed before, the last day on which something came. None while that is awaited.
    pub fn came_on(&self) -> Option<NaiveDate> {
        let (OrderState::PartReceived { received, .. } | OrderState::Received { received, .. }) = &self.state
        else {
            return None;
        };
        let half_minor = self.value().map_or(0.0, |value| value.minor as f64 / 2.0);
        let half_came = |day: &NaiveDate| {
            let until: Vec<Received> = received.iter().filter(|one| one.on <= *day).cloned().collect();
            let missing = outstanding(&self.lines, &until);
            let missing_minor: f64 =
                missing.iter().map(|(product, amount)| self.minor(*product, *amount)).sum();
            missing_minor <= half_minor
        };
        let days = || received.iter().map(|one| one.on);
        let closed = matches!(self.state, OrderState::Received { .. });
        days().filter(half_came).min().or_else(|| days().max().filter(|_| closed))
    }

    /// What so much of an ordered product costs, minor units.
    fn minor(&self, product: Id<Product>, amount: Amount) -> f64 {
        let lines = || self.lines.iter().filter(|line| line.product == product);
        let cost: i64 = lines().map(|line| line.price.times(line.packs.into()).minor).sum();
        let ordered: Amount = lines().map(OrderLine::amount).sum();
        cost as f64 * amount.base_units() / ordered.base_units()
    }
}

/// Lines with the whole packs that came of them: nothing of them is awaited.
fn as_came(mut lines: Vec<OrderLine>, mut received: Vec<Received>) -> Vec<OrderLine> {
    for line in &mut lines {
        let of_it = received.iter_mut().filter(|came| came.product == line.product);
        let pack = line.pack.thousandths().max(1);
        let mut room = pack.saturating_mul(line.packs.into());
        let mut holds = 0;
        for came in of_it {
            let taken = came.amount.thousandths().clamp(0, room);
            came.amount = came.amount - Amount::from_thousandths(taken);
            room -= taken;
            holds += taken;
        }
        line.packs = u32::try_from(holds / pack).unwrap_or(line.packs);
    }
    lines
}

fn outstanding(lines: &[OrderLine], received: &[Received]) -> Vec<(Id<Product>, Amount)> {
    let mut open: Vec<(Id<Product>, Amount)> = Vec::new();
    for line in lines {
        match open.iter_mut().find(|(product, _)| *product == line.product) {
            Some((_, amount)) => *amount = *amount + line.amount(),
            None => open.push((line.product, line.amount())),
        }
    }
    for (product, amount) in &mut open {
        let came: Amount = received.iter().filter(|one| one.product == *product).map(|one| one.amount).sum();
        *amount = *amount - came;
    }
    open.retain(|(_, amount)| amount.is_positive());
    open
}

/// A change of state that an order does not allow.
#[derive(Debug, Clone, PartialEq, thiserror::Error)]
pub enum NotAllowed {
    /// Its state forbids it.
    #[error("an order that is {state} cannot be {wanted}{}", instead(wanted, state))]
    Not {
        /// What was wanted.
        wanted: &'static str,
        /// Where it stands.
        state: &'static str,
    },
    /// Nothing on it.
    #[error("an order without a pack cannot be placed")]
    Empty,
    /// Fewer packs of a line are confirmed than came.
    #[error("more packs of offer {offer} came than are confirmed: those that came are included")]
    FewerThanCame {
        /// On which offer.
        offer: Id<Offer>,
    },
    /// Its supplier sends nothing of it.
    #[error("an order of which nothing comes is to be cancelled")]
    NothingLeft,
    /// A product that it does not list.
    #[error("product {product} is not on the order")]
    NotOrdered {
        /// Which.
        product: Id<Product>,
    },
    /// A date before it was placed.
    #[error("{on} is before {placed_on}, when it was placed")]
    TooEarly {
        /// The date given.
        on: NaiveDate,
        /// When it was placed.
        placed_on: NaiveDate,
    },
}

/// What can be done instead.
fn instead(wanted: &str, state: &str) -> &'static str {
    match (wanted, state) {
        ("received", "draft") => ": place it first, or take in what came without naming it",
        ("received", _) => ": take in what came without naming it",
        ("cancelled", "part_received") => ": close it short, since a part of it came",
        ("changed", "placed" | "part_received") => ": note what its supplier confirms",
        ("closed short", "placed") => ": cancel it, since nothing of it came",
        _ => "",
    }
}

#[cfg(test)]
mod tests;
