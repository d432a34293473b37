//! A step of pH as a person at the tank is told it.

use fillmark_domain::Band;
use fillmark_domain::entries::AdvisedStep;
use fillmark_domain::stock::ProductId;

use super::{Curve, Step, StepAsked, StepReason};
use crate::solution::fill::told::{measurable, portion};
use crate::solution::learn::PhResponse;

impl Step {
    /// What to do; nothing where no amount is told. `liquid` tells whether the product is counted in mL.
    pub fn advised(
        &self,
        (product, liquid): (ProductId, bool),
        band: Band,
        to_aim: Option<f64>,
    ) -> Option<AdvisedStep> {
        let dose = self.dose?;
        Some(AdvisedStep::Adjust {
            first: portion(product, dose.amount, liquid),
            expected: measurable(to_aim.unwrap_or(dose.amount).max(dose.amount)),
            to_ph: band.aim,
        })
    }

    /// mL (or g) that the whole way to the aim is expected to take.
    pub fn to_aim(&self, asked: &StepAsked<'_>) -> Option<f64> {
        Some(Curve::of(asked)?.units_l(asked.ph, asked.band.aim)? * asked.litres.litres)
    }

    /// Why it is so, in sentences.
    pub fn told(&self, name: &str, response: Option<&PhResponse>) -> String {
        let why = match self.reason {
            StepReason::ToAim => "it goes to the aim".to_owned(),
            StepReason::ByChance => {
                "with more, the chance of passing the far edge of the band would be above 5 %".to_owned()
            }
            StepReason::FirstPart | StepReason::FirstEquivalents => {
                "no record tells yet how this tank answers, so it is a small part of what chemistry expects"
                    .to_owned()
            }
            StepReason::EmptyTank => return "Nothing stands in the tank.".to_owned(),
            StepReason::AtAim => return "The pH is at its aim.".to_owned(),
            StepReason::TooLittle => {
                return format!(
                    "Less of {name} than can be measured out would go to the aim: thin it out with water before it is poured."
                );
            }
            StepReason::UnknownStrength => {
                return format!(
                    "Neither the strength of {name} nor records tell how the pH answers: no amount is told. Give small steps, \
                     mix, measure, and enter each; after three of them it is learnt."
                );
            }
            StepReason::NotReached => {
                return format!(
                    "{name} moves the pH the other way, or this pH is outside of what is reckoned: no amount is told. Small \
                     steps, mix, measure."
                );
            }
        };
        let learnt = response.map_or("no addition".to_owned(), |response| response.figure.from_additions());
        let expected = self.dose.map_or(String::new(), |dose| {
            format!(
                " Expect pH {:.1} after it has mixed, between {:.1} and {:.1}.",
                dose.ph, dose.ph_low, dose.ph_high
            )
        });
        format!("The step of {name} is as large as it is because {why}.{expected} Learnt from {learnt}.")
    }
}
