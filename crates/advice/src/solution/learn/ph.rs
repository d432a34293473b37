//! How a pH answers to what is poured for it.
//!
//! Chemistry says how much of a product a move of the pH takes; what was poured for the move that was seen tells by which
//! factor it is off: the product's strength, the water's alkalinity and the feed's own buffers in one. Each pair is an
//! equation, what chemistry sees in the move = response · what was poured, and the factor is the response's inverse. So the
//! error of the readings stays on one side, and moves that are small against it need not be left out.

use fillmark_domain::Id;
use fillmark_domain::entries::Addition;
use fillmark_domain::stock::ProductId;

use super::fit::{Expected, Fit, fit};
use super::pairs::{Pair, without_slips};
use crate::solution::learnt::Learnt;

/// What chemistry expects a move from one pH to another to take, mL (or g) of the product per litre of the tank; none where the
/// product moves it the other way. It is asked once for each pair, so a table of a titration is better than a titration.
pub type Predicted<'a> = &'a dyn Fn(f64, f64) -> Option<f64>;

/// How a pH answers to a product.
#[derive(Debug, Clone, PartialEq)]
pub struct PhResponse {
    /// The figure, by its kind.
    pub figure: Learnt,
    /// What it is.
    pub kind: PhKind,
    /// How far one fill is from another, as standard deviation of the figure's logarithm.
    pub varies: f64,
}

/// What is known of a product that moves the pH.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PhKind {
    /// A dose is the figure times what chemistry predicts.
    Factor,
    /// The product's strength is not known; the figure is mL (or g) per litre of the tank and unit of pH.
    PerUnit {
        /// Whether it lowers the pH.
        lowers: bool,
    },
}

/// A pH pen shows it to this (common practice, no source).
pub(in crate::solution) const READ_TO_PH: f64 = 0.05;
/// Spread of the factor before any record: tests of alkalinity by drops count in steps of about a tenth to a fifth of it, the
/// carbon dioxide that water has lost is not measured, and labels round (our own judgement).
const CHEMISTRY_SPREAD: f64 = 0.25;
/// What the same move takes from fill to fill, jug and feed together (our own judgement).
const VARIES: f64 = 0.1;
/// What a pH climbs in a day by itself, as carbon dioxide leaves and plants feed (common practice, no source).
const DRIFT_A_DAY: f64 = 0.15;
/// A titration's slope is taken over so much of pH at least.
const SLOPE_OVER: f64 = 0.2;
/// Of a product of unknown strength fewer than so many observations say nothing: one of them may be a slip, and the other two
/// have to agree.
const FEWEST: usize = 3;
/// What nothing is known of may be so many times as much as it seems.
const WIDE: f64 = 10.0;

/// Learns from pairs of pH readings of all tanks that share a water, of which those tell where this product alone was
/// poured. `predicted` is none for a product of unknown strength, of which nothing is known before three pairs.
pub fn ph_response(
    pairs: &[Pair],
    product: ProductId,
    predicted: Option<Predicted<'_>>,
) -> Option<PhResponse> {
    let mut pairs = without_slips(pairs);
    pairs.retain(|pair| pair.is_of_alone(product));
    match predicted {
        Some(predicted) => Some(factor(&moves(&pairs, |from, to| taken(predicted, from, to)))),
        None => per_unit(moves(&pairs, |from, to| Some(from - to))),
    }
}

impl Pair {
    fn is_of_alone(&self, product: ProductId) -> bool {
        self.water_l == 0.0 && self.poured.iter().all(|dose| dose.product == product)
    }
}

/// What chemistry sees in a move: negative, as by an error of reading, where the product moves it the other way.
fn taken(predicted: Predicted<'_>, from: f64, to: f64) -> Option<f64> {
    if (from - to).abs() < 1e-9 {
        return Some(0.0);
    }
    predicted(from, to).or_else(|| predicted(to, from).map(|back| -back))
}

/// What a pair tells of a response.
struct Move {
    /// What a full response would have taken, mL (or g) or, of unknown strength, litres times pH.
    seen: f64,
    /// Its standard deviation by the readings.
    read: f64,
    poured: f64,
    /// Spread of the litres, as part of them.
    litres: f64,
    additions: Vec<Id<Addition>>,
}

fn moves(pairs: &[&Pair], taken: impl Fn(f64, f64) -> Option<f64>) -> Vec<Move> {
    let of = |pair: &&Pair| {
        let (from, to) = (pair.before.value, pair.after.value);
        let seen = taken(from, to)?;
        let gap = (from - to).abs();
        let slope = if gap < SLOPE_OVER {
            let (middle, half) = (0.5 * (from + to), 0.5 * SLOPE_OVER);
            taken(middle + half, middle - half)? / SLOPE_OVER
        } else {
            seen / gap
        };
        let litres = pair.litres.litres;
        let read = (READ_TO_PH * std::f64::consts::SQRT_2).hypot(DRIFT_A_DAY * pair.days());
        Some(Move {
            seen: seen * litres,
            read: (slope * read * litres).abs(),
            poured: pair.poured.iter().map(|dose| dose.amount).sum(),
            litres: pair.litres.spread_l / litres,
            additions: pair.poured.iter().map(|dose| dose.id).collect(),
        })
    };
    pairs.iter().filter_map(of).collect()
}

fn factor(moves: &[Move]) -> PhResponse {
    let expected = Expected { mean: 1.0, sd: CHEMISTRY_SPREAD, start: 1.0 };
    let fit = fitted(moves, expected);
    // What chemistry is sure of to a quarter is not off by twenty times.
    let response = fit.values[0].max(0.05);
    PhResponse { figure: inverse(response, &fit, moves), kind: PhKind::Factor, varies: VARIES * fit.scale }
}

fn per_unit(mut moves: Vec<Move>) -> Option<PhResponse> {
    if moves.len() < FEWEST {
        return None;
    }
    let mut tells: Vec<f64> = moves.iter().map(|of| of.seen / of.poured).collect();
    tells.sort_by(f64::total_cmp);
    let middle = tells[tells.len() / 2];
    if middle == 0.0 {
        return None;
    }
    let lowers = middle > 0.0;
    if !lowers {
        moves.iter_mut().for_each(|of| of.seen = -of.seen);
    }
    let start = middle.abs();
    let fit = fitted(&moves, Expected { mean: start, sd: WIDE * start, start });
    let figure = inverse(fit.values[0], &fit, &moves);
    // A response that may be none is no response.
    let told = fit.values[0] > fit.sum(&[1.0]).half && figure.records.len() >= FEWEST;
    told.then_some(PhResponse { figure, kind: PhKind::PerUnit { lowers }, varies: VARIES * fit.scale })
}

fn fitted(moves: &[Move], expected: Expected) -> Fit {
    fit(&[expected], moves.len(), |at, response, slopes| {
        let of = &moves[at];
        let answered = response[0] * of.poured;
        let varied = answered.powi(2) * (VARIES.powi(2) + of.litres.powi(2));
        let sd = (of.read.powi(2) + varied).sqrt();
        slopes[0] = of.poured / sd;
        (of.seen - answered) / sd
    })
}

/// One divided by a response, with its interval in logarithms.
fn inverse(response: f64, fit: &Fit, moves: &[Move]) -> Learnt {
    let sum = fit.sum(&[1.0]);
    let (value, by) = (1.0 / response, (sum.half / response).exp());
    let kept = moves.iter().zip(&fit.kept).filter(|(_, kept)| **kept);
    let records = kept.flat_map(|(of, _)| of.additions.iter().copied()).collect();
    Learnt { value, low: value / by, high: value * by, prior_share: sum.prior_share, records }
}
