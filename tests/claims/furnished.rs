//! A small site with one of everything, so that no list is empty and no id is unknown, and the requests of the document
//! made to it.

use std::collections::HashMap;

use fillmark_api::*;
use fillmark_domain::people::Role;
use fillmark_tests::Feeding;
use fillmark_tests::contract::{Contract, Operation, with_ids};
use fillmark_tests::greenhouse::reading;
use fillmark_tests::world::{World, json};
use serde_json::{Value, json};
use uuid::Uuid;

/// The document, and ids for every name of a field or parameter in it.
pub(super) struct Furnished {
    pub(super) contract: Contract,
    /// By the name of a field or parameter.
    pub(super) ids: HashMap<String, String>,
    base: String,
}

impl Furnished {
    /// Furnishes a site.
    pub(super) async fn of(world: &World) -> Furnished {
        let ids = ids(world).await;
        let mut furnished = Furnished { contract: Contract::read(), ids, base: world.server.address.clone() };
        furnished.learn_ids(world).await;
        furnished
    }

    /// One of everything that has a list.
    async fn learn_ids(&mut self, world: &World) {
        let (http, token) = (reqwest::Client::new(), world.ada.access_token().await.unwrap());
        for operation in self.contract.operations.clone() {
            let Some(collection) = operation.path.rsplit('/').next().filter(|_| operation.is_list()) else {
                continue;
            };
            let named = self.contract.operations.iter().find_map(|other| {
                let rest = other.path.strip_prefix(&operation.path)?.strip_prefix("/{")?;
                Some(rest.split('}').next()?.to_owned())
            });
            let Some(name) = named.filter(|name| !self.ids.contains_key(name)) else { continue };
            let answer = http.get(self.path(&operation)).bearer_auth(&token).send().await.unwrap();
            let page: Value = answer.json().await.unwrap();
            match page["items"][0]["id"].as_str() {
                Some(id) => drop(self.ids.insert(name, id.to_owned())),
                None => panic!("one of {collection}: {page}"),
            }
        }
    }

    /// The id for a name.
    pub(super) fn id(&self, name: &str) -> Option<String> {
        let other = match name {
            "done_by" | "done_with" => "person_id",
            "to_site_id" | "from_site_id" => "site_id",
            name => name,
        };
        self.ids.get(other).cloned()
    }

    /// Where an operation is found, with the site's own ids.
    pub(super) fn path(&self, operation: &Operation) -> String {
        self.path_by(operation, |name| self.id(name).unwrap_or_else(|| Uuid::now_v7().to_string()))
    }

    /// Where an operation is found with these ids, by their names.
    pub(super) fn path_by(&self, operation: &Operation, id: impl Fn(&str) -> String) -> String {
        let mut parts = operation.path.split(['{', '}']);
        let mut path = self.base.clone();
        while let Some(fixed) = parts.next() {
            path.push_str(fixed);
            path.extend(parts.next().map(&id));
        }
        path
    }

    /// The query an operation cannot do without.
    pub(super) fn query(operation: &Operation) -> &'static str {
        let over_days = operation.query.iter().any(|name| name == "from_on");
        if over_days { "?from_on=2026-11-01&until_on=2026-11-23" } else { "" }
    }

    /// The example of the document as a body of this site.
    pub(super) fn right_body(&self, operation: &Operation) -> Option<Value> {
        let schema = operation.body.as_ref()?;
        Some(with_ids(self.contract.example(schema), "", &|name| self.id(name)))
    }
}

async fn ids(world: &World) -> HashMap<String, String> {
    let feeding = world.feeding().await;
    let here = feeding.here;
    let (sam, _) = world.person("Sam", Role::Staff, Some(here.site)).await;
    let slip = feeding.receive(&world.ada, feeding.grow_a, "L1", "2028-03-01", 90_000.0).await;
    records(world, &feeding, sam.id).await;
    let change = entries(world, &feeding).await;
    let counted = json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a,
        "counted": { "value": 90.0, "unit": "L" } });
    let count = world.ada.count_stock(here.site, &json(counted)).await.unwrap();
    let fill =
        NewFillAdvice { tank_id: here.north_tank, volume: None, water_temperature: None, product_id: None };
    let advice = world.ada.advise_fill(here.site, &fill).await.unwrap();
    let rounds = world.ada.publish_rounds(here.site, "2026-11-25".parse().unwrap()).await.unwrap();
    let round = &rounds.rounds[0];
    let offer = json!({ "day_on": "2026-11-25", "check_ids": [round.steps[0].check_id], "from_person_id": round.person_id });
    keep(world, &format!("/sites/{}/check-offers", here.site), offer).await;
    let note = json!({ "room_id": here.north_room, "text": "The pump hums" });
    keep(world, &format!("/sites/{}/handover-notes", here.site), note).await;
    let memberships = world.ada.business().all::<NewMembership>("").await.unwrap();
    let membership = memberships.iter().find(|one| one.body.person_id == sam.id).unwrap();
    let session = world.ada.sessions(sam.id).await.unwrap().remove(0);
    let known = [
        ("session_id", session.id),
        ("site_id", here.site),
        ("person_id", sam.id),
        ("membership_id", membership.id),
        ("tank_id", here.north_tank),
        ("room_id", here.north_room),
        ("crop_id", here.crop),
        ("programme_id", here.programme),
        ("cycle_id", here.cycle),
        ("product_id", feeding.grow_a),
        ("supplier_id", feeding.supplier),
        ("slip_id", slip.id),
        ("count_id", count.id),
        ("lot_id", slip.lot_id.unwrap()),
        ("change_id", change),
        ("advice_id", advice.id),
        ("round_id", rounds.rounds[0].id.unwrap()),
    ];
    let named = known.into_iter().map(|(name, id)| (name.to_owned(), id.to_string()));
    named.chain([("code".to_owned(), "invalid".to_owned())]).collect()
}

