//! What a tank's records show: what is learnt of its products, what plants take from it, and where records and readings do
//! not fit.

mod learning;
mod reconciliation;
mod uptake;

pub use learning::{LearntMixture, LearntPart, LearntPh, LearntRise, PhFigure, TankLearning};
pub use reconciliation::{
    BalanceCheck, BalanceDose, BalanceMonth, BalanceRise, BalanceVerdict, MetersApart, MonthBalance,
    TankReconciliation,
};
pub use uptake::{EarlyTankChange, EarlyWhy, LossHow, PerDay, TankLoss, TankTurnover, TankUptake, UptakeEc};

/// A tank's answers are told to the millionth of their unit: a mL in a litre may add a few thousandths of a mS/cm.
fn millionth(value: f64) -> f64 {
    (value * 1e6).round() / 1e6
}
