//! Calculators: the document's worked examples, what is refused, and the same at the command line.

use fillmark_api::*;
use fillmark_domain::Unit as U;
use fillmark_domain::people::Role;
use fillmark_server::commands::calc;
use fillmark_server::document::COMMITTED;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, json};
use serde_json::{Value, json};

/// Path below `/api/v1`, example of the question, example of the answer, of each calculator in the document.
fn worked_examples() -> Vec<(String, Value, Value)> {
    let document: Value = serde_json::from_str(COMMITTED).unwrap();
    let example = |operation: &Value, pointer: &str| {
        let schema = operation.pointer(&format!("{pointer}/content/application~1json/schema/$ref"));
        let name = schema.and_then(Value::as_str).and_then(|name| name.rsplit('/').next()).unwrap();
        document["components"]["schemas"][name]["example"].clone()
    };
    let paths = document["paths"].as_object().unwrap().iter();
    let calculators = paths.filter(|(_, item)| item["post"]["tags"] == json!(["calculators"]));
    calculators
        .map(|(path, item)| {
            let path = path.trim_start_matches("/api/v1").to_owned();
            (path, example(&item["post"], "/requestBody"), example(&item["post"], "/responses/200"))
        })
        .collect()
}

fn question<T: serde::de::DeserializeOwned>(path: &str) -> T {
    let (_, question, _) = worked_examples().into_iter().find(|(found, ..)| found == path).unwrap();
    json(question)
}

#[track_caller]
fn refused<T: std::fmt::Debug>(answer: Result<T, fillmark_client::ClientError>, pointer: &str) -> String {
    let error = answer.unwrap_err();
    let problem = error.problem().unwrap();
    assert_eq!((problem.status, problem.errors.len()), (422, 1), "{problem:?}");
    assert_eq!(problem.errors[0].pointer.as_deref(), Some(pointer));
    problem.errors[0].detail.clone()
}

#[track_caller]
fn has(text: &str, words: &[&str]) {
    for word in words {
        assert!(text.contains(word), "{word:?} is missing in\n{text}");
    }
}

on_both! {
    async fn the_documents_worked_examples_are_answered_as_it_says(world: World) {
        let examples = worked_examples();
        assert_eq!(examples.len(), 5);
        let mut wrong = Vec::new();
        for (path, question, expected) in examples {
            let answer: Value = world.ada.post(&path, &question).await.unwrap();
            if answer != expected {
                wrong.push(format!("{path} answers\n{answer}\ninstead of\n{expected}"));
            }
        }
        assert!(wrong.is_empty(), "{}", wrong.join("\n\n"));
    }

    async fn whoever_has_a_role_anywhere_may_calculate(world: World) {
        let site = world.site("Harbour").await.id;
        let (_, sam) = world.person("Sam", Role::Staff, Some(site)).await;
        let question = UnitQuestion { quantity: Quantity::new(1.0, U::GallonUs), to: Code(U::Litre) };
        // NIST Handbook 44, Appendix C.
        assert_eq!(sam.convert_unit(&question).await.unwrap().quantity, Quantity::new(3.785_411_784, U::Litre));
        let nobody = fillmark_client::Client::new(&world.server.address).unwrap();
        assert_eq!(nobody.convert_unit(&question).await.unwrap_err().problem().unwrap().status, 401);
    }

    async fn what_cannot_be_calculated_is_refused_by_field(world: World) {
        let ada = &world.ada;
        let other = UnitQuestion { quantity: Quantity::new(1.0, U::GallonUs), to: Code(U::Gram) };
        let detail = refused(ada.convert_unit(&other).await, "/to");
        has(&detail, &["[gal_us] measures volume and g mass", "L, mL"]);
        let mut recipe: SolutionQuestion = question("/calculators/solution");
        recipe.salts[1].formula = "salt".into();
        refused(ada.calculate_solution(&recipe).await, "/salts/1/formula");
        let mut acid: AcidQuestion = question("/calculators/acid");
        acid.water.alkalinity = Quantity::new(150.0, U::MilligramPerLitre);
        has(&refused(ada.calculate_acid(&acid).await, "/water/alkalinity"), &["mg{CaCO3}/L", "found mg/L"]);
        refused(ada.calculate_air(&AirQuestion::default()).await, "");
        let mut meter: MeterQuestion = question("/calculators/meter");
        meter.buffers[1].nominal = 5.5;
        refused(ada.check_meter(&meter).await, "/buffers/1/nominal");
    }
}

#[test]
fn a_published_recipe_is_printed_with_its_elements_and_cautions() {
    // Mattson, N. and Peters, C., A recipe for hydroponic success: N 150, P 31, K 210, Ca 90, Mg 24 ppm.
    let text = calc::solution(&question("/calculators/solution")).unwrap();
    has(
        &text,
        &["EC", "mS/cm at 25 °C", "150.2", "30.97", "210", "90.14", "24.25", "Why:", "Beware:", "pure water"],
    );
}

#[test]
fn a_dose_of_acid_is_printed_with_what_it_adds_and_its_dangers() {
    let text = calc::acid(&question("/calculators/acid")).unwrap();
    has(
        &text,
        &["153.4", "mL", "pH after aeration", "8.14", "27.97", "eye and hand protection", "chlorine cleaner"],
    );
}

#[test]
fn units_air_and_meters_are_printed() {
    has(&calc::unit(&question("/calculators/unit")).unwrap(), &["900", "ppm500", "1.8", "mS/cm"]);
    // FAO Irrigation and Drainage Paper 56, Example 3.
    has(&calc::air(&question("/calculators/air")).unwrap(), &["3.075", "kPa", "dew point", "14.4"]);
    has(&calc::meter(&question("/calculators/meter")).unwrap(), &["97.24", "passed", "-5.874", "failed"]);
}

#[test]
fn what_cannot_be_calculated_is_told_in_words() {
    let error = calc::air(&AirQuestion { light_hours: Some(16.0), ..AirQuestion::default() }).unwrap_err();
    assert_eq!(error.to_string(), "cannot be calculated: ppfd: expected the flux with the hours");
}
