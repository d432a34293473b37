//! A purchase as a person is told it.

use fillmark_domain::{Amount, Coded};

use super::{Gains, OrderBy, Purchase};

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
        let unit = self.base.unit().code();
        let needed = format!("{} {unit} keep the service level until the order after it comes.", self.needed);
        let told = [Some(by), Some(lead), Some(needed), self.given(unit), self.packs(unit), self.early()];
        told.into_iter().flatten().collect::<Vec<_>>().join(" ")
    }

    fn given(&self, unit: &str) -> Option<String> {
        let given: Amount = self.transfers.iter().map(|transfer| transfer.amount).sum();
        let sites = match self.transfers.len() {
            0 => return None,
            1 => "another site, which still covers its own use".to_owned(),
            number => format!("{number} other sites, which still cover their own use"),
        };
        Some(format!("{given} {unit} of it can come from {sites}."))
    }

    fn packs(&self, unit: &str) -> Option<String> {
        let each = self.lines.iter().map(|line| format!("{} × {} {unit}", line.packs.count, line.offer.pack));
        let each = each.collect::<Vec<_>>().join(" and ");
        let cheapest = if self.lines.len() > 1 { ", the cheapest mix of packs" } else { "" };
        (!each.is_empty()).then(|| format!("{each} hold {} {unit}{cheapest}.", self.amount))
    }

    fn early(&self) -> Option<String> {
        if self.in_step_with.is_some() {
            return Some("It is ordered in step with its partner.".to_owned());
        }
        let forward = self.brought_forward?;
        Some(match forward.gains {
            Gains::LeastOrder => {
                format!("It goes along on {} already, towards the supplier's least order.", forward.to)
            }
            Gains::Freight { .. } => {
                format!("It goes along on {} already: that costs less than a freight of its own.", forward.to)
            }
        })
    }
}
