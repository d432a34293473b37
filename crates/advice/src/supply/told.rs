//! A purchase as a person is told it.

use fillmark_domain::{Amount, Base, Coded, Money};

use super::{Gains, LeadTime, OrderBy, Purchase, PurchaseLine, Raised, StocksUp};

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
        let unit = self.base.unit().code();
        let needed = format!(
            "{} {unit} keep the service level until the order after it comes.",
            self.needed.to_read()
        );
        let told = [
            Some(by),
            Some(self.lead_time.told()),
            Some(needed),
            self.given(unit),
            self.packs(unit),
            self.raised(unit),
            self.early(),
        ];
        told.into_iter().flatten().collect::<Vec<_>>().join(" ")
    }

    fn given(&self, unit: &str) -> Option<String> {
        let given: Amount = self.transfers.iter().map(|transfer| transfer.amount).sum();
        let sites = match self.transfers.len() {
            0 => return None,
            1 => "another site, which still covers its own use".to_owned(),
            number => format!("{number} other sites, which still cover their own use"),
        };
        Some(match given > self.needed {
            true => format!(
                "{given} {unit} can come from {sites}: it would expire there, and is used here before."
            ),
            false => format!("{given} {unit} of it can come from {sites}."),
        })
    }

    fn packs(&self, unit: &str) -> Option<String> {
        let each = each_of(&self.lines, unit);
        let mix = match self.lines.as_slice() {
            [only] if only.packs.count > 1 && only.packs.count == i64::from(only.offer.minimum_packs) => {
                ", as few packs as are sold"
            }
            [] | [_] => "",
            _ => ", the cheapest mix of packs",
        };
        let why = match &self.stocks_up {
            Some(stocks_up) => stocks_up.told(unit, self.base),
            None => mix.to_owned(),
        };
        (!each.is_empty()).then(|| format!("{each} hold {} {unit}{why}.", self.amount))
    }

    fn raised(&self, unit: &str) -> Option<String> {
        let Raised { without, weeks, gains } = self.raised?;
        let weeks = counted(usize::try_from(weeks).unwrap_or(0), "week");
        Some(match gains {
            Gains::LeastOrder => {
                format!("Without the supplier's least order {without} {unit} would do.")
            }
            Gains::Freight { saved_minor, holding_minor } => {
                let [saved, holding] = self.money([saved_minor, holding_minor]);
                format!(
                    "{without} {unit} would do: use of {weeks} more of all that is in the order saves {saved} of freight in all and costs {holding} to hold (25 % of its price a year)."
                )
            }
        })
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
            Gains::Freight { saved_minor, holding_minor } => {
                let [saved, holding] = self.money([saved_minor, holding_minor]);
                format!(
                    "It goes along on {} already: an order of its own would cost {saved} of freight, and holding it longer costs {holding} (25 % of its price a year).",
                    forward.to
                )
            }
        })
    }

    fn money(&self, minor: [i64; 2]) -> [Money; 2] {
        minor.map(|minor| Money::new(minor, self.cost.currency))
    }
}

fn each_of(lines: &[PurchaseLine], unit: &str) -> String {
    let each = lines.iter().map(|line| format!("{} × {} {unit}", line.packs.count, line.offer.pack));
    each.collect::<Vec<_>>().join(" and ")
}

impl StocksUp {
    fn told(&self, unit: &str, base: Base) -> String {
        let measure = match base {
            Base::Volume => "litre",
            Base::Mass => "kilogram",
        };
        let instead = each_of(&self.instead_of, unit);
        let weeks = counted(usize::try_from(self.lasts_weeks).unwrap_or(0), "week");
        format!(
            ", more than is needed: they are cheaper by the {measure} than {instead}, and with them the stock lasts {weeks}"
        )
    }
}

impl LeadTime {
    /// What the supplier promised, and what is believed of it.
    fn told(&self) -> String {
        let promised = format!("The supplier promises {}", counted(self.promised_days.into(), "day"));
        let believed = format!("{:.0} days, give or take {:.0}", self.mean_days, self.sd_days);
        match self.orders {
            0 => format!("{promised}; no order has shown it yet, so {believed}, are reckoned with."),
            orders => format!(
                "{promised}; by that and {}, {believed}, are reckoned with.",
                counted(orders, "order")
            ),
        }
    }
}

fn counted(number: usize, what: &str) -> String {
    match number {
        1 => format!("1 {what}"),
        number => format!("{number} {what}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[track_caller]
    fn check((promised_days, mean_days, orders): (u16, f64, usize), told: &str) {
        assert_eq!(LeadTime { promised_days, mean_days, sd_days: 7.6, orders }.told(), told);
    }

    #[test]
    fn a_promise_is_told_as_it_was_given_and_the_belief_apart() {
        check(
            (20, 21.6, 0),
            "The supplier promises 20 days; no order has shown it yet, so 22 days, give or take 8, are reckoned with.",
        );
        check(
            (1, 9.8, 1),
            "The supplier promises 1 day; by that and 1 order, 10 days, give or take 8, are reckoned with.",
        );
        check(
            (10, 18.2, 12),
            "The supplier promises 10 days; by that and 12 orders, 18 days, give or take 8, are reckoned with.",
        );
    }
}
