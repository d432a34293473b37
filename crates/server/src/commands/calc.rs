//! Calculators at the command line: the same questions and answers as over HTTP, without server and database.

use std::fmt::Display;

use comfy_table::CellAlignment;
use fillmark_advice::solution::calculate;
use fillmark_api::{
    AcidAnswer, AcidQuestion, AirAnswer, AirQuestion, ElementAmount, MeterAnswer, MeterQuestion,
    SolutionAnswer, SolutionQuestion, UnitAnswer, UnitQuestion,
};
use fillmark_domain::{Coded, Faults};

use super::table;

/// A question that cannot be answered.
#[derive(Debug, thiserror::Error)]
#[error("cannot be calculated: {}", told(.0))]
pub struct NotCalculated(Faults);

impl From<Faults> for NotCalculated {
    fn from(faults: Faults) -> Self {
        NotCalculated(faults)
    }
}

fn told(faults: &Faults) -> String {
    let place = |pointer: &str| pointer.trim_start_matches('/').replace('/', " ");
    let texts = faults.iter().map(|fault| match place(&fault.pointer) {
        nowhere if nowhere.is_empty() => fault.detail.clone(),
        place => format!("{place}: {}", fault.detail),
    });
    texts.collect::<Vec<_>>().join("; ")
}

/// EC, pH and elements of a recipe.
/// # Errors
/// [`NotCalculated`] with all that is wrong with it.
pub fn solution(question: &SolutionQuestion) -> Result<String, NotCalculated> {
    let answer = SolutionAnswer::from(&calculate::solution::solution(&question.word()?)?);
    let mut sheet = Sheet::default();
    sheet.row("EC", answer.ec_ms_cm, "mS/cm at 25 °C");
    sheet.row("  at least", answer.ec_from_ms_cm, "mS/cm");
    sheet.row("  at most", answer.ec_to_ms_cm, "mS/cm");
    sheet.perhaps("pH", answer.ph, "");
    sheet.row("ionic strength", answer.ionic_strength_mol_kg, "mol/kg");
    sheet.elements(&answer.elements);
    Ok(sheet.text(&answer.reasons, &answer.cautions))
}

/// What takes a water to a pH.
/// # Errors
/// [`NotCalculated`] with all that is wrong with it.
pub fn acid(question: &AcidQuestion) -> Result<String, NotCalculated> {
    let answer = AcidAnswer::from(&calculate::acid::acid(&question.word()?)?);
    let mut sheet = Sheet::default();
    sheet.row("product for all of the water", answer.volume_ml, "mL");
    sheet.row("dose", answer.dose_mmol_l, "mmol/L");
    sheet.row("alkalinity left", answer.alkalinity_left_meq_l, "meq/L");
    sheet.row("pH after aeration", answer.ph_after_aeration, "");
    sheet.elements(&answer.adds);
    Ok(sheet.text(&answer.reasons, &answer.cautions))
}

/// A quantity in another unit.
/// # Errors
/// [`NotCalculated`] where the units measure different things.
pub fn unit(question: &UnitQuestion) -> Result<String, NotCalculated> {
    let (quantity, to) = question.word()?;
    let answer = UnitAnswer::from(&calculate::unit::unit(quantity, to)?);
    let mut sheet = Sheet::default();
    sheet.row("", quantity.value, quantity.unit.code());
    sheet.row("is", answer.quantity.value, answer.quantity.unit.0.code());
    Ok(sheet.text(&answer.reasons, &answer.cautions))
}

/// Moisture of the air, and light of a day.
/// # Errors
/// [`NotCalculated`] with all that is wrong with it.
pub fn air(question: &AirQuestion) -> Result<String, NotCalculated> {
    let answer = AirAnswer::from(&calculate::air::air(&question.word()?)?);
    let mut sheet = Sheet::default();
    if let Some(moisture) = answer.moisture {
        sheet.row("saturation vapour pressure", moisture.saturation_kpa, "kPa");
        sheet.row("vapour pressure", moisture.vapour_kpa, "kPa");
        sheet.row("VPD", moisture.vpd_kpa, "kPa");
        sheet.row("dew point", moisture.dew_point_c, "°C");
        sheet.row("water", moisture.water_g_m3, "g/m³");
    }
    sheet.perhaps("DLI", answer.dli_mol_m2, "mol/m²");
    Ok(sheet.text(&answer.reasons, &answer.cautions))
}

/// Whether meters may be used.
/// # Errors
/// [`NotCalculated`] with all that is wrong with it.
pub fn meter(question: &MeterQuestion) -> Result<String, NotCalculated> {
    let answer = MeterAnswer::from(&calculate::meter::meter(&question.word()?)?);
    let mut sheet = Sheet::default();
    if let Some(electrode) = answer.electrode {
        sheet.row("slope", electrode.slope_percent, "% of a perfect one");
        sheet.row("  slope", electrode.slope_mv, "mV a pH");
        sheet.row("offset", electrode.offset_mv, "mV at pH 7");
        sheet.row("pH meter", verdict(electrode.passed), "");
    }
    if let Some(cell) = answer.cell {
        sheet.row("standard", cell.standard_ms_cm, "mS/cm");
        sheet.perhaps("off by", cell.deviation_percent, "%");
        sheet.perhaps("multiply readings by", cell.factor, "");
        sheet.perhaps("cell constant", cell.constant_per_cm, "1/cm");
        sheet.perhaps("EC meter", cell.passed.map(verdict), "");
    }
    Ok(sheet.text(&answer.reasons, &answer.cautions))
}

const fn verdict(passed: bool) -> &'static str {
    if passed { "passed" } else { "failed" }
}

/// Figures, and what is to be said of them.
#[derive(Default)]
struct Sheet(Vec<[String; 3]>);

impl Sheet {
    fn row(&mut self, what: &str, figure: impl Display, unit: &str) {
        self.0.push([what.to_owned(), figure.to_string(), unit.to_owned()]);
    }

    fn perhaps(&mut self, what: &str, figure: Option<impl Display>, unit: &str) {
        if let Some(figure) = figure {
            self.row(what, figure, unit);
        }
    }

    fn elements(&mut self, amounts: &[ElementAmount]) {
        for amount in amounts {
            self.row(&amount.element, amount.mg_l, "mg/L");
        }
    }

    fn text(self, reasons: &[String], cautions: &[String]) -> String {
        let mut figures = table(&["", "figure", "unit"]);
        figures.add_rows(self.0);
        if let Some(column) = figures.column_mut(1) {
            column.set_cell_alignment(CellAlignment::Right);
        }
        let mut text = format!("{figures}\n");
        for (head, lines) in [("Why", reasons), ("Beware", cautions)] {
            if !lines.is_empty() {
                text.push_str(&format!("\n{head}:\n"));
            }
            for line in lines {
                text.push_str(&format!("- {line}\n"));
            }
        }
        text
    }
}
