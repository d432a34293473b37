//! What to count next, and what a difference that a count found may come from.

use chrono::NaiveDate;
use fillmark_domain::stock::{CountKind, DifferenceKind, ProductId, WhyCount};
use fillmark_domain::{Amount, Base, Coded};

use crate::solution::reconcile::{Checked, Verdict, Whose};

/// A dose is measured out to this part (common practice, no source), each for itself.
const MEASURED_TO: f64 = 0.05;

/// Standard deviations within which measuring alone explains a difference.
const SURE: f64 = 2.0;

/// How a product stands in the ledger since it was counted last. What it holds is not in it: who counts is not told.
#[derive(Debug, Clone, PartialEq)]
pub struct Uncounted {
    /// Which product.
    pub product: ProductId,
    /// The last count of all its lots.
    pub counted_on: Option<NaiveDate>,
    /// Whether anything moved in the ledger since.
    pub moved: bool,
    /// What moved, both ways, at what it costs, minor units; none where nothing was ever paid for it.
    pub moved_minor: Option<f64>,
    /// Whether the ledger holds any.
    pub held: bool,
    /// Where it stands, then what it is called: the order of the shelves.
    pub shelf: (String, String),
    /// Whether more was poured than the record held, and nothing has settled that.
    pub short: bool,
}

/// A product to count.
#[derive(Debug, Clone, PartialEq)]
pub struct DueCount {
    /// How it stands.
    pub uncounted: Uncounted,
    /// Why it is next.
    pub why: WhyCount,
}

/// What to count. In full it is all that is held or known to be wrong, in the order of the shelves. Rotating it is so many of those
/// that something happened to, in the order in which counting them tells most: where the record is known to be wrong, where it was
/// never held against the shelf, and then by the value that moved, since each movement may be a slip.
pub fn due_counts(products: Vec<Uncounted>, kind: CountKind, number: u16) -> Vec<DueCount> {
    let asked = |one: &Uncounted| match kind {
        CountKind::Full => one.held || one.short,
        CountKind::Rotating => one.short || one.moved || (one.held && one.counted_on.is_none()),
    };
    let mut due = by_what_it_tells(products.into_iter().filter(asked));
    match kind {
        CountKind::Full => due.sort_by(|one, other| one.uncounted.shelf.cmp(&other.uncounted.shelf)),
        CountKind::Rotating => due.truncate(usize::from(number)),
    }
    due
}

fn by_what_it_tells(products: impl Iterator<Item = Uncounted>) -> Vec<DueCount> {
    let why = |one: &Uncounted| match one.counted_on {
        _ if one.short => WhyCount::Short,
        None => WhyCount::NeverCounted,
        Some(_) => WhyCount::Moved,
    };
    let mut due: Vec<DueCount> =
        products.map(|uncounted| DueCount { why: why(&uncounted), uncounted }).collect();
    due.sort_by(|one, other| {
        let moved = |due: &DueCount| due.uncounted.moved_minor.unwrap_or(0.0);
        let earlier = one.uncounted.counted_on.cmp(&other.uncounted.counted_on);
        let ids = one.uncounted.product.cmp(&other.uncounted.product);
        let place = |due: &DueCount| WhyCount::all().iter().position(|why| *why == due.why);
        place(one).cmp(&place(other)).then(moved(other).total_cmp(&moved(one))).then(earlier).then(ids)
    });
    due
}

/// What a count of a product found, mL (or g).
#[derive(Debug, Clone, PartialEq)]
pub struct Found {
    /// Which product.
    pub product: ProductId,
    /// Counted less what the ledger held: below nought something is missing.
    pub difference: f64,
    /// What was taken out, one by one, since the count before.
    pub taken: Vec<f64>,
    /// Poured since then though the record held nothing of it.
    pub short: f64,
}

impl Found {
    /// Whether measuring out explains all of it.
    pub fn is_measuring(&self) -> bool {
        self.difference.abs() <= self.within()
    }

    fn within(&self) -> f64 {
        SURE * MEASURED_TO * self.taken.iter().map(|taken| taken * taken).sum::<f64>().sqrt()
    }
}

/// What a difference that a count found may come from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum DifferenceCause<'c> {
    /// No more than measuring out so many doses leaves, mL (or g).
    Measuring {
        /// Doses.
        doses: usize,
        /// Within so much.
        within: f64,
    },
    /// The record held too little when it was poured: something had come in without a receipt, mL (or g).
    NotReceived {
        /// Poured beyond the record.
        amount: f64,
    },
    /// What a tank shows is not what was recorded; of how much, where the readings tell, mL (or g) more than the ledger took.
    Tank {
        /// Position of the check in the list given.
        place: usize,
        /// What the readings show.
        check: &'c Checked,
        /// Poured beyond what the ledger took; below nought it was less.
        beyond: Option<f64>,
    },
}

