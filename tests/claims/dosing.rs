//! Advice about what to add to a tank: from labels, water and programme to what is measured out; kept, and followed.

mod dry;
mod following;
mod meters;

use chrono::TimeDelta;
use fillmark_api::*;
use fillmark_domain::Coded;
use fillmark_domain::entries::AdviceOutcome;
use fillmark_tests::Feeding;
use fillmark_tests::greenhouse::steps;
use fillmark_tests::on_both;
use fillmark_tests::world::{World, instant, json, refusal};
use serde_json::{Value, json};
use uuid::Uuid;

/// The north tank, 200 L, with two concentrates by their labels and nitric acid of 38 % on the shelf.
async fn labelled(world: &World) -> (Feeding, Uuid) {
    let feeding = world.feeding().await;
    let nitrate = json!([{ "declared": "nitrate_n", "percent": 5.0 }, { "declared": "ca", "percent": 6.0 },
        { "declared": "k2o", "percent": 2.7 }]);
    let phosphate = json!([{ "declared": "nitrate_n", "percent": 1.6 }, { "declared": "p2o5", "percent": 4.5 },
        { "declared": "k2o", "percent": 11.0 }, { "declared": "mg", "percent": 1.4 }, { "declared": "s", "percent": 1.9 }]);
    for (product, declared) in [(feeding.grow_a, nitrate), (feeding.grow_b, phosphate)] {
        label(world, product, json!({ "analysis": { "basis": "w/v", "declared": declared } })).await;
        feeding.receive(&world.ada, product, "L1", "2027-03-01", 3000.0).await;
    }
    let body = json(json!({ "name": "pH Down", "base": "mL", "kind": "ph_adjuster", "mixing_rank": 90 }));
    let acid = world.ada.business().create::<NewProduct>(&body).await.unwrap().id;
    label(world, acid, json!({ "reagent": "nitric_acid", "strength_percent": 38.0 })).await;
    (feeding, acid)
}

async fn label(world: &World, product: Uuid, fields: Value) {
    let mut body = json!({ "product_id": product, "effective_at": "2026-01-01T00:00:00Z" });
    for (name, field) in fields.as_object().unwrap() {
        body[name] = field.clone();
    }
    world.ada.business().create::<NewLabelRevision>(&json(body)).await.unwrap();
}

/// The north tank is filled from this water.
async fn water(world: &World, feeding: &Feeding, fields: Value) {
    let mut body = json!({ "name": "Well" });
    for (name, field) in fields.as_object().unwrap() {
        body[name] = field.clone();
    }
    let here = world.ada.site(feeding.here.site);
    let source = here.create::<NewWaterSource>(&json(body)).await.unwrap().id;
    let tank = here.read::<NewTank>(feeding.here.north_tank).await.unwrap();
    let change = json!({ "water_source_id": source });
    here.change(&tank, change).await.unwrap();
}

fn ec_reading(feeding: &Feeding, at: &str, ec: f64) -> NewReading {
    json(
        json!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "metric": "ec", "sample_point": "tank",
        "value": { "value": ec, "unit": "mS/cm" }, "recorded_at": at, "confirmed": true }),
    )
}

/// EC and pH of the north tank, this morning.
async fn read(world: &World, feeding: &Feeding, time: &str, ec: f64, ph: f64) {
    let at = format!("2026-11-24T{time}:00+01:00");
    let ph = json!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "metric": "ph", "sample_point": "tank",
        "value": { "value": ph, "unit": "[pH]" }, "recorded_at": at, "confirmed": true });
    world.ada.record_reading(feeding.here.site, &ec_reading(feeding, &at, ec)).await.unwrap();
    world.ada.record_reading(feeding.here.site, &json(ph)).await.unwrap();
}

/// How much stood in the north tank, this morning.
async fn read_volume(world: &World, feeding: &Feeding, time: &str, litres: f64) {
    let at = format!("2026-11-24T{time}:00+01:00");
    let volume = json!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "metric": "volume", "sample_point": "tank",
        "value": { "value": litres, "unit": "L" }, "recorded_at": at, "confirmed": true });
    world.ada.record_reading(feeding.here.site, &json(volume)).await.unwrap();
}

