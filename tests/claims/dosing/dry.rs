//! What moves the pH and is weighed.

use super::*;

/// Citric acid of 99.5 % as a powder, a kilogram of it on the shelf.
async fn citric(world: &World, feeding: &Feeding) -> Uuid {
    let body = json(json!({ "name": "Citric acid", "base": "g", "kind": "ph_adjuster", "mixing_rank": 90 }));
    let acid = world.ada.business().create::<NewProduct>(&body).await.unwrap().id;
    label(world, acid, json!({ "reagent": "citric_acid", "strength_percent": 99.5 })).await;
    let grams = json!({ "client_id": Uuid::now_v7(), "product_id": acid, "lot_number": "C1", "expiry_on": "2028-03-01",
        "amount": { "value": 1000.0, "unit": "g" }, "confirmed": true });
    world.ada.receive_product(feeding.here.site, &json(grams)).await.unwrap();
    acid
}

on_both! {
    async fn an_acid_that_is_weighed_is_told_in_grams(world: World) {
        let (feeding, _) = labelled(&world).await;
        let hard = json!({ "ec": { "value": 0.6, "unit": "mS/cm" }, "ph": 7.8, "alkalinity": { "value": 4.0, "unit": "meq/L" } });
        water(&world, &feeding, hard).await;
        let acid = citric(&world, &feeding).await;
        let site = feeding.here.site;
        let fill = world.ada.advise_fill(site, &wanted(&feeding)).await.unwrap();
        let step = fill.steps.iter().find(|step| step.to_do == ToDo::Adjust).unwrap();
        let (first, expected) = (step.amount.unwrap(), step.expected.unwrap());
        assert_eq!((step.product_id, first.unit.0.code(), expected.unit.0.code()), (Some(acid), "g", "g"), "{fill:?}");
        // By hand, to pH 6.25 some 2.2 meq/L of 4 are taken; citric acid gives two of its three there and a part of the third
        // (pKa 3.1, 4.8, 6.4): 0.85 to 1 mmol/L, 192 g/mol, 200 L.
        assert!((30.0..45.0).contains(&expected.value), "{expected:?}");
        assert!(fill.reasons.iter().any(|reason| reason.starts_with("Citric acid is weighed: dissolve it")), "{fill:?}");
        read(&world, &feeding, "06:52", 1.4, 7.2).await;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let sour = world.ada.advise_correction(site, &wanted).await.unwrap();
        let step = sour.steps.iter().find(|step| step.to_do == ToDo::Adjust).unwrap();
        assert_eq!((step.product_id, step.amount.unwrap().unit.0.code()), (Some(acid), "g"), "{sour:?}");
    }

    async fn the_strength_of_a_solid_is_a_part_of_its_weight(world: World) {
        let (feeding, _) = labelled(&world).await;
        let acid = citric(&world, &feeding).await;
        let body = json!({ "product_id": acid, "effective_at": "2026-02-01T00:00:00Z", "reagent": "citric_acid", "strength_mol_per_l": 2.0 });
        let error = world.ada.business().create::<NewLabelRevision>(&json(body)).await.unwrap_err();
        assert_eq!(error.problem().unwrap().errors[0].pointer.as_deref(), Some("/strength_mol_per_l"));
    }

    async fn an_acid_that_has_taught_is_taken_before_another_of_which_more_is_there(world: World) {
        let (feeding, acid) = labelled(&world).await;
        let site = feeding.here.site;
        water(&world, &feeding, json!({ "ec": { "value": 0.3, "unit": "mS/cm" }, "ph": 7.5, "alkalinity": { "value": 1.8, "unit": "meq/L" } })).await;
        feeding.receive(&world.ada, acid, "N1", "2028-03-01", 5000.0).await;
        citric(&world, &feeding).await;
        let wanted = NewCorrectionAdvice { tank_id: feeding.here.north_tank, topping_up: false };
        let taken = async || {
            read(&world, &feeding, "06:50", 1.4, 7.2).await;
            let advice = world.ada.advise_correction(site, &wanted).await.unwrap();
            advice.steps.into_iter().find_map(|step| step.product_id).unwrap()
        };
        // 5 L of nitric acid of 38 % are 37 mol, a kilogram of citric acid 15 eq.
        assert_eq!(taken().await, acid);
        let ph = |time: &str, ph: f64| json!({ "client_id": Uuid::now_v7(), "tank_id": feeding.here.north_tank, "metric": "ph",
            "sample_point": "tank", "value": { "value": ph, "unit": "[pH]" }, "recorded_at": format!("2026-11-22T{time}:00+01:00"), "confirmed": true });
        let citric = world.ada.business().all::<NewProduct>("").await.unwrap().into_iter().find(|one| one.body.name == "Citric acid").unwrap().id;
        world.ada.record_reading(site, &json(ph("07:00", 7.0))).await.unwrap();
        let poured = NewAddition { product_id: Some(citric), amount: json(json!({ "value": 9.0, "unit": "g" })), reason: json(json!("ph")),
            recorded_at: instant("2026-11-22T07:10:00+01:00").into(), confirmed: true, poured_all_the_same: true, ..feeding.addition(1.0) };
        world.ada.record_addition(site, &poured).await.unwrap();
        world.ada.record_reading(site, &json(ph("08:00", 6.4))).await.unwrap();
        assert_eq!(taken().await, citric, "it has taught something");
    }
}