impl DifferenceCause<'_> {
    /// Which kind it is.
    pub const fn kind(&self) -> DifferenceKind {
        match self {
            DifferenceCause::Measuring { .. } => DifferenceKind::Measuring,
            DifferenceCause::NotReceived { .. } => DifferenceKind::NotReceived,
            DifferenceCause::Tank { .. } => DifferenceKind::Tank,
        }
    }

    /// How much of the difference it explains, where that is known, with its sign: below nought it went missing.
    pub fn explains(&self) -> Option<Amount> {
        match self {
            DifferenceCause::Measuring { .. } => None,
            DifferenceCause::NotReceived { amount } => Some(Amount::rounded(*amount)),
            DifferenceCause::Tank { beyond, .. } => beyond.map(|beyond| Amount::rounded(-beyond)),
        }
    }

    /// In a sentence or two. `check` tells what a tank shows.
    pub fn told(&self, base: Base, check: impl Fn(usize) -> String) -> String {
        let amount = |units: f64| format!("{units:.0} {}", base.unit().code());
        match self {
            DifferenceCause::Measuring { doses, within } => format!(
                "Measuring out {doses} doses to a twentieth each may leave {} either way: that explains it.",
                amount(*within)
            ),
            DifferenceCause::NotReceived { amount: short } => format!(
                "{} were poured that the record did not hold: look for a delivery that nobody entered.",
                amount(*short)
            ),
            DifferenceCause::Tank { place, .. } => check(*place),
        }
    }
}

/// What the difference of a count may come from, the surest first: nothing beyond measuring where that explains it all.
pub fn causes<'c>(found: &Found, checks: &'c [Checked]) -> Vec<DifferenceCause<'c>> {
    if found.difference == 0.0 {
        return Vec::new();
    }
    if found.is_measuring() {
        return vec![DifferenceCause::Measuring { doses: found.taken.len(), within: found.within() }];
    }
    let short = (found.short > 0.0 && found.difference > 0.0)
        .then_some(DifferenceCause::NotReceived { amount: found.short });
    let tanks = checks.iter().enumerate().filter_map(|(place, check)| {
        let beyond = beyond(check, found.product)?;
        // What was poured beyond the ledger makes a count find less, and the other way round.
        let fits = match beyond {
            Some(beyond) => beyond * found.difference < 0.0,
            None => found.difference < 0.0 || !matches!(check.verdict, Verdict::UnrecordedAddition { .. }),
        };
        fits.then_some(DifferenceCause::Tank { place, check, beyond })
    });
    let (known, unknown): (Vec<_>, Vec<_>) =
        tanks.partition(|cause| matches!(cause, DifferenceCause::Tank { beyond: Some(_), .. }));
    short.into_iter().chain(known).chain(unknown).collect()
}

