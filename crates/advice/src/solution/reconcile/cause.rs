//! The likeliest cause of a difference: each usual mistake says what the readings would show, and those that show it are
//! weighed by how common they are and by how well they fit.

use fillmark_domain::Id;
use fillmark_domain::entries::Addition;
use fillmark_domain::stock::ProductId;

use super::group::{Dose, Group};
use super::{Known, Outcome, Supposed, Verdict, Whose};
use crate::solution::balance::spread_of;
use crate::solution::uptake::SURE;

/// Within so many standard deviations of what a mistake would show it explains a reading (our own judgement).
const FITS: f64 = 2.5;

/// A product of which little is known agrees with anything; an EC that should be so many times what is read is a slip all the
/// same (our own judgement).
const ABSURD: f64 = 10.0;

/// An entry without a deed is of an amount that somebody might have poured: of an absurd one it is so many times as common (our
/// own judgement).
const NO_DEED_IF_ABSURD: f64 = 0.1;

/// Two additions are told apart when the mistake in one is so many times likelier than in the other (our own judgement).
const TOLD_APART: f64 = 20.0;

/// How common mistakes are among each other (our own judgement, no source): a factor of a thousand, of ten, and of another
/// unit; another bottle; an entry without a deed; a deed without an entry beside one that has it.
const THOUSAND: f64 = 0.15;
const TEN: f64 = 0.10;
const OTHER_UNIT: f64 = 0.15;
const OTHER_PRODUCT: f64 = 0.25;
const NO_DEED: f64 = 0.10;
const NO_ENTRY: f64 = 0.05;

/// What is poured without a record raises the EC by anything up to this, mS/cm, one as likely as the other (our own judgement).
const UNRECORDED_TO_MS_CM: f64 = 2.0;

/// Litre and millilitre, kilogram and gram; then a decimal point; then US gallon and litre, fluid ounce, tablespoon and teaspoon
/// in mL, ounce and pound in g (NIST Handbook 44, appendix C).
const LIQUID_UNITS: &[f64] = &[3.785_41, 29.573_5, 14.786_8, 4.928_92];
const DRY_UNITS: &[f64] = &[28.349_5, 453.592];
const WATER_UNITS: &[f64] = &[3.785_41];

/// The verdict on a group that was seen, from what the reading after should show by what is recorded.
pub(super) fn verdict(
    group: &Group,
    recorded: &[Supposed],
    outcome: Option<Outcome>,
    known: &Known<'_>,
) -> Verdict {
    let water_ec_ms_cm = known.water_ec_ms_cm;
    let Some(seen) = &group.seen else { return Verdict::NotObserved };
    let after = seen.after.ec_ms_cm;
    let far = |outcome: Outcome| outcome.far(after);
    let agrees = |outcome: Outcome| far(outcome).abs() <= SURE && outcome.ec_ms_cm <= ABSURD * after;
    if outcome.is_some_and(agrees) {
        return Verdict::Agrees;
    }
    let likeliness = |mistake: &Mistake| {
        let outcome = group.outcome(&mistake.supposed, mistake.water_l, water_ec_ms_cm)?;
        let off = far(outcome);
        (off.abs() <= FITS)
            .then(|| mistake.prior.ln() - 0.5 * off * off - (outcome.spread * ROOT_TWO_PI).ln())
    };
    let absurd = outcome.is_some_and(|outcome| outcome.ec_ms_cm > ABSURD * after);
    let no_deed = NO_DEED * if absurd { NO_DEED_IF_ABSURD } else { 1.0 };
    let mistakes = mistakes(group, recorded, known, no_deed).into_iter();
    let mut fitting: Vec<(f64, Mistake)> =
        mistakes.filter_map(|mistake| Some((likeliness(&mistake)?, mistake))).collect();
    fitting.sort_by(|one, other| other.0.total_cmp(&one.0));
    let without = unrecorded(group, outcome, water_ec_ms_cm);
    match (fitting.first(), without) {
        (Some((likely, _)), Some(without)) if *likely < (NO_ENTRY / UNRECORDED_TO_MS_CM).ln() => without,
        (Some((likely, best)), _) => best.verdict(*likely, &fitting),
        (None, Some(without)) => without,
        (None, None) => Verdict::Unexplained,
    }
}

const ROOT_TWO_PI: f64 = 2.506_628_274_631_000_5;

/// What would explain a difference with no entry of its own. Water is told only where nothing else was done.
fn unrecorded(group: &Group, outcome: Option<Outcome>, water_ec_ms_cm: f64) -> Option<Verdict> {
    let seen = group.seen.as_ref()?;
    let (after, litres) = (seen.after.ec_ms_cm, seen.litres.litres);
    let more = after - outcome?.ec_ms_cm;
    if more > 0.0 {
        return Some(Verdict::UnrecordedAddition { salt: more * litres });
    }
    let idle = group.doses.is_empty() && group.water.is_empty();
    (idle && after > water_ec_ms_cm)
        .then(|| Verdict::UnrecordedWater { litres: -more * litres / (after - water_ec_ms_cm) })
}