fn wanted(feeding: &Feeding) -> NewFillAdvice {
    json(json!({ "tank_id": feeding.here.north_tank }))
}

/// A tank that no cycle drinks from.
async fn unfed(world: &World, feeding: &Feeding) -> Uuid {
    let body = json(
        json!({ "name": "South tank", "mode": "recirculating", "fill_mark": { "value": 200, "unit": "L" } }),
    );
    world.ada.site(feeding.here.site).create::<NewTank>(&body).await.unwrap().id
}

fn to_do(advice: &Advice) -> Vec<ToDo> {
    advice.steps.iter().map(|step| step.to_do).collect()
}

on_both! {
    async fn a_fill_from_hard_water_is_advised_step_by_step_and_kept(world: World) {
        let (feeding, acid) = labelled(&world).await;
        let hard = json!({ "ec": { "value": 0.6, "unit": "mS/cm" }, "ph": 7.8, "alkalinity": { "value": 4.0, "unit": "meq/L" } });
        water(&world, &feeding, hard).await;
        let site = feeding.here.site;
        let advice = world.ada.advise_fill(site, &wanted(&feeding)).await.unwrap();
        use ToDo::{Adjust, Dose, Measure, Water};
        let expected = [Water, Adjust, Measure, Dose, Dose, Measure, Measure, Adjust, Measure];
        assert_eq!(to_do(&advice), expected, "{advice:?}");
        assert_eq!(advice.outcome.0, AdviceOutcome::FollowSteps);
        let ec = advice.ec_expected.unwrap();
        assert!((ec.ec_ms_cm - 1.4).abs() < 0.002 && ec.ec_from_ms_cm < 1.4 && ec.ec_to_ms_cm > 1.4, "{ec:?}");
        let doses: Vec<f64> = advice.steps.iter().filter(|step| step.to_do == ToDo::Dose).map(|step| step.amount.unwrap().value).collect();
        assert_eq!(doses[0], doses[1], "the step's proportions stay");
        assert!((100.0..400.0).contains(&doses[0]), "{doses:?}");
        let first = &advice.steps[1];
        assert_eq!((first.product_id, first.to_ph), (Some(acid), Some(6.25)));
        assert!(first.amount.unwrap().value < first.expected.unwrap().value, "{first:?}");
        assert_eq!(advice.lacking.iter().map(|one| (one.product_id, one.held.value)).collect::<Vec<_>>(), [(acid, 0.0)]);
        assert!(advice.reasons.iter().any(|reason| reason.contains("alkalinity is above 2")), "{:?}", advice.reasons);
        assert!(advice.reasons.iter().any(|reason| reason.contains("mg/L of N")), "{:?}", advice.reasons);
        assert!(advice.cautions.iter().any(|caution| caution.contains("Feeds fire")), "{:?}", advice.cautions);
        assert_eq!(world.ada.advice(site, advice.id).await.unwrap(), advice);
    }

    async fn whoever_follows_advice_names_it(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let advice = world.ada.advise_fill(site, &wanted(&feeding)).await.unwrap();
        let body = feeding.change("2026-11-24T06:30:00+01:00", json!({ "advice_id": advice.id }));
        let done = world.ada.record_tank_change(site, &body).await.unwrap();
        assert!(done.additions.iter().all(|addition| addition.advice_id == Some(advice.id)), "{done:?}");
        let more = NewAddition { advice_id: Some(advice.id), ..feeding.addition(20.0) };
        let added = world.ada.record_addition(site, &more).await.unwrap();
        assert_eq!(added.advice_id, Some(advice.id));
        let checks = world.ada.checks(site, "").await.unwrap().items;
        let again: Vec<&Check> = checks.iter().filter(|check| check.cause == "advice").collect();
        let [again] = again[..] else { panic!("one check for what was poured: {checks:?}") };
        assert_eq!((again.tank_id, again.due_at.text().as_str()), (Some(feeding.here.north_tank), "2026-11-24T06:30:00.000Z"));
        let mistaken = NewReversal { client_id: Uuid::now_v7(), reason: "the other tank".into() };
        world.ada.reverse_addition(site, added.id, &mistaken).await.unwrap();
        let to_measure = async || {
            let checks = world.ada.checks(site, "").await.unwrap().items;
            checks.iter().filter(|check| check.cause == "advice").count()
        };
        assert_eq!(to_measure().await, 0, "nothing is to be measured");
        let anew = NewAddition { client_id: Uuid::now_v7(), ..more.clone() };
        world.ada.record_addition(site, &anew).await.unwrap();
        assert_eq!(to_measure().await, 1, "what is entered in its place is");
        let of_another = NewAddition { tank_id: unfed(&world, &feeding).await, client_id: Uuid::now_v7(), ..more };
        let error = world.ada.record_addition(site, &of_another).await.unwrap_err();
        let fault = &error.problem().unwrap().errors[0];
        assert_eq!((fault.pointer.as_deref(), fault.code.as_str()), (Some("/advice_id"), "unknown_id"));
    }

    async fn what_no_programme_leads_gets_no_amounts(world: World) {
        let (feeding, _) = labelled(&world).await;
        let body = NewFillAdvice { tank_id: unfed(&world, &feeding).await, ..wanted(&feeding) };
        assert_eq!(refusal(world.ada.advise_fill(feeding.here.site, &body).await), ProblemCode::Conflict);
        for (value, unit) in [(2000, "L"), (200, "mL")] {
            let volume = Some(json(json!({ "value": value, "unit": unit })));
            let other = NewFillAdvice { tank_id: feeding.here.north_tank, volume, ..body.clone() };
            assert_eq!(refusal(world.ada.advise_fill(feeding.here.site, &other).await), ProblemCode::Invalid);
        }
        let none = NewFillAdvice { tank_id: Uuid::now_v7(), ..body };
        let error = world.ada.advise_fill(feeding.here.site, &none).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/tank_id"));
    }

    async fn a_correction_follows_the_latest_readings(world: World) {
        let (feeding, acid) = labelled(&world).await;
        water(&world, &feeding, json!({ "ec": { "value": 0.3, "unit": "mS/cm" }, "ph": 7.5, "alkalinity": { "value": 1.8, "unit": "meq/L" } })).await;
        let site = feeding.here.site;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let blind = world.ada.advise_correction(site, &wanted).await.unwrap();
        assert_eq!(to_do(&blind), [ToDo::Measure, ToDo::Measure], "{blind:?}");
        assert_eq!(blind.outcome.0, AdviceOutcome::MeasureFirst);
        read(&world, &feeding, "06:50", 0.9, 6.0).await;
        let weak = world.ada.advise_correction(site, &wanted).await.unwrap();
        assert_eq!(to_do(&weak), [ToDo::Dose, ToDo::Dose, ToDo::Measure, ToDo::Measure], "{weak:?}");
        assert!((weak.ec_expected.unwrap().ec_ms_cm - 1.4).abs() < 0.002, "{weak:?}");
        read(&world, &feeding, "06:52", 1.4, 6.9).await;
        let sour = world.ada.advise_correction(site, &wanted).await.unwrap();
        let [step, _] = &sour.steps[..] else { panic!("{sour:?}") };
        assert_eq!((step.to_do, step.product_id), (ToDo::Adjust, Some(acid)));
        assert!(step.amount.unwrap().value < step.expected.unwrap().value, "{step:?}");
        read(&world, &feeding, "06:54", 1.4, 6.0).await;
        let right = world.ada.advise_correction(site, &wanted).await.unwrap();
        assert_eq!(right.steps, [], "{right:?}");
        assert!(right.reasons[0].contains("leave it"), "{right:?}");
        assert_eq!(right.outcome.0, AdviceOutcome::Leave);
        let topped_up = NewCorrectionAdvice { topping_up: true, ..wanted };
        read_volume(&world, &feeding, "06:55", 170.0).await;
        read(&world, &feeding, "06:56", 1.5, 6.0).await;
        let filled = world.ada.advise_correction(site, &topped_up).await.unwrap();
        assert_eq!(filled.outcome.0, AdviceOutcome::FollowSteps);
        // 170 L at 1.5 and 30 of water at 0.3 are 1.32, in the band; the programme tops up at its own strength.
        assert_eq!(to_do(&filled), [ToDo::Water, ToDo::Dose, ToDo::Dose, ToDo::Measure, ToDo::Measure], "{filled:?}");
    }

    async fn a_tank_that_was_topped_up_hundreds_of_times_is_still_told_to_be_changed(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let changed = feeding.change("2026-11-11T07:00:00+01:00", json!({ "confirmed": true }));
        world.ada.record_tank_change(site, &changed).await.unwrap();
        // 250 times 0.9 L are 1.1 times the tank; of the newest 200 alone it would be 0.9 times.
        let top_up = |number: i64| NewAddition {
            client_id: Uuid::now_v7(),
            product_id: None,
            amount: json(json!({ "value": 0.9, "unit": "L" })),
            reason: json(json!("top_up")),
            recorded_at: (instant("2026-11-11T12:00:00Z") + TimeDelta::hours(number)).into(),
            ..feeding.addition(1.0)
        };
        let batch = AdditionBatch { items: (0..250).map(top_up).collect() };
        world.ada.record_additions(site, &batch).await.unwrap();
        read(&world, &feeding, "06:50", 1.4, 6.0).await;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let told = world.ada.advise_correction(site, &wanted).await.unwrap();
        assert!(told.reasons.iter().any(|reason| reason.contains("drunk and filled up 1.1 times")), "{told:?}");
    }

    async fn what_is_far_from_the_advice_it_followed_is_asked_back(world: World) {
        let (feeding, acid) = labelled(&world).await;
        let site = feeding.here.site;
        let advice = world.ada.advise_fill(site, &wanted(&feeding)).await.unwrap();
        let more = NewAddition { advice_id: Some(advice.id), ..feeding.addition(9_000.0) };
        let error = world.ada.record_addition(site, &more).await.unwrap_err();
        assert!(error.problem().unwrap().detail.contains("of the advice it followed"), "{error:?}");
        let flood = NewAddition { product_id: Some(acid), client_id: Uuid::now_v7(), ..feeding.addition(3_000.0) };
        let error = world.ada.record_addition(site, &flood).await.unwrap_err();
        assert!(error.problem().unwrap().detail.contains("poured in small parts"), "{error:?}");
    }

    async fn what_the_followed_advice_does_not_name_is_asked_back(world: World) {
        let (feeding, acid) = labelled(&world).await;
        let site = feeding.here.site;
        feeding.receive(&world.ada, acid, "S1", "2027-03-01", 900.0).await;
        let advice = world.ada.advise_fill(site, &wanted(&feeding)).await.unwrap();
        let other = NewAddition { advice_id: Some(advice.id), product_id: Some(acid), ..feeding.addition(20.0) };
        let error = world.ada.record_addition(site, &other).await.unwrap_err();
        let problem = error.problem().unwrap();
        assert_eq!((problem.code, problem.errors[0].pointer.as_deref()), (ProblemCode::ConfirmationNeeded, Some("/advice_id")));
        world.ada.record_addition(site, &NewAddition { advice_id: None, ..other }).await.unwrap();
    }

    async fn an_acid_of_unknown_strength_is_given_in_small_steps(world: World) {
        let feeding = world.feeding().await;
        let body = json(json!({ "name": "Sour", "base": "mL", "kind": "ph_adjuster", "mixing_rank": 90 }));
        let sour = world.ada.business().create::<NewProduct>(&body).await.unwrap().id;
        label(&world, sour, json!({ "reagent": "citric_acid" })).await;
        read(&world, &feeding, "06:50", 1.4, 6.9).await;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let told = world.ada.advise_correction(feeding.here.site, &wanted).await.unwrap();
        assert_eq!((told.outcome.0, to_do(&told)), (AdviceOutcome::FollowSteps, vec![ToDo::Measure]), "{told:?}");
    }

    async fn water_holds_no_more_alkalinity_than_it_conducts(world: World) {
        let (feeding, _) = labelled(&world).await;
        let body = json!({ "name": "Spring", "ec": { "value": 0.2, "unit": "mS/cm" }, "alkalinity": { "value": 8.0, "unit": "meq/L" } });
        let error = world.ada.site(feeding.here.site).create::<NewWaterSource>(&json(body)).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/alkalinity"));
    }

    async fn two_labels_of_a_product_do_not_take_effect_at_once(world: World) {
        let (feeding, _) = labelled(&world).await;
        let body = json!({ "product_id": feeding.grow_a, "effective_at": "2026-11-20T00:00:00Z", "ec_rise_per_unit_per_l": 0.5 });
        let body: NewLabelRevision = json(body);
        world.ada.business().create::<NewLabelRevision>(&body).await.unwrap();
        let error = world.ada.business().create::<NewLabelRevision>(&body).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/effective_at"));
    }

    async fn the_next_dose_is_learnt_from_what_was_poured_and_read(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        // 200 mL of Grow A in 200 L raise the EC by 0.25, whatever chemistry says of its label (about 0.4).
        for day in 10..20 {
            let at = |time: &str| format!("2026-11-{day}T{time}:00+01:00");
            for (time, ec) in [("07:00", 1.0), ("08:00", 1.25)] {
                world.ada.record_reading(site, &ec_reading(&feeding, &at(time), ec)).await.unwrap();
            }
            let poured = NewAddition { recorded_at: instant(&at("07:10")).into(), client_id: Uuid::now_v7(), confirmed: true, poured_all_the_same: true, ..feeding.addition(200.0) };
            world.ada.record_addition(site, &poured).await.unwrap();
        }
        read(&world, &feeding, "06:50", 0.9, 6.0).await;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let weak = world.ada.advise_correction(site, &wanted).await.unwrap();
        assert!(weak.reasons.iter().any(|reason| reason.contains("learnt from 10 additions")), "{:?}", weak.reasons);
        let dose = weak.steps[0].amount.unwrap().value;
        // 100 mS/cm·L: with A at 0.25 and B at about the 0.4 that chemistry says of it 154 mL of each, with A at 0.4 only 125.
        assert!((145.0..165.0).contains(&dose), "{dose}");
    }

    async fn what_is_old_or_was_poured_under_another_label_tells_nothing(world: World) {
        let (feeding, _) = labelled(&world).await;
        let site = feeding.here.site;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        for day in 10..16 {
            let at = |time: &str| format!("2026-11-{day}T{time}:00+01:00");
            for (time, ec) in [("07:00", 1.0), ("08:00", 1.25)] {
                world.ada.record_reading(site, &ec_reading(&feeding, &at(time), ec)).await.unwrap();
            }
            let poured = NewAddition { recorded_at: instant(&at("07:10")).into(), client_id: Uuid::now_v7(), confirmed: true, poured_all_the_same: true, ..feeding.addition(200.0) };
            world.ada.record_addition(site, &poured).await.unwrap();
        }
        let old = world.ada.advise_correction(site, &wanted).await.unwrap();
        assert_eq!(to_do(&old), [ToDo::Measure, ToDo::Measure], "{old:?}");
        let stronger = json!({ "product_id": feeding.grow_a, "effective_at": "2026-11-20T00:00:00Z", "ec_rise_per_unit_per_l": 0.5 });
        world.ada.business().create::<NewLabelRevision>(&json(stronger)).await.unwrap();
        read(&world, &feeding, "06:50", 0.9, 6.0).await;
        let weak = world.ada.advise_correction(site, &wanted).await.unwrap();
        assert!(!weak.reasons.iter().any(|reason| reason.contains("learnt from")), "{:?}", weak.reasons);
    }

    async fn a_stock_tank_is_made_for_its_doser_and_not_corrected(world: World) {
        let (feeding, _) = labelled(&world).await;
        let (site, here) = (feeding.here.site, world.ada.site(feeding.here.site));
        let body = json(json!({ "name": "Stock A", "mode": "stock_tank", "stock_ratio": 99.0, "fill_mark": { "value": 50, "unit": "L" } }));
        let tank = here.create::<NewTank>(&body).await.unwrap().id;
        let feed = json!({ "tank_id": tank, "cycle_id": feeding.here.cycle, "from_on": "2026-11-10", "leads": true, "plants": 1 });
        here.create::<NewFeed>(&json(feed)).await.unwrap();
        let all = NewFillAdvice { tank_id: tank, ..wanted(&feeding) };
        let error = world.ada.advise_fill(site, &all).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/product_id"));
        let fill = NewFillAdvice { product_id: Some(feeding.grow_a), ..all };
        let made = world.ada.advise_fill(site, &fill).await.unwrap();
        assert_eq!(to_do(&made), [ToDo::Water, ToDo::Dose, ToDo::Water]);
        // 50 L make 5,000 L of feed; 200 L of it took some 290 mL of each part.
        let dose = made.steps[1].amount.unwrap().value;
        assert!((6_000.0..9_000.0).contains(&dose), "{dose}");
        assert!((made.ec_expected.unwrap().ec_ms_cm - 1.4).abs() < 0.01, "{:?}", made.ec_expected);
        assert!(made.reasons.iter().any(|reason| reason.contains("5000 L")), "{:?}", made.reasons);
        let wanted = NewCorrectionAdvice { tank_id: tank, topping_up: false };
        assert_eq!(refusal(world.ada.advise_correction(site, &wanted).await), ProblemCode::Conflict);
    }

    async fn without_bands_of_its_own_a_tank_has_what_is_published_of_its_crop(world: World) {
        let (feeding, _) = labelled(&world).await;
        let mut steps = steps(&[(feeding.grow_a, 2.0), (feeding.grow_b, 2.0)]);
        for step in steps.as_array_mut().unwrap() {
            step["bands"] = json!([]);
        }
        let revision = json!({ "programme_id": feeding.here.programme, "effective_at": "2026-11-01T00:00:00Z", "steps": steps });
        world.ada.business().create::<NewProgrammeRevision>(&json(revision)).await.unwrap();
        let advice = world.ada.advise_fill(feeding.here.site, &wanted(&feeding)).await.unwrap();
        // Basil: 1.0 to 1.6 mS/cm (HLA-6722, Oklahoma State University Extension).
        assert!((advice.ec_expected.unwrap().ec_ms_cm - 1.3).abs() < 0.002, "{advice:?}");
        assert!(advice.reasons.iter().any(|reason| reason.contains("HLA-6722")), "{:?}", advice.reasons);
    }

    async fn a_label_keeps_what_it_declares(world: World) {
        let (feeding, acid) = labelled(&world).await;
        let business = world.ada.business();
        let declared = |body: Value| json::<NewLabelRevision>(body);
        let base = json!({ "product_id": feeding.grow_a, "effective_at": "2026-02-01T00:00:00Z" });
        let mut twice = base.clone();
        let line = json!({ "declared": "ca", "percent": 6.0 });
        twice["analysis"] = json!({ "basis": "w/w", "declared": [line, line] });
        let error = business.create::<NewLabelRevision>(&declared(twice)).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/analysis/declared/1/declared"));
        let mut total = base.clone();
        let forms = json!([{ "declared": "n", "percent": 5.0 }, { "declared": "nitrate_n", "percent": 5.0 }]);
        total["analysis"] = json!({ "basis": "w/w", "declared": forms });
        let error = business.create::<NewLabelRevision>(&declared(total)).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].code, "counted_twice");
        let mut nameless = base;
        nameless["strength_percent"] = json!(38.0);
        let error = business.create::<NewLabelRevision>(&declared(nameless)).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/reagent"));
        let kept = business.all::<NewLabelRevision>(&format!("product_id={acid}")).await.unwrap();
        assert_eq!(kept[0].body.reagent.map(|reagent| reagent.0), Some(fillmark_domain::stock::Reagent::Nitric));
    }
}