/// What a check says was poured of a product beyond what the ledger took, as far as it can say; none where it says nothing of it.
fn beyond(check: &Checked, product: ProductId) -> Option<Option<f64>> {
    let recorded = |whose: &Whose| -> Option<f64> {
        let of_product = |ids: &[fillmark_domain::Id<_>]| -> f64 {
            let poured = check.poured.iter().filter(|dose| dose.product == product && ids.contains(&dose.id));
            poured.map(|dose| dose.amount).sum()
        };
        match whose {
            // Of several it may be another product's: then nothing is known of this one.
            Whose::OneOf(ids) if ids.len() > 1 => None,
            Whose::OneOf(ids) | Whose::All(ids) => Some(of_product(ids)),
        }
    };
    let poured = check.poured.iter().any(|dose| dose.product == product);
    match &check.verdict {
        Verdict::UnitSlip { whose, factor } if poured => {
            Some(recorded(whose).map(|amount| (factor - 1.0) * amount))
        }
        Verdict::NotPoured { whose } if poured => Some(recorded(whose).map(|amount| -amount)),
        Verdict::WrongProduct { poured: other, whose } if *other == product => {
            let of_any = match whose {
                Whose::OneOf(ids) | Whose::All(ids) => {
                    check.poured.iter().filter(|dose| ids.contains(&dose.id))
                }
            };
            Some(Some(of_any.map(|dose| dose.amount).sum()))
        }
        Verdict::WrongProduct { whose, .. } if poured => Some(recorded(whose).map(|amount| -amount)),
        Verdict::UnrecordedAddition { .. } => Some(None),
        Verdict::Unexplained if poured => Some(None),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use chrono::DateTime;
    use fillmark_domain::Id;
    use uuid::Uuid;

    use super::*;
    use crate::solution::reconcile::Dosed;

    fn id<W>(number: u128) -> Id<W> {
        Id::new(Uuid::from_u128(number))
    }

    fn uncounted(product: u128, day: Option<u32>, moved_minor: Option<f64>, short: bool) -> Uncounted {
        let counted_on = day.and_then(|day| NaiveDate::from_ymd_opt(2031, 3, day));
        let shelf = ("store".into(), format!("{}", 9 - product));
        Uncounted {
            product: id(product),
            counted_on,
            moved: moved_minor.is_some(),
            moved_minor,
            held: true,
            shelf,
            short,
        }
    }

    #[test]
    fn the_most_value_that_moved_is_counted_first_after_what_is_known_to_be_wrong() {
        let products = vec![
            uncounted(1, Some(3), Some(900.0), false),
            uncounted(2, Some(3), Some(2_000.0), false),
            uncounted(3, None, None, false),
            uncounted(4, Some(9), Some(1.0), true),
            uncounted(5, Some(9), None, false),
        ];
        let told = |kind, number| -> Vec<(u128, WhyCount)> {
            let due = due_counts(products.clone(), kind, number);
            due.iter().map(|due| (due.uncounted.product.uuid().as_u128(), due.why)).collect()
        };
        let (short, never) = ((4, WhyCount::Short), (3, WhyCount::NeverCounted));
        let moved = |product| (product, WhyCount::Moved);
        assert_eq!(
            told(CountKind::Rotating, 9),
            [short, never, moved(2), moved(1)],
            "nothing happened to the fifth"
        );
        assert_eq!(told(CountKind::Rotating, 1), [short]);
        assert_eq!(told(CountKind::Full, 1), [moved(5), short, never, moved(2), moved(1)], "as they stand");
    }

    /// 100 mL of product 1 (addition 1) and 50 mL of product 2 (addition 2).
    fn checked(verdict: Verdict) -> Checked {
        let dose = |number: u128, amount| Dosed { id: id(number), product: id(number), amount };
        Checked {
            at: DateTime::UNIX_EPOCH,
            poured: vec![dose(1, 100.0), dose(2, 50.0)],
            water: Vec::new(),
            readings: Vec::new(),
            meter: None,
            ph_moved: None,
            rise: None,
            verdict,
        }
    }

    /// What the tanks say was poured of product 1 beyond the ledger, when a count found so much more or less.
    #[track_caller]
    fn check(difference: f64, verdict: Verdict, beyond: &[Option<f64>]) {
        let found = Found { product: id(1), difference, taken: vec![100.0; 4], short: 0.0 };
        let checks = [checked(verdict)];
        let told: Vec<_> = causes(&found, &checks)
            .into_iter()
            .map(|cause| match cause {
                DifferenceCause::Tank { beyond, .. } => beyond,
                other => panic!("{other:?}"),
            })
            .collect();
        assert_eq!(told, beyond);
    }

    #[test]
    fn a_slip_of_a_unit_explains_what_is_missing_and_not_what_was_found() {
        let slip = Verdict::UnitSlip { whose: Whose::OneOf(vec![id(1)]), factor: 10.0 };
        check(-900.0, slip.clone(), &[Some(900.0)]);
        check(900.0, slip, &[]);
    }

    #[test]
    fn the_wrong_bottle_is_missing_of_one_and_found_of_the_other() {
        let whose = Whose::OneOf(vec![id(2)]);
        check(-50.0, Verdict::WrongProduct { whose, poured: id(1) }, &[Some(50.0)]);
        let whose = Whose::OneOf(vec![id(1)]);
        check(100.0, Verdict::WrongProduct { whose, poured: id(2) }, &[Some(-100.0)]);
    }

    #[test]
    fn what_was_recorded_and_not_poured_is_found() {
        check(100.0, Verdict::NotPoured { whose: Whose::All(vec![id(1), id(2)]) }, &[Some(-100.0)]);
        check(100.0, Verdict::NotPoured { whose: Whose::OneOf(vec![id(1), id(2)]) }, &[None]);
    }

    #[test]
    fn what_nobody_recorded_explains_what_is_missing_only() {
        check(-90.0, Verdict::UnrecordedAddition { salt: 10.0 }, &[None]);
        check(90.0, Verdict::UnrecordedAddition { salt: 10.0 }, &[]);
    }

    #[test]
    fn what_measuring_leaves_has_no_other_cause() {
        let found = Found { product: id(1), difference: -20.0, taken: vec![100.0; 4], short: 5.0 };
        let slip = Verdict::UnitSlip { whose: Whose::OneOf(vec![id(1)]), factor: 10.0 };
        assert_eq!(causes(&found, &[checked(slip)]), [DifferenceCause::Measuring { doses: 4, within: 20.0 }]);
    }

    #[test]
    fn what_was_poured_beyond_the_record_had_come_in_without_a_receipt() {
        let found = Found { product: id(1), difference: 60.0, taken: vec![100.0], short: 40.0 };
        assert_eq!(causes(&found, &[]), [DifferenceCause::NotReceived { amount: 40.0 }]);
    }
}
