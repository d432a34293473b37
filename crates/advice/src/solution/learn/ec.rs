//! How much EC products add.
//!
//! Salt is counted as EC times volume: EC1·V1 − EC0·V0 − EC of the water·water = Σ rise·amount. Products that are poured
//! together are told apart by how their proportions vary, and where those do not, by the priors: the sum is known then,
//! the parts are not, and [`EcRises::of_mixture`] says so.

use std::collections::BTreeMap;

use fillmark_domain::Id;
use fillmark_domain::entries::Addition;
use fillmark_domain::stock::ProductId;

use super::fit::{Expected, Fit, fit};
use super::pairs::{Pair, without_slips};
use crate::solution::learnt::Learnt;
use crate::solution::record::{DRIFT_A_DAY, READ_TO_EC};

/// What a product is expected to add before any record.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct EcPrior {
    /// EC that one mL (or g) in a litre adds, mS/cm.
    pub rise: f64,
    /// Its standard deviation as part of it.
    pub spread: f64,
}

impl EcPrior {
    /// As a label tells it, or chemistry from a label's analysis. Measured salts come out within a few per cent, but labels
    /// round, declare what is guaranteed rather than what is there, and leave out counter-ions (our own judgement).
    pub const fn of_label(rise: f64) -> EcPrior {
        EcPrior { rise, spread: 0.15 }
    }
}

/// EC that products add, learnt together.
#[derive(Debug, Clone)]
pub struct EcRises {
    products: Vec<Known>,
    fit: Fit,
    salts: Vec<Salts>,
}

/// A product, and what was expected of it.
type Known = (ProductId, Option<EcPrior>);

/// A dry salt adds up to about 1.5 mS/cm at 1 g/L, a concentrate less at 1 mL/L than the salts it was made of: what is taken
/// for possible of a product that nothing is known of (our own judgement).
const UNKNOWN: EcPrior = EcPrior { rise: 0.6, spread: 1.7 };
/// A rise of nought is not known to the last digit, mS/cm.
const SMALLEST_SPREAD: f64 = 0.01;
/// And to a thousandth of a mS/cm at best, mS/cm: a dead pen that shows nought is not exact (common practice, no source).
const READ_AT_BEST: f64 = 0.001;
/// A jug or scale measures to this part (common practice, no source).
const MEASURED_TO: f64 = 0.03;

/// Learns from pairs of EC readings of all tanks that share a water, whose EC in mS/cm is given. A product that is poured
/// without a prior is learnt from nothing but its records.
pub fn ec_rises(pairs: &[Pair], water_ec_ms_cm: f64, priors: &[(ProductId, Option<EcPrior>)]) -> EcRises {
    let pairs = without_slips(pairs);
    let products = products(&pairs, priors);
    let salts: Vec<Salts> = pairs.iter().map(|pair| Salts::of(pair, water_ec_ms_cm, &products)).collect();
    let expected = expected(&products, &salts);
    let fit = fit(&expected, salts.len(), |pair, rises, slopes| salts[pair].look(rises, slopes));
    EcRises { products, fit, salts }
}

impl EcRises {
    /// EC that one mL (or g) in a litre adds, mS/cm; none of a product that neither a prior nor a record tells of.
    pub fn of(&self, product: ProductId) -> Option<Learnt> {
        self.of_mixture(&[(product, 1.0)])
    }

    /// EC that so much of several products adds in a litre together, mS/cm.
    pub fn of_mixture(&self, parts: &[(ProductId, f64)]) -> Option<Learnt> {
        let mut weights = vec![0.0; self.products.len()];
        for (product, amount) in parts {
            let at = self.products.iter().position(|(of, _)| of == product)?;
            let recorded = self.kept().any(|salts| salts.poured[at] > 0.0);
            if self.products[at].1.is_none() && !recorded {
                return None;
            }
            weights[at] += amount;
        }
        let sum = self.fit.sum(&weights);
        let additions = self.kept().flat_map(|salts| &salts.additions);
        let records = additions.filter(|(at, _)| weights[*at] > 0.0).map(|(_, id)| *id).collect();
        Some(Learnt {
            value: sum.value.max(0.0),
            low: (sum.value - sum.half).max(0.0),
            high: (sum.value + sum.half).max(0.0),
            prior_share: sum.prior_share,
            records,
        })
    }

    fn kept(&self) -> impl Iterator<Item = &Salts> {
        self.salts.iter().zip(&self.fit.kept).filter(|(_, kept)| **kept).map(|(salts, _)| salts)
    }
}

