//! A correction as a person at the tank is told it.

use fillmark_domain::Metric;
use fillmark_domain::entries::{AdviceOutcome, AdvisedStep};
use fillmark_domain::stock::ProductId;

use super::{Correction, EcAdvice, PhAdvice, Reason, Undosed};
use crate::solution::fill::FillDose;
use crate::solution::fill::told::{portion, three_figures};
use crate::solution::turnover::EarlyChange;

/// Of doses that may carry the EC past its band so much is told at first (our own judgement).
const FIRST_PART: f64 = 2.0 / 3.0;

impl Correction {
    /// What to do for the EC, one after the other, and to measure after it. `liquid` tells whether a product is counted in mL.
    pub fn advised(&self, liquid: impl Fn(ProductId) -> bool) -> Vec<AdvisedStep> {
        let water = |litres: f64| (litres > 0.0).then(|| AdvisedStep::Water(three_figures(litres)));
        let drain = |litres: f64| (litres > 0.0).then(|| AdvisedStep::Drain(three_figures(litres)));
        let measure = || AdvisedStep::Measure(Metric::Ec);
        // Acid goes into the water before the doses do, in parts that are measured.
        let acid = self.acid.iter().flat_map(|acid| [acid.advised(), AdvisedStep::Measure(Metric::Ph)]);
        let mut steps: Vec<AdvisedStep> = match &self.ec {
            EcAdvice::Leave { water_l } => water(*water_l).into_iter().chain(acid).collect(),
            EcAdvice::TopUp { doses, water_l } | EcAdvice::Strengthen { doses, water_l } => {
                let part = if self.reasons.contains(&Reason::MayPassBand) { FIRST_PART } else { 1.0 };
                let dose = |dose: &FillDose| {
                    AdvisedStep::Dose(portion(dose.product, part * dose.amount, liquid(dose.product)))
                };
                let doses = doses.iter().map(dose);
                water(*water_l).into_iter().chain(acid).chain(doses).chain([measure()]).collect()
            }
            EcAdvice::Dilute { drain_l, water_l } => {
                drain(*drain_l).into_iter().chain(water(*water_l)).chain(acid).chain([measure()]).collect()
            }
            EcAdvice::SmallSteps | EcAdvice::Measure => acid.chain([measure()]).collect(),
            EcAdvice::FreshFill | EcAdvice::OutOfReach => return Vec::new(),
        };
        steps.extend((self.ph == PhAdvice::Measure).then_some(AdvisedStep::Measure(Metric::Ph)));
        steps
    }

    /// What it comes to.
    pub fn outcome(&self) -> AdviceOutcome {
        match self.ec {
            EcAdvice::Leave { water_l: 0.0 } if self.ph == PhAdvice::Leave => AdviceOutcome::Leave,
            EcAdvice::Leave { water_l: 0.0 } if self.ph == PhAdvice::Measure => AdviceOutcome::MeasureFirst,
            EcAdvice::FreshFill => AdviceOutcome::MakeFreshFill,
            EcAdvice::OutOfReach => AdviceOutcome::NeedsOtherWater,
            EcAdvice::Measure => AdviceOutcome::MeasureFirst,
            EcAdvice::Leave { .. }
            | EcAdvice::TopUp { .. }
            | EcAdvice::Strengthen { .. }
            | EcAdvice::Dilute { .. }
            | EcAdvice::SmallSteps => AdviceOutcome::FollowSteps,
        }
    }