/// A mistake that may have been made.
struct Mistake {
    kind: Kind,
    whose: Whose,
    prior: f64,
    supposed: Vec<Supposed>,
    water_l: f64,
}

/// What kind of mistake.
#[derive(Clone, Copy, PartialEq)]
enum Kind {
    Slip(f64),
    NotPoured,
    Other(ProductId),
}

impl Mistake {
    /// Its verdict, with the additions beside it that may as well have had the same one.
    fn verdict(&self, likely: f64, fitting: &[(f64, Mistake)]) -> Verdict {
        let whose = match &self.whose {
            Whose::All(these) => Whose::All(these.clone()),
            Whose::OneOf(_) => {
                let same = fitting
                    .iter()
                    .filter(|(other, mistake)| mistake.kind == self.kind && likely - other < TOLD_APART.ln());
                let ids = same.filter_map(|(_, mistake)| match &mistake.whose {
                    Whose::OneOf(these) => Some(these.clone()),
                    Whose::All(_) => None,
                });
                Whose::OneOf(ids.flatten().collect())
            }
        };
        match self.kind {
            Kind::Slip(factor) => Verdict::UnitSlip { whose, factor },
            Kind::NotPoured => Verdict::NotPoured { whose },
            Kind::Other(poured) => Verdict::WrongProduct { whose, poured },
        }
    }
}

fn mistakes(group: &Group, recorded: &[Supposed], known: &Known<'_>, no_deed: f64) -> Vec<Mistake> {
    let mut all = Vec::new();
    let each = (0..recorded.len()).map(|one| vec![one]);
    let together = (recorded.len() > 1).then(|| (0..recorded.len()).collect::<Vec<usize>>());
    let scopes: Vec<Vec<usize>> = each.chain(together).collect();
    let share = 1.0 / (scopes.len() + usize::from(!group.water.is_empty())).max(1) as f64;
    for scope in &scopes {
        let liquid = scope.iter().all(|one| recorded[*one].liquid);
        for (factor, prior) in factors(if liquid { LIQUID_UNITS } else { DRY_UNITS }) {
            let slip = scaled(group, recorded, scope, factor);
            all.push(Mistake { kind: Kind::Slip(factor), prior: prior * share, ..slip });
        }
        // What was not poured did not move the pH either.
        if !scope.iter().any(|one| known.ph.unexplained_by(group.doses[*one].product)) {
            all.push(Mistake { prior: no_deed * share, ..scaled(group, recorded, scope, 0.0) });
        }
    }
    if !group.water.is_empty() {
        let whose = Whose::All(group.water.iter().map(|(id, _)| *id).collect());
        all.extend(factors(WATER_UNITS).map(|(factor, prior)| Mistake {
            kind: Kind::Slip(factor),
            whose: whose.clone(),
            prior: prior * share,
            supposed: recorded.to_vec(),
            water_l: group.water_l() * factor,
        }));
    }
    for (one, dose) in group.doses.iter().enumerate() {
        all.extend(other_products(group, recorded, known, one, dose));
    }
    all
}

/// Factors of poured by recorded, either way, and how common they are.
fn factors(units: &[f64]) -> impl Iterator<Item = (f64, f64)> + use<'_> {
    let other = OTHER_UNIT / units.len() as f64;
    let all =
        [(1000.0, THOUSAND), (10.0, TEN)].into_iter().chain(units.iter().map(move |unit| (*unit, other)));
    all.flat_map(|(factor, prior)| [(factor, prior / 2.0), (factor.recip(), prior / 2.0)])
}

/// Some of the doses poured so many times as recorded; nought times is not at all.
fn scaled(group: &Group, recorded: &[Supposed], scope: &[usize], factor: f64) -> Mistake {
    let mut supposed = recorded.to_vec();
    for one in scope {
        supposed[*one].amount *= factor;
    }
    let ids: Vec<Id<Addition>> = scope.iter().map(|one| group.doses[*one].id).collect();
    let whose = if scope.len() == 1 { Whose::OneOf(ids) } else { Whose::All(ids) };
    Mistake { kind: Kind::NotPoured, whose, prior: 0.0, supposed, water_l: group.water_l() }
}

/// Any other known product in the place of one.
fn other_products<'a>(
    group: &'a Group,
    recorded: &'a [Supposed],
    known: &'a Known<'_>,
    one: usize,
    dose: &'a Dose,
) -> impl Iterator<Item = Mistake> + use<'a> {
    let rises = known.rises;
    let others = rises.iter().filter(|(product, _)| **product != dose.product);
    let others = others.filter(|(product, _)| known.ph.allows(**product, dose.product));
    let count = (rises.len().saturating_sub(1) * group.doses.len()).max(1);
    others.map(move |(product, rise)| {
        let mut supposed = recorded.to_vec();
        supposed[one].rise = rise.value;
        supposed[one].rise_spread = spread_of(rise);
        let (kind, whose) = (Kind::Other(*product), Whose::OneOf(vec![dose.id]));
        Mistake { kind, whose, prior: OTHER_PRODUCT / count as f64, supposed, water_l: group.water_l() }
    })
}
