//! A tank's records held against its readings.

use fillmark_advice::solution::reconcile as answers;
use fillmark_domain::Base;
use fillmark_domain::stock::ProductId;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::millionth;
use crate::{Code, Instant, Metric, Quantity};

/// What a tank's readings make of its records. Nothing is corrected by it: a person looks, and corrects.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TankReconciliation {
    /// Which tank.
    pub tank_id: Uuid,
    /// Since when.
    pub from_at: Instant,
    /// Until when.
    pub until_at: Instant,
    /// What was put in from reading to reading, or nothing, and what came of it; the earliest first.
    #[schema(max_items = 100000)]
    pub checks: Vec<BalanceCheck>,
    /// Meters that do not show the same of this tank.
    #[schema(max_items = 10000)]
    pub meters_apart: Vec<MetersApart>,
    /// Products by month of the site, as far as the month lies between the two instants.
    #[schema(max_items = 100000)]
    pub months: Vec<BalanceMonth>,
    /// What the answer rests on.
    #[schema(max_items = 40)]
    pub reasons: Vec<String>,
    /// What to keep in mind.
    #[schema(max_items = 40)]
    pub cautions: Vec<String>,
}

/// What was put in between two readings of the EC, or nothing, and what came of it. `verdict` says which of the facts tell
/// more.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BalanceCheck {
    /// When: of the reading after, or of the first addition where there is none.
    pub at: Instant,
    /// Products poured.
    #[schema(max_items = 100000)]
    pub poured: Vec<BalanceDose>,
    /// Water filled in.
    #[schema(max_items = 100000)]
    pub water_addition_ids: Vec<Uuid>,
    /// The readings before and after; of a tank filled afresh with water of known EC the one after; none where the additions were not
    /// observed.
    #[schema(max_items = 2)]
    pub reading_ids: Vec<Uuid>,
    /// The meter of the reading after, where kept.
    pub meter_id: Option<Uuid>,
    /// What came of it; null where readings or rises cannot tell.
    pub rise: Option<BalanceRise>,
    /// What to make of it.
    pub verdict: BalanceVerdict,
    /// Of `unit_slip`, `wrong_product` and `not_poured`: in which additions, the likeliest first.
    #[schema(max_items = 100000)]
    pub mistaken_addition_ids: Vec<Uuid>,
    /// Of the same: whether it is in all of them; else in one, which readings may not tell from the others.
    pub in_all: Option<bool>,
    /// Of `unit_slip`: poured by recorded. Of `meter_out` and `meter_or_products`: what the meter shows by what is recorded.
    #[schema(minimum = 0, maximum = 1e12)]
    pub factor: Option<f64>,
    /// Of `wrong_product`: the likeliest that was poured. Of `rise_unknown`: the one that does not say what it adds. Of `earlier_label`: the one whose label was revised.
    pub product_id: Option<Uuid>,
    /// Of `unrecorded_addition`: what it brought, mS/cm times L.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub salt_ms_cm_l: Option<f64>,
    /// Of `unrecorded_water`: how much, L.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub litres: Option<f64>,
    /// The likely cause in a sentence, with what to look at.
    #[schema(max_length = 2000)]
    pub told: String,
}

/// A product poured.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BalanceDose {
    /// The addition.
    pub addition_id: Uuid,
    /// The product.
    pub product_id: Uuid,
    /// As recorded.
    pub amount: Quantity,
}

/// A rise of EC, mS/cm at 25 °C; below 0 where it fell.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"expected_ms_cm": 0.25, "observed_ms_cm": 0.24, "spread_ms_cm": 0.04}))]
pub struct BalanceRise {
    /// By what is recorded.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub expected_ms_cm: f64,
    /// By the readings.
    #[schema(minimum = -1e12, maximum = 1e12)]
    pub observed_ms_cm: f64,
    /// Standard deviation of their difference.
    #[schema(minimum = 0, maximum = 1e12)]
    pub spread_ms_cm: f64,
}

