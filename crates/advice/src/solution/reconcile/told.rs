//! What a check makes of a tank's records, as a person is told it: the likely cause, and what to look at.

use fillmark_domain::Base;
use fillmark_domain::entries::{Addition, Meter};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Coded, Id, Metric};

use super::{Apart, Checked, Dosed, LastApart, Month, MonthVerdict, Rise, Verdict, Whose};
use crate::solution::fill::told::three_figures;

/// What a product is called, and what it is counted in.
#[derive(Debug, Clone, PartialEq)]
pub struct Called {
    /// Its name.
    pub name: String,
    /// mL or g.
    pub base: Base,
}

impl Called {
    fn amount(&self, units: f64) -> String {
        format!("{} {} of {}", three_figures(units), self.base.unit().code(), self.name)
    }
}

impl Checked {
    /// In a sentence or two. `called` tells of a product.
    pub fn told(&self, called: impl Fn(ProductId) -> Called) -> String {
        let dose = |dose: &Dosed| called(dose.product).amount(dose.amount);
        let whose = |whose: &Whose| self.told_whose(whose, dose);
        let seen = self.rise.map(Rise::told).unwrap_or_default() + &self.told_ph();
        match &self.verdict {
            Verdict::Agrees => "The readings show what is recorded, as far as they can.".into(),
            Verdict::NotObserved => {
                "No EC was read soon before it and again once it had mixed, with one meter and without a change of the tank in \
                 between: then it would show."
                    .into()
            }
            Verdict::RiseUnknown(product) => {
                format!("Nothing tells what EC {} adds, neither its label nor records.", called(*product).name)
            }
            Verdict::EarlierLabel(product) => format!(
                "The label of {} has been revised since: what it added then is not held against what it adds now.",
                called(*product).name
            ),
            Verdict::UnitSlip { whose: of, factor } => format!(
                "{seen}That fits {} what is recorded of {}: a slip of a unit or of the decimal point. Look at that entry, and \
                 correct the amount.",
                times(*factor),
                whose(of)
            ),
            Verdict::WrongProduct { whose: of, poured } => format!(
                "{seen}That fits {} poured in the place of {}. Look at the bottle and at that entry.",
                called(*poured).name,
                whose(of)
            ),
            Verdict::NotPoured { whose: of } => format!(
                "{seen}That fits a tank that did not get {}. Ask who entered it, and look whether it was entered twice.",
                whose(of)
            ),
            Verdict::UnrecordedAddition { salt } => format!(
                "{seen}Something that adds {} mS/cm·L was poured without a record. Ask who was at the tank meanwhile, and enter it.",
                three_figures(*salt)
            ),
            Verdict::UnrecordedWater { litres } => format!(
                "{seen}That fits {} L of water filled in without a record. Ask who was at the tank between the two readings, and \
                 enter it.",
                three_figures(*litres)
            ),
            Verdict::MeterOut { factor, .. } => format!(
                "{seen}All that this meter reads is about {} times what it should be, and others agree with the records. Clean \
                 and calibrate it.",
                three_figures(*factor)
            ),
            Verdict::MeterOrProducts { factor, .. } => format!(
                "{seen}All that this meter reads of what was poured is about {} times what it should be, and too little was read \
                 with another to tell whether that is the meter or the products. Hold it against a standard first; if it is right there, look at the \
                 labels, the bottles and how the doses are measured out.",
                three_figures(*factor)
            ),
            Verdict::Unexplained => format!(
                "{seen}No usual mistake explains that. Look at both readings and at what was entered between them, and measure \
                 again."
            ),
        }
    }

    fn told_ph(&self) -> String {
        let told = |moved: f64| {
            let went = if moved < 0.0 { "fell" } else { "rose" };
            format!("The pH {went} by {:.1}. ", moved.abs())
        };
        self.ph_moved.map(told).unwrap_or_default()
    }

    fn told_whose(&self, whose: &Whose, dose: impl Fn(&Dosed) -> String) -> String {
        let doses = |these: &[Id<Addition>]| {
            these.iter().filter_map(|id| self.poured.iter().find(|one| one.id == *id)).map(&dose).collect()
        };
        let (named, joint): (Vec<String>, &str) = match whose {
            Whose::OneOf(these) => (doses(these), " or "),
            Whose::All(these) => (doses(these), " and "),
        };
        if named.is_empty() { "the water filled in".into() } else { named.join(joint) }
    }
}

impl Rise {
    fn told(self) -> String {
        let Rise { expected, observed, spread, .. } = self;
        let moved = if observed < 0.0 { "fell" } else { "rose" };
        format!(
            "The EC {moved} by {:.2} mS/cm, where by the records a change of {expected:+.2} was expected (give or take \
             {spread:.2}). ",
            observed.abs()
        )
    }
}

