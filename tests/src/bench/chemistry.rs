//! The chemistry of advice in one process: how often a second it answers, beside a general-purpose library that answers the
//! same. Both figures have to agree, or something else was measured.

use std::hint::black_box;
use std::time::{Duration, Instant};

use chrono::DateTime;
use fillmark_advice::solution::calculate::acid::{AcidQuestion, acid};
use fillmark_advice::solution::calculate::solution::{Recipe, SaltDose, solution};
use fillmark_advice::solution::component::Component;
use fillmark_advice::solution::published::PUBLISHED;
use fillmark_advice::solution::reagents::Reagent;
use fillmark_advice::solution::salts::Salt;
use serde_json::{Value, json};

use super::feed::Shelf;
use super::figures::{Measured, Rounds, median};
use super::library::{Answered, Library};
use crate::fresh::Kind;

/// PHREEQC (D. L. Parkhurst and C. A. J. Appelo, U.S. Geological Survey Techniques and Methods 6-A43, 2013) with its binding
/// for Python. The version is named so that figures of different days mean the same.
const PACKAGE: &str = "phreeqpython==1.6.2";

const SCRIPT: &str = include_str!("chemistry.py");

/// So long each side is asked in a round.
const SPAN: Duration = Duration::from_secs(1);

/// How far the two may be apart: conductivities of measured feeds come out within so much.
const EC_WITHIN: f64 = 0.03;

/// Constants of carbonic acid and activities by two laws are no nearer.
const ACID_WITHIN: f64 = 0.05;

/// Two years of one tank.
const DAYS: i64 = 730;

/// Measures it.
/// # Panics
/// When the two do not agree.
pub fn chemistry(rounds: usize) -> Vec<Measured> {
    let mut library = Library::fetch(PACKAGE, SCRIPT);
    let (recipe, water) = (hoagland(), water());
    let shelf = Shelf::stocked();
    let record = shelf.record(DAYS, DateTime::UNIX_EPOCH);
    let mut recipes = Pair::new(EC_WITHIN, json!({ "what": "recipe", "totals_mmol_l": totals() }));
    let of_acid = json!({ "what": "acid", "ph": water.water_ph, "alkalinity_meq_l": water.alkalinity_meq_l,
        "to_ph": water.target_ph, "temperature_c": water.temperature_c });
    let mut acids = Pair::new(ACID_WITHIN, of_acid);
    let (mut fills, mut refits) = (Rounds::default(), Rounds::default());
    for at in 0..=rounds {
        let ec = rate(|| solution(black_box(&recipe)).expect("a recipe").ec_ms_cm);
        recipes.add(at, ec, &mut library);
        let dose = rate(|| acid(black_box(&water)).expect("a dose").dose_mmol_l);
        acids.add(at, dose, &mut library);
        let filled = rate(|| black_box(&shelf).fill_ml());
        let learnt = rate(|| shelf.refit(black_box(&record)));
        // The first round warms all up.
        if at > 0 {
            fills.add_alone(filled.per_second);
            refits.add_alone(learnt.per_second);
        }
    }
    let missing = match &library {
        Ok(_) => None,
        Err(missing) => {
            eprintln!("ours alone was measured, since the library cannot be had: {missing}");
            Some("the library cannot be had here")
        }
    };
    vec![
        recipes.measured("recipe", "EC and pH of a recipe by PHREEQC", missing),
        acids.measured("acid", "acid to a pH by PHREEQC", missing),
        fills.measured("fill", None::<Kind>, "1/s", "no library advises a fill", None),
        refits.measured("refit", None::<Kind>, "1/s", "no library learns from a tank", None),
    ]
}

/// What both sides answer.
struct Pair {
    within: f64,
    question: Value,
    rounds: Rounds,
    values: Vec<(f64, f64)>,
}

impl Pair {
    fn new(within: f64, mut question: Value) -> Pair {
        question["seconds"] = json!(SPAN.as_secs_f64());
        Pair { within, question, rounds: Rounds::default(), values: Vec::new() }
    }

    fn add(&mut self, round: usize, ours: Answered, library: &mut Result<Library, String>) {
        let theirs = library.as_mut().ok().map(|library| library.ask(&self.question));
        let apart = theirs.map_or(0.0, |theirs| (ours.value / theirs.value - 1.0).abs());
        assert!(apart <= self.within, "{ours:?} and {theirs:?} are not the same");
        if round > 0 {
            let theirs = theirs.unwrap_or(Answered { per_second: f64::NAN, value: f64::NAN, peak_mb: None });
            self.rounds.add(ours.per_second, theirs.per_second);
            self.values.push((ours.value, theirs.value));
        }
    }

    fn measured(
        &self,
        name: &'static str,
        reference: &'static str,
        missing: Option<&'static str>,
    ) -> Measured {
        let of = |side: fn(&(f64, f64)) -> f64| median(&self.values.iter().map(side).collect::<Vec<f64>>());
        self.rounds
            .measured(name, None::<Kind>, "1/s", missing.unwrap_or(reference), None)
            .beside("figure of ours, mS/cm or mmol/L", of(|(ours, _)| *ours))
            .beside("figure of the library", of(|(_, theirs)| *theirs))
    }
}

/// How often a second something can be asked.
fn rate(mut asked: impl FnMut() -> f64) -> Answered {
    let (began, mut count) = (Instant::now(), 0_u32);
    loop {
        let value = black_box(asked());
        count += 1;
        let took = began.elapsed();
        if took >= SPAN {
            return Answered { per_second: f64::from(count) / took.as_secs_f64(), value, peak_mb: None };
        }
    }
}

/// Hoagland's first solution, weighed in.
fn hoagland() -> Recipe {
    let dose = |(formula, mmol_l): &(&str, f64)| {
        let salt = Salt::read(formula).expect("a salt");
        SaltDose {
            formula: (*formula).to_owned(),
            as_sold: false,
            g_l: salt.molar_mass_g_mol * mmol_l / 1000.0,
        }
    };
    Recipe { salts: PUBLISHED[0].salts_mmol_l.iter().map(dose).collect(), ..Recipe::default() }
}

/// The same in the names of PHREEQC.
fn totals() -> Value {
    let whole = PUBLISHED[0].composition().expect("salts");
    let named = [
        ("K", Component::Potassium),
        ("Ca", Component::Calcium),
        ("Mg", Component::Magnesium),
        ("N(5)", Component::Nitrate),
        ("P", Component::Phosphate),
        ("S(6)", Component::Sulfate),
    ];
    named.into_iter().map(|(name, component)| (name.to_owned(), json!(whole.mmol_l(component)))).collect()
}

/// A water of 3 meq/L to pH 6. Hydrochloric acid, since PHREEQC lets nitrate be reduced while it settles.
fn water() -> AcidQuestion {
    AcidQuestion {
        water_ph: 7.8,
        alkalinity_meq_l: 3.0,
        water_l: 1000.0,
        temperature_c: 20.0,
        reagent: Reagent::Hydrochloric,
        strength_percent: 30.0,
        density_kg_l: None,
        target_ph: 6.0,
    }
}
