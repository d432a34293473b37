//! What is written to a supplier about an order, as the order stands.

use super::{Order, OrderLine, OrderState, Product};
use crate::{Coded, Id};

impl Order {
    /// A message to the supplier that can be sent as it stands: it orders, asks for what has not come, says that nothing more is
    /// wanted, or calls off what was cancelled. `named` gives a product's name.
    pub fn message(
        &self,
        id: Id<Order>,
        supplier: &str,
        site: &str,
        named: impl Fn(Id<Product>) -> String,
    ) -> String {
        let reference = Order::reference(id);
        let ordered = || self.ordered(&named);
        let send = || format!("Please send to {site}, our order {reference}:");
        let (wish, lines, answer) = match &self.state {
            OrderState::Draft => (send(), ordered(), "Please confirm price and day of delivery.".to_owned()),
            OrderState::Placed { expected_on, .. } => {
                let by = format!("Please confirm price and day of delivery. We expect it on {expected_on}.");
                (send(), ordered(), by)
            }
            OrderState::PartReceived { expected_on, .. } => (
                format!("Of our order {reference} for {site} a part has come. We still wait for:"),
                self.to_come(&named),
                format!("Please confirm the day of delivery of the rest. We expect it on {expected_on}."),
            ),
            OrderState::Received { .. } => (
                format!("Our order {reference} for {site} is closed:"),
                ordered(),
                "Please send nothing more of it.".to_owned(),
            ),
            OrderState::Cancelled { .. } => (
                format!("If you have our order {reference} for {site}, please cancel it:"),
                ordered(),
                "Please confirm that it is not sent.".to_owned(),
            ),
        };
        format!("To {supplier}\n\n{wish}\n\n{}\n\n{answer}\n", lines.join("\n"))
    }

    fn ordered(&self, named: impl Fn(Id<Product>) -> String) -> Vec<String> {
        let line = |line: &OrderLine| {
            let (unit, pack) = (line.base.unit().code(), line.pack);
            let name = named(line.product);
            format!("- {} x {name} in packs of {pack} {unit}, at {} a pack", line.packs, line.price)
        };
        self.lines.iter().filter(|line| line.packs > 0).map(line).collect()
    }

    fn to_come(&self, named: impl Fn(Id<Product>) -> String) -> Vec<String> {
        let line = |(product, amount)| {
            let base = self.lines.iter().find(|line| line.product == product)?.base;
            Some(format!("- {amount} {} of {}", base.unit().code(), named(product)))
        };
        self.outstanding().into_iter().filter_map(line).collect()
    }
}
