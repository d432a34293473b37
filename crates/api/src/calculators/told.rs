//! The words for reasons and cautions.

use fillmark_advice::solution::calculate::{Caution, Reason};
use fillmark_domain::stock::{BURNS, FEEDS_FIRE, LABEL_FIRST, NEVER_WITH_CHLORINE};

/// Why, in sentences.
pub(super) fn reasons(reasons: &[Reason]) -> Vec<String> {
    reasons.iter().map(reason).collect()
}

/// Beware, in sentences.
pub(super) fn cautions(cautions: &[Caution]) -> Vec<String> {
    cautions.iter().map(caution).collect()
}

fn reason(reason: &Reason) -> String {
    match reason {
        Reason::EcOfFreeIons { within_percent } => format!(
            "EC is summed over the ions that are left unpaired, slowed by one another; measured salts come out within \
             {within_percent} %."
        ),
        Reason::PhOfBalance => {
            "The pH is where the charges balance, with no carbon dioxide gained or lost.".into()
        }
        Reason::LabelFilledUp { declared_ms_cm, ph } => format!(
            "The declared ions alone conduct {declared_ms_cm:.2} mS/cm at pH {ph}; the counter-ions that labels leave out \
             were taken for sodium or chloride."
        ),
        Reason::DoesNotConduct => {
            "Urea and chelated iron are counted as elements; they do not conduct.".into()
        }
        Reason::AlkalinityOfCalcium => {
            "The water's alkalinity is taken for calcium bicarbonate, of which most waters have it.".into()
        }
        Reason::RestOfWater { mmol_l } => format!(
            "What the water conducts beyond what is known of it is taken for sodium chloride, {mmol_l:.2} mmol/L."
        ),
        Reason::AnalysisBalanced { meq_l } => {
            format!("{meq_l:.2} meq/L of sodium or chloride make the analysis's charges balance at its pH.")
        }
        Reason::DoseKeepsCarbon => {
            "The dose is what brings the water to the target while its carbon dioxide stays in.".into()
        }
        Reason::ProductStrength { mol_l, density_kg_l, of_table } => {
            let whose = if *of_table { "by table at 20 °C" } else { "by its label" };
            format!("The product has {mol_l:.2} mol/L: its strength at {density_kg_l:.3} kg/L {whose}.")
        }
        Reason::AirTakesCarbon { co2_ppm } => {
            format!("Left standing or bubbled, it comes to rest with air of {co2_ppm} ppm carbon dioxide.")
        }
    }
}

fn caution(caution: &Caution) -> String {
    match caution {
        Caution::PureWater => "No water was told: the figures are of pure water.".into(),
        Caution::WaterNotDeclared => {
            "The water holds more than is declared of it; its elements are not among those counted.".into()
        }
        Caution::WaterConductsLess { of_ions_ms_cm } => format!(
            "The water's alkalinity or ions conduct {of_ions_ms_cm:.2} mS/cm, more than its EC: one of them is off."
        ),
        Caution::AnalysisOutOfBalance => {
            "The charges of the water's analysis are more than a tenth apart: an ion is missing or wrong.".into()
        }
        Caution::NoPhOfLabels => "A label does not tell the pH: mix a litre and measure it.".into(),
        Caution::NoPhOfWater => "The water's alkalinity was not told, and the pH hangs on it.".into(),
        Caution::NitrogenUntold => {
            "Nitrogen whose form the label does not tell is taken for nitrate; urea would not conduct.".into()
        }
        Caution::CalciumApart => {
            "Calcium falls out with sulfate and phosphate where they meet undiluted: dissolve them apart, one after the other."
                .into()
        }
        Caution::NitratesFeedFire => {
            "Nitrates feed fire while they are dry: keep them apart from fuels, paper, wood and other organic matter.".into()
        }
        Caution::Oxidiser => FEEDS_FIRE.into(),
        Caution::Burns => BURNS.into(),
        Caution::NoChlorine => NEVER_WITH_CHLORINE.into(),
        Caution::LabelFirst => LABEL_FIRST.into(),
        Caution::InParts { first_ml } => format!(
            "Give {} mL first, mix, measure, then the rest in parts: what is too much has to be brought back.",
            super::figure(*first_ml)
        ),
        Caution::LittleBuffer { left_meq_l } => format!(
            "Only {left_meq_l:.2} meq/L of alkalinity are left: the pH will move easily."
        ),
        Caution::ClimbsWithAir { ph } => {
            format!("Under air the pH climbs towards {ph:.1} as carbon dioxide leaves: measure again later.")
        }
        Caution::Eaten => "Bacteria eat citric acid within days, and the pH comes back.".into(),
        Caution::CountsInRecipe => "What the product adds counts in the recipe.".into(),
    }
}