    /// What there is to say of the whole, in a sentence.
    pub fn told(&self) -> &'static str {
        match &self.ec {
            EcAdvice::Leave { water_l } if *water_l > 0.0 => "Fill it up; the EC stays in its band.",
            EcAdvice::Leave { .. } => "The EC is in its band: leave it.",
            EcAdvice::TopUp { .. } => {
                "Fill it up at the programme's strength of top-ups, at most to the aim; the EC stays in its band."
            }
            EcAdvice::Strengthen { .. } if self.is_begun() => {
                "The EC would be below its band: begin with these doses, and measure."
            }
            EcAdvice::Strengthen { .. } if self.is_filled_up() => {
                "Without doses the EC would be below its band: these doses bring it to its aim."
            }
            EcAdvice::Strengthen { .. } => "The EC is below its band: these doses bring it to its aim.",
            EcAdvice::Dilute { .. } => "The EC is above its band: water brings it to its aim.",
            EcAdvice::SmallSteps => {
                "The EC is below its band, and nothing tells what the products add: give small steps of all parts, mix, \
                 measure."
            }
            EcAdvice::FreshFill => "Correcting it is not worth it: make a fresh fill.",
            EcAdvice::OutOfReach => "This water cannot bring the EC down to its aim.",
            EcAdvice::Measure => {
                "No EC on record tells what is in the tank now: none since something was poured and had time to mix, or none of \
                 the last twelve hours. Measure, then ask again."
            }
        }
    }

    /// Whether only a part of what is wanted is told.
    fn is_begun(&self) -> bool {
        let is_part = |reason: &Reason| matches!(reason, Reason::MayPassBand | Reason::FarFromProgramme(_));
        self.reasons.iter().any(is_part)
    }

    /// Whether it is weak with what goes in besides, and not as it stands.
    fn is_filled_up(&self) -> bool {
        let with_more =
            |reason: &Reason| matches!(reason, Reason::Weak(Undosed::FilledUp(_) | Undosed::WithAcid(_)));
        self.reasons.iter().any(with_more)
    }
}

impl Reason {
    /// In a sentence. `named` gives a product's name.
    pub fn told(&self, named: impl Fn(ProductId) -> String) -> String {
        match self {
            Reason::InBand(undosed) => format!("{}, in its band.", undosed.told()),
            Reason::Weak(undosed) => format!("{}, below its band.", undosed.told()),
            Reason::Strong(undosed) => format!("{}, above its band.", undosed.told()),
            Reason::MayPassBand => {
                "What is not known of tank and products may carry the EC past its band: two thirds of the doses are told at \
                 first. Mix, measure, and ask again."
                    .into()
            }
            Reason::RiseUnknown(product) => {
                format!("Nothing tells what EC {} adds, neither its label nor records.", named(*product))
            }
            Reason::BelowWater(ec) => format!(
                "The meter showed {ec:.2} mS/cm, less than the water alone: it was dry, off or out. Look at it, and measure again."
            ),
            Reason::Empty => "Nothing stands in the tank.".into(),
            Reason::FarFromProgramme(times) => format!(
                "By what labels and records say it would take {times:.1} times the step's own doses. That does not fit: look at \
                 labels, doses and EC aim. No more is told than the step's own doses are; measure, and ask again."
            ),
            Reason::NothingAddsEc => "The products of the step hardly add any EC: the aim is not reached with them.".into(),
            Reason::NoRoom { needed_l, room_l } => {
                format!("The doses alone need {needed_l:.1} L, and the tank takes {room_l:.1} L more.")
            }
            Reason::MostOfIt(part) => format!("{:.0} % of the tank would have to be replaced.", part * 100.0),
            Reason::WaterAboveAim => "The water alone has as much EC as is wanted, or more.".into(),
            Reason::Early(early) => early.told(),
            Reason::HardWater => {
                "The water's alkalinity is above 2 meq/L: acid goes in with it, or it carries the pH up.".into()
            }
            Reason::OfWater(of_water) => of_water.told(named),
        }
    }
}

impl Undosed {
    fn told(self) -> String {
        match self {
            Undosed::Standing(ec) => format!("The EC is {ec:.2} mS/cm"),
            Undosed::FilledUp(ec) => {
                format!("Filled to the mark with water alone the EC would be {ec:.2} mS/cm")
            }
            Undosed::WithAcid(ec) => format!("With the acid that goes in the EC would be {ec:.2} mS/cm"),
        }
    }
}

impl EarlyChange {
    /// In a sentence.
    pub fn told(&self) -> String {
        match self {
            EarlyChange::Turnover { turnover, limit } => format!(
                "Since its last full change the tank was drunk and filled up {turnover:.1} times (limit {limit:.1}): the \
                 proportions of nutrients have drifted where EC does not show it."
            ),
            EarlyChange::ThrownBothWays(thrown) => format!(
                "Acid and base were poured by turns, {} changes of direction on this fill: each leaves its salt behind.",
                thrown.turns
            ),
        }
    }
}
