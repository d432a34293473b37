//! A fresh fill as a person at the tank is told it.

use fillmark_domain::entries::{AdviceOutcome, AdvisedStep, Portion};
use fillmark_domain::stock::ProductId;
use fillmark_domain::{Amount, Base, Metric};

use super::{AcidDose, Fill, Part, Reason, Step};

impl Fill {
    /// What it comes to.
    pub fn outcome(&self) -> AdviceOutcome {
        match self.reasons.contains(&Reason::WaterAboveAim) {
            true => AdviceOutcome::NeedsOtherWater,
            false => AdviceOutcome::FollowSteps,
        }
    }

    /// The steps with amounts that somebody can measure out.
    pub fn advised(&self, parts: &[Part]) -> Vec<AdvisedStep> {
        let liquid = |product: ProductId| parts.iter().any(|part| part.product == product && part.liquid);
        let step = |step: &Step| match step {
            Step::Water(litres) => AdvisedStep::Water(three_figures(*litres)),
            Step::Dose(dose) => AdvisedStep::Dose(portion(dose.product, dose.amount, liquid(dose.product))),
            Step::Acid(dose) => dose.advised(),
            Step::MeasureEc => AdvisedStep::Measure(Metric::Ec),
            Step::MeasurePh => AdvisedStep::Measure(Metric::Ph),
        };
        self.steps.iter().map(step).collect()
    }
}

impl AcidDose {
    pub(in crate::solution) fn advised(&self) -> AdvisedStep {
        AdvisedStep::Adjust {
            first: portion(self.product, self.first, self.base == Base::Volume),
            expected: measurable(self.expected),
            to_ph: self.to_ph,
        }
    }
}

/// So many mL or g, as finely as they can be measured out.
pub(in crate::solution) fn portion(product: ProductId, units: f64, liquid: bool) -> Portion {
    let base = if liquid { Base::Volume } else { Base::Mass };
    Portion { product, amount: measurable(units), base }
}

/// A cylinder or a balance shows three figures of what it measures.
pub(in crate::solution) fn measurable(units: f64) -> Amount {
    Amount::rounded(three_figures(units))
}

pub(in crate::solution) fn three_figures(value: f64) -> f64 {
    if value <= 0.0 {
        return 0.0;
    }
    let place = 10f64.powf(2.0 - value.log10().floor());
    (value * place).round() / place
}

impl Reason {
    /// In a sentence. `named` gives a product's name.
    pub fn told(&self, named: impl Fn(ProductId) -> String) -> String {
        match self {
            Reason::Stretched(factor) => format!(
                "The step's doses give the proportions; {:.0} % of them bring the water to the EC aim.",
                factor * 100.0
            ),
            Reason::RiseUnknown(product) => format!(
                "Nothing tells what EC {} adds, neither its label nor records: the step's doses stand as they are. Measure, \
                 and add water or more of all parts alike.",
                named(*product)
            ),
            Reason::WaterAboveAim => {
                "The water alone has as much EC as is wanted, or more: nothing can be dosed into it. Another water, or one \
                 mixed with rain water or permeate, would leave room."
                    .into()
            }
            Reason::FarFromProgramme(factor) => format!(
                "By what labels and records say it would take {:.0} % of the step's doses. That does not fit: look whether \
                 labels, doses and EC aim belong together. No more is told than half as much again as the step says; \
                 measure, and ask for a correction.",
                factor * 100.0
            ),
            Reason::HardWater => {
                "The water's alkalinity is above 2 meq/L: acid goes in before the nutrients, or calcium and phosphate would \
                 fall out."
                    .into()
            }
            Reason::NoAcid => {
                "No acid of known kind and strength is on record, so no amount of it is told: lower the pH in small parts, \
                 and measure after each; of hard water before the nutrients go in."
                    .into()
            }
            Reason::NoDose(why) => format!("How much acid it takes cannot be told: {why}."),
            Reason::NothingAddsEc => {
                "The products of the step hardly add any EC: its doses stand as they are, and the aim is not reached.".into()
            },
            Reason::WaterUnknown => {
                "The water's pH and alkalinity are not on record, so nothing is said of acid: measure the pH once all is \
                 mixed."
                    .into()
            }
            Reason::PhFromBelow => {
                "The pH should come out above the water's own. What nutrients and air make of it is measured first: ask for a \
                 correction then, and a base is told where it is wanted."
                    .into()
            }
            Reason::AcidUntried => {
                "No record tells yet how this acid works in this water: the first part is at most 60 % of what is expected, and \
                 0.2 meq for each litre of the tank. What is measured after it tells the next."
                    .into()
            }
            Reason::AcidBrings(element, mg_l) => {
                format!("The acid brings about {mg_l:.1} mg/L of {element}, which counts in the recipe.")
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn amounts_are_told_as_finely_as_they_are_measured() {
        for (units, expected) in
            [(401.234, 401.0), (1234.5, 1230.0), (7.0049, 7.0), (0.012_34, 0.012), (0.0, 0.0)]
        {
            let got = measurable(units).base_units();
            assert!((got - expected).abs() < 1e-9, "{units}: {got}");
        }
    }
}