/// All that are asked about or poured, by their ids, so that sums come out the same in whatever order they are asked.
fn products(pairs: &[&Pair], priors: &[Known]) -> Vec<Known> {
    let poured = pairs.iter().flat_map(|pair| &pair.poured).map(|dose| (dose.product, None));
    let mut products: BTreeMap<ProductId, Option<EcPrior>> = poured.collect();
    products.extend(priors.iter().copied());
    products.into_iter().collect()
}

/// Where nothing is known of a product the search starts from what its pairs say by themselves.
fn expected(products: &[Known], salts: &[Salts]) -> Vec<Expected> {
    let (unknown, known): (Vec<usize>, Vec<usize>) =
        (0..products.len()).partition(|at| products[*at].1.is_none());
    let of_unknown = |salts: &Salts| {
        let explained: f64 =
            known.iter().map(|at| salts.poured[*at] * products[*at].1.map_or(0.0, |of| of.rise)).sum();
        let amount: f64 = unknown.iter().map(|at| salts.poured[*at]).sum();
        (amount > 0.0).then(|| (salts.added - explained) / amount)
    };
    let mut tells: Vec<f64> = salts.iter().filter_map(of_unknown).collect();
    tells.sort_by(f64::total_cmp);
    let start = tells.get(tells.len() / 2).map_or(UNKNOWN.rise, |middle| middle.max(0.0));
    let of = |(_, prior): &Known| {
        let EcPrior { rise, spread } = prior.unwrap_or(UNKNOWN);
        let sd = (rise * spread).abs().max(SMALLEST_SPREAD);
        Expected { mean: rise, sd, start: if prior.is_some() { rise } else { start } }
    };
    products.iter().map(of).collect()
}

/// What a pair tells of salt, mS/cm times L.
#[derive(Debug, Clone)]
struct Salts {
    /// That products added.
    added: f64,
    /// That was there before, with the water's.
    before: f64,
    ec_before: f64,
    litres_after: f64,
    /// Standard deviation of the litres.
    spread_l: f64,
    /// Standard deviation of the readings, and of what plants did.
    read: f64,
    /// Of each product in its order.
    poured: Vec<f64>,
    /// With each product's place.
    additions: Vec<(usize, Id<Addition>)>,
}

impl Salts {
    fn of(pair: &Pair, water_ec_ms_cm: f64, products: &[Known]) -> Salts {
        let litres_after = pair.litres_after();
        let (first, last) = (pair.before.value * pair.litres.litres, pair.after.value * litres_after);
        let before = first + water_ec_ms_cm * pair.water_l;
        let (mut poured, mut additions) = (vec![0.0; products.len()], Vec::new());
        for dose in &pair.poured {
            // Every product that is poured is among them.
            if let Ok(at) = products.binary_search_by_key(&dose.product, |(of, _)| *of) {
                poured[at] += dose.amount;
                additions.push((at, dose.id));
            }
        }
        // By the mean of both readings, whose error has nothing to do with that of their difference: a weight by either of them
        // would favour the pairs that err to one side.
        let read =
            0.5 * (first + last) * (READ_TO_EC * std::f64::consts::SQRT_2).hypot(DRIFT_A_DAY * pair.days());
        Salts {
            added: last - before,
            before,
            ec_before: pair.before.value,
            litres_after,
            spread_l: pair.litres.spread_l,
            read,
            poured,
            additions,
        }
    }

    /// A larger tank than was thought needs so much more of everything, and a jug errs by a part of what it measures. Both are
    /// parts of what the figures say was added, not of what seems to have been: then a slip of unit stays far off, however
    /// large it is, and no pair is favoured for its error.
    fn look(&self, rises: &[f64], slopes: &mut [f64]) -> f64 {
        let (mut added, mut measured) = (0.0, 0.0);
        for (rise, amount) in rises.iter().zip(&self.poured) {
            added += rise * amount;
            measured += (MEASURED_TO * rise * amount).powi(2);
        }
        let rise = (self.before + added) / self.litres_after - self.ec_before;
        let read = self.read.powi(2) + (READ_AT_BEST * self.litres_after).powi(2);
        let sd = (read + (self.spread_l * rise).powi(2) + measured).sqrt();
        slopes.iter_mut().zip(&self.poured).for_each(|(slope, amount)| *slope = amount / sd);
        (self.added - added) / sd
    }
}