/// What to make of what readings show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BalanceVerdict {
    /// What is recorded, as far as they can.
    Agrees,
    /// There are none before and after, soon enough and with one meter.
    NotObserved,
    /// A product does not say what it adds.
    RiseUnknown,
    /// It was poured under a label that has been revised since.
    EarlierLabel,
    /// Many times as much was poured as is recorded, or as little: a unit, or a decimal point.
    UnitSlip,
    /// Another product was poured.
    WrongProduct,
    /// It was recorded, and not poured.
    NotPoured,
    /// EC rose by what is not on record.
    UnrecordedAddition,
    /// EC fell as by water that is not on record.
    UnrecordedWater,
    /// The meter is out, while others agree.
    MeterOut,
    /// The meter is out, or all products are: there is no other to tell.
    MeterOrProducts,
    /// A difference that no usual mistake explains.
    Unexplained,
}

/// Two meters of which one shows more than the other, read one soon after the other.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MetersApart {
    /// In what: EC or pH.
    pub metric: Metric,
    /// The one that shows more.
    pub meter_id: Uuid,
    /// The one that shows less.
    pub other_meter_id: Uuid,
    /// What the one shows by what the other does, of EC; null of pH.
    #[schema(minimum = 0, maximum = 1e12)]
    pub factor: Option<f64>,
    /// What it shows above the other, of pH; null of EC.
    #[schema(minimum = 0, maximum = 14)]
    pub difference: Option<f64>,
    /// When they were last seen so.
    pub at: Instant,
    /// The readings of both.
    #[schema(max_items = 100000)]
    pub reading_ids: Vec<Uuid>,
    /// In a sentence, with what to do.
    #[schema(max_length = 2000)]
    pub told: String,
}

impl MetersApart {
    /// Two meters with their sentence.
    pub fn of(apart: &answers::Apart, told: &str) -> Self {
        let is_ph = apart.metric == fillmark_domain::Metric::Ph;
        let by = millionth(apart.by);
        Self {
            metric: Code(apart.metric),
            meter_id: apart.meters[0].uuid(),
            other_meter_id: apart.meters[1].uuid(),
            factor: (!is_ph).then_some(by),
            difference: is_ph.then_some(by),
            at: apart.at.into(),
            reading_ids: apart.readings.iter().flatten().map(|id| id.uuid()).collect(),
            told: told.to_owned(),
        }
    }
}

/// A product in a month of the site: what was drawn for the tank, and what its readings show.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct BalanceMonth {
    /// Which product.
    pub product_id: Uuid,
    /// The year.
    #[schema(minimum = 2000, maximum = 2100)]
    pub year: i32,
    /// The month.
    #[schema(minimum = 1, maximum = 12)]
    pub month: u32,
    /// Drawn from stock for this tank.
    pub drawn: Quantity,
    /// Poured, as the readings show it.
    pub shown: Quantity,
    /// Standard deviation of what they show.
    pub spread: Quantity,
    /// Part of it that no reading tells, taken from the record.
    pub unobserved: Quantity,
    /// Whether it closes.
    pub verdict: MonthBalance,
    /// The additions whose readings do not agree with the record.
    #[schema(max_items = 100000)]
    pub addition_ids: Vec<Uuid>,
    /// In a sentence.
    #[schema(max_length = 2000)]
    pub told: String,
}

/// Whether a month closes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum MonthBalance {
    /// It does, as far as readings can tell.
    Closes,
    /// Of most of it no reading tells.
    NotObserved,
    /// More was drawn than reached the tank.
    MoreDrawn,
    /// More reached the tank than was drawn.
    MoreShown,
}

impl BalanceCheck {
    /// A check with its sentence.
    pub fn of(check: &answers::Checked, told: &str, base: impl Fn(ProductId) -> Base) -> Self {
        let dose = |dose: &answers::Dosed| BalanceDose {
            addition_id: dose.id.uuid(),
            product_id: dose.product.uuid(),
            amount: quantity(dose.amount, base(dose.product)),
        };
        let whose = check.verdict.whose();
        let facts = Facts::of(&check.verdict);
        Self {
            at: check.at.into(),
            poured: check.poured.iter().map(dose).collect(),
            water_addition_ids: check.water.iter().map(|id| id.uuid()).collect(),
            reading_ids: check.readings.iter().map(|id| id.uuid()).collect(),
            meter_id: check.meter.map(|id| id.uuid()),
            rise: check.rise.map(BalanceRise::from),
            verdict: (&check.verdict).into(),
            mistaken_addition_ids: whose
                .map(|whose| whose.these().iter().map(|id| id.uuid()).collect())
                .unwrap_or_default(),
            in_all: whose.map(|whose| matches!(whose, answers::Whose::All(_))),
            factor: facts.factor.map(millionth),
            product_id: facts.product.map(|product| product.uuid()),
            salt_ms_cm_l: facts.salt.map(millionth),
            litres: facts.litres.map(millionth),
            told: told.to_owned(),
        }
    }
}