impl Month {
    /// In a sentence; `moves_ph` tells whether it is poured for the pH and hardly moves the EC.
    pub fn told(&self, called: &Called, moves_ph: bool) -> String {
        let (drawn, shown) = (called.amount(self.drawn), three_figures(self.shown.value));
        let (spread, untold) = (three_figures(self.shown.spread), three_figures(self.unobserved));
        match self.verdict {
            MonthVerdict::Closes if self.unobserved > 0.0 => format!(
                "{drawn} were drawn, and the tank shows {shown} (give or take {spread}), of which {untold} stand on the record \
                 alone: it closes."
            ),
            MonthVerdict::Closes => {
                format!("{drawn} were drawn, and the tank shows {shown} (give or take {spread}): it closes.")
            }
            MonthVerdict::NotObserved if moves_ph => format!(
                "{drawn} were drawn, and it moves the EC too little to tell of {untold} of it whether the tank got it; the pH before and \
                 after each may."
            ),
            MonthVerdict::NotObserved => format!(
                "{drawn} were drawn, and no reading tells of {untold} of it whether the tank got it: read EC before and half an \
                 hour after it is poured."
            ),
            MonthVerdict::MoreDrawn => format!(
                "{drawn} were drawn, and the tank shows no more than {shown} (give or take {spread}): spilt, measured in another \
                 unit, or used elsewhere."
            ),
            MonthVerdict::MoreShown => format!(
                "{drawn} were drawn, and the tank shows {shown} (give or take {spread}): taken from stock without a record, \
                 or entered too small."
            ),
        }
    }
}

impl Apart {
    /// In a sentence or two. `called` gives the name of a meter.
    pub fn told(&self, called: impl Fn(Id<Meter>) -> String) -> String {
        let [one, other] = self.meters.map(called);
        let shows = match self.metric {
            Metric::Ph => format!("{one} shows a pH {:.2} above that of {other}", self.by),
            _ => format!("{one} shows {:.0} % more EC than {other}", (self.by - 1.0) * 100.0),
        };
        format!(
            "{shows} in the same tank, by {} pairs of readings within {} hours of each other: one of them is out. Hold both against \
             a standard, and read with one until then.",
            self.readings.len(),
            super::apart::TOGETHER.num_hours()
        )
    }
}

impl LastApart {
    /// In a sentence or two, with the names of its meters.
    pub fn told(&self, last: &str, before: &str) -> String {
        let shown = |value: f64| match self.metric {
            Metric::Ph => format!("pH {value:.2}"),
            _ => format!("{value:.2} mS/cm"),
        };
        format!(
            "{last} shows {} where {before} showed {} shortly before: one of them is out. Hold both against a standard before \
             anything is poured by either.",
            shown(self.values[0]),
            shown(self.values[1])
        )
    }
}

fn times(factor: f64) -> String {
    if factor >= 1.0 {
        format!("{} times", three_figures(factor))
    } else {
        format!("one part in {} of", three_figures(factor.recip()))
    }
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;

    use super::*;
    use crate::solution::simulated::product;

    fn checked(verdict: Verdict) -> Checked {
        let one = |id: u128, product, amount| Dosed { id: addition(id), product, amount };
        let rise = Rise { expected: 250.0, observed: 0.25, spread: 3.0, by_products: 250.0, brought: 250.0 };
        Checked {
            at: DateTime::UNIX_EPOCH,
            poured: vec![one(1, product(1), 200_000.0), one(2, product(2), 4.5)],
            water: Vec::new(),
            readings: Vec::new(),
            meter: None,
            ph_moved: None,
            rise: Some(rise),
            verdict,
        }
    }

    fn addition(id: u128) -> Id<Addition> {
        Id::new(uuid::Uuid::from_u128(id))
    }

    #[track_caller]
    fn check(verdict: Verdict, part: &str) {
        let called = |of: ProductId| match of == product(1) {
            true => Called { name: "Grow A".into(), base: Base::Volume },
            false => Called { name: "Epsom salt".into(), base: Base::Mass },
        };
        let told = checked(verdict).told(called);
        assert!(told.contains(part), "{told}");
    }

    #[test]
    fn a_mistake_is_told_with_what_was_entered() {
        let of = |ids: &[u128]| ids.iter().map(|id| addition(*id)).collect::<Vec<_>>();
        let slip = |whose, factor| Verdict::UnitSlip { whose, factor };
        check(
            slip(Whose::OneOf(of(&[1])), 0.001),
            "one part in 1000 of what is recorded of 200000 mL of Grow A",
        );
        check(
            slip(Whose::All(of(&[1, 2])), 3.785_41),
            "3.79 times what is recorded of 200000 mL of Grow A and 4.5 g of",
        );
        check(slip(Whose::All(of(&[9])), 10.0), "10 times what is recorded of the water filled in");
        let other = Verdict::WrongProduct { whose: Whose::OneOf(of(&[2])), poured: product(1) };
        check(other, "Grow A poured in the place of 4.5 g of Epsom salt");
        check(Verdict::NotPoured { whose: Whose::OneOf(of(&[1, 2])) }, "200000 mL of Grow A or 4.5 g");
        check(Verdict::Unexplained, "rose by 0.25 mS/cm, where by the records a change of +250.00");
    }
}