/// Keeps a record or an entry below a path.
async fn keep(world: &World, path: &str, body: Value) -> Value {
    world.ada.post(path, &body).await.unwrap_or_else(|error| panic!("{path}: {error}"))
}

async fn records(world: &World, feeding: &Feeding, person: Uuid) {
    let (site, tank) = (feeding.here.site, feeding.here.north_tank);
    let qualification = keep(world, "/qualifications", json!({ "name": "Dosing" })).await;
    let held =
        json!({ "person_id": person, "qualification_id": qualification["id"], "from_on": "2026-01-01" });
    keep(world, "/held-qualifications", held).await;
    let label = json!({ "product_id": feeding.grow_a, "effective_at": "2026-01-01T00:00:00Z" });
    keep(world, "/label-revisions", label).await;
    let here = async |path: &str, body: Value| keep(world, &format!("/sites/{site}/{path}"), body).await;
    here("water-sources", json!({ "name": "Mains", "ec": { "value": 0.3, "unit": "mS/cm" } })).await;
    let outage =
        json!({ "tank_id": tank, "from_on": "2026-10-01", "until_on": "2026-10-02", "reason": "pump" });
    here("outages", outage).await;
    here("closures", json!({ "from_on": "2026-12-25", "until_on": "2026-12-26", "reason": "holidays" }))
        .await;
    here("devices", json!({ "name": "Quay probe", "until_at": "2027-11-24T00:00:00Z" })).await;
    let meter = here("meters", json!({ "name": "Pen", "kind": "ec" })).await;
    let calibration = json!({ "meter_id": meter["id"], "calibrated_at": "2026-11-23T08:00:00Z", "standards": "1413 uS/cm", "passed": true });
    here("calibrations", calibration).await;
    let planned = json!({ "tank_id": tank, "kind": "on", "on_day": "2026-11-27", "reason": "as planned" });
    here("planned-changes", planned).await;
    let absence = json!({ "person_id": person, "from_at": "2026-12-01T00:00:00Z", "until_at": "2026-12-02T00:00:00Z", "reason": "leave" });
    here("absences", absence).await;
    world.shift(site, person, "2026-11-25").await;
    world.check_plan(site, json!({ "tank_id": tank })).await;
    world.beat().await;
}

/// Answers the tank change.
async fn entries(world: &World, feeding: &Feeding) -> Uuid {
    let (ada, site, tank) = (&world.ada, feeding.here.site, feeding.here.north_tank);
    let here = async |path: &str, body: Value| keep(world, &format!("/sites/{site}/{path}"), body).await;
    let high = reading(tank, "ph", 6.8, "[pH]", "2026-11-24T06:30:00+01:00");
    ada.record_reading(site, &high).await.unwrap();
    ada.record_addition(site, &feeding.addition(10.0)).await.unwrap();
    let short =
        NewAddition { product_id: Some(feeding.grow_b), poured_all_the_same: true, ..feeding.addition(1.0) };
    ada.record_addition(site, &short).await.unwrap();
    let harvest = json!({ "client_id": Uuid::now_v7(), "cycle_id": feeding.here.cycle, "harvested_at": "2026-11-20T10:00:00+01:00",
        "saleable": { "value": 30.0, "unit": "kg" }, "rejected": { "value": 1.0, "unit": "kg" } });
    here("harvests", harvest).await;
    let offer = ada.site(site).all::<NewOffer>("").await.unwrap().remove(0);
    here("orders", json!({ "lines": [{ "offer_id": offer.id, "packs": 2 }] })).await;
    let hill = world.site("Hill").await.id;
    let transfer = json!({ "client_id": Uuid::now_v7(), "product_id": feeding.grow_a, "to_site_id": hill, "amount": { "value": 10.0, "unit": "mL" } });
    here("transfers", transfer).await;
    ada.issue_forecast(site).await.unwrap();
    let change = feeding.change("2026-11-20T09:00:00+01:00", json!({ "products": [] }));
    ada.record_tank_change(site, &change).await.unwrap().change.id
}
