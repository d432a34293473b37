//! A purchase as a person is told it.

use fillmark_domain::Coded;

use super::{OrderBy, Purchase};

impl Purchase {
    /// Why so much of it is to be ordered on that day, in sentences.
    pub fn told(&self) -> String {
        let chance = self.chance_of_running_out * 100.0;
        let by = match self.order_by {
            OrderBy::On(on) => {
                format!("Ordered by {on} the chance of running out before it comes is {chance:.0} %.")
            }
            OrderBy::Late(on) => {
                format!("Even ordered on {on} the chance of running out before it comes is {chance:.0} %.")
            }
        };
        let lead = match self.lead_time.orders {
            0 => format!(
                "The supplier promises {:.0} days; no order has shown it yet.",
                self.lead_time.mean_days
            ),
            orders => format!(
                "The supplier takes {:.0} days, give or take {:.0}, by the promise and {orders} orders.",
                self.lead_time.mean_days, self.lead_time.sd_days
            ),
        };
        let unit = self.offer.base.unit().code();
        let needed = format!(
            "{} {unit} keep the service level until the order after it comes; {} packs hold {} {unit}.",
            self.needed, self.packs.count, self.packs.amount
        );
        let step = self.in_step_with.map(|_| "It is ordered in step with its partner.".to_owned());
        [Some(by), Some(lead), Some(needed), step].into_iter().flatten().collect::<Vec<_>>().join(" ")
    }
}