/// What a verdict tells besides whose mistake it is.
#[derive(Default)]
struct Facts {
    factor: Option<f64>,
    product: Option<ProductId>,
    salt: Option<f64>,
    litres: Option<f64>,
}

impl Facts {
    fn of(verdict: &answers::Verdict) -> Self {
        use answers::Verdict;
        let none = Facts::default();
        match *verdict {
            Verdict::UnitSlip { factor, .. }
            | Verdict::MeterOut { factor, .. }
            | Verdict::MeterOrProducts { factor, .. } => Facts { factor: Some(factor), ..none },
            Verdict::RiseUnknown(product)
            | Verdict::EarlierLabel(product)
            | Verdict::WrongProduct { poured: product, .. } => Facts { product: Some(product), ..none },
            Verdict::UnrecordedAddition { salt } => Facts { salt: Some(salt), ..none },
            Verdict::UnrecordedWater { litres } => Facts { litres: Some(litres), ..none },
            Verdict::Agrees | Verdict::NotObserved | Verdict::NotPoured { .. } | Verdict::Unexplained => none,
        }
    }
}

impl From<answers::Rise> for BalanceRise {
    fn from(rise: answers::Rise) -> Self {
        Self {
            expected_ms_cm: millionth(rise.expected),
            observed_ms_cm: millionth(rise.observed),
            spread_ms_cm: millionth(rise.spread),
        }
    }
}

impl From<&answers::Verdict> for BalanceVerdict {
    fn from(verdict: &answers::Verdict) -> Self {
        use answers::Verdict;
        match verdict {
            Verdict::Agrees => Self::Agrees,
            Verdict::NotObserved => Self::NotObserved,
            Verdict::RiseUnknown(_) => Self::RiseUnknown,
            Verdict::EarlierLabel(_) => Self::EarlierLabel,
            Verdict::UnitSlip { .. } => Self::UnitSlip,
            Verdict::WrongProduct { .. } => Self::WrongProduct,
            Verdict::NotPoured { .. } => Self::NotPoured,
            Verdict::UnrecordedAddition { .. } => Self::UnrecordedAddition,
            Verdict::UnrecordedWater { .. } => Self::UnrecordedWater,
            Verdict::MeterOut { .. } => Self::MeterOut,
            Verdict::MeterOrProducts { .. } => Self::MeterOrProducts,
            Verdict::Unexplained => Self::Unexplained,
        }
    }
}

impl BalanceMonth {
    /// A month with its sentence.
    pub fn of(month: &answers::Month, told: &str, base: Base) -> Self {
        let amount = |units: f64| quantity(units, base);
        Self {
            product_id: month.product.uuid(),
            year: month.year,
            month: month.month,
            drawn: amount(month.drawn),
            shown: amount(month.shown.value),
            spread: amount(month.shown.spread),
            unobserved: amount(month.unobserved),
            verdict: match month.verdict {
                answers::MonthVerdict::Closes => MonthBalance::Closes,
                answers::MonthVerdict::NotObserved => MonthBalance::NotObserved,
                answers::MonthVerdict::MoreDrawn => MonthBalance::MoreDrawn,
                answers::MonthVerdict::MoreShown => MonthBalance::MoreShown,
            },
            addition_ids: month.look_at.iter().map(|id| id.uuid()).collect(),
            told: told.to_owned(),
        }
    }
}

/// Estimates are told to the thousandth of mL or g.
fn quantity(units: f64, base: Base) -> Quantity {
    Quantity::new((units * 1000.0).round() / 1000.0, base.unit())
}
