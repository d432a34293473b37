//! A tank that was looked after, entered through the API.

use chrono::{TimeDelta, Utc};
use fillmark_api::{BatchAnswer, NewCycle, NewLabelRevision, NewProduct, NewTank, NewWaterSource};
use fillmark_client::Client;
use fillmark_domain::stock::Declared;
use fillmark_domain::{Coded, Metric};
use serde_json::{Value, json};
use uuid::Uuid;

use super::load::{Visitor, post};
use super::server::Server;
use super::tended::{ACID, ACID_MOL_L, Bottle, Done, LABELS, MARK_L, WATER, tended};
use crate::feeding::Feeding;
use crate::world::{PASSWORD, json as body};

/// The largest batch there is.
const BATCH: usize = 500;

/// The small site with labels, a water, more tanks, and a tank that was looked after every day.
pub struct LookedAfter<'a> {
    /// The small site.
    pub feeding: Feeding,
    /// A server on its database.
    pub server: &'a Server,
}

impl LookedAfter<'_> {
    /// Enters it all; answers the token of who did.
    /// # Panics
    /// When the server refuses any of it.
    pub async fn make(&self, other_tanks: usize, days: i64) -> String {
        let client = Client::new(&format!("http://{}", self.server.address)).expect("a client");
        client.sign_in("ada", PASSWORD).await.expect("a session");
        let acid = self.label(&client).await;
        self.furnish(&client, other_tanks).await;
        let token = client.access_token().await.expect("a token");
        let (mut readings, mut additions) = (Vec::new(), Vec::new());
        for (at, done) in tended(days, Utc::now()) {
            let mut entry = self.entry(done, acid);
            entry["recorded_at"] = json!(at);
            match done {
                Done::Read(..) => readings.push(entry),
                Done::Poured(..) | Done::ToppedUp(_) => additions.push(entry),
            }
        }
        self.enter("readings", &token, &readings).await;
        self.enter("additions", &token, &additions).await;
        self.change(&client).await;
        token
    }

    /// Labels of the concentrates, and an acid with its own.
    async fn label(&self, client: &Client) -> Uuid {
        let business = client.business();
        let acid = json!({ "name": "pH Down", "base": "mL", "kind": "ph_adjuster", "mixing_rank": 90 });
        let acid = business.create::<NewProduct>(&body(acid)).await.expect("a product").id;
        let labels = [self.feeding.grow_a, self.feeding.grow_b].into_iter().zip(LABELS);
        let analysed = labels.map(|(product, label)| {
            let line = |(declared, percent): &(Declared, f64)| {
                json!({ "declared": declared.code(), "percent": percent })
            };
            let declared: Vec<Value> = label.iter().map(line).collect();
            json!({ "product_id": product, "analysis": { "basis": "w/v", "declared": declared } })
        });
        let strong = json!({ "product_id": acid, "reagent": ACID.code(), "strength_mol_per_l": ACID_MOL_L });
        for mut label in analysed.chain([strong]) {
            label["effective_at"] = json!("2026-01-01T00:00:00Z");
            business.create::<NewLabelRevision>(&body(label)).await.expect("a label");
        }
        acid
    }

    /// The water, the other tanks, and a cycle that still drinks.
    async fn furnish(&self, client: &Client, other_tanks: usize) {
        let here = client.site(self.feeding.here.site);
        let acidity = WATER.acidity.expect("a water that is known");
        let water = json!({ "name": "Well", "ec": { "value": WATER.ec_ms_cm, "unit": "mS/cm" }, "ph": acidity.ph,
            "alkalinity": { "value": acidity.alkalinity_meq_l, "unit": "meq/L" } });
        let water = here.create::<NewWaterSource>(&body(water)).await.expect("a water").id;
        let own = here.read::<NewTank>(self.feeding.here.north_tank).await.expect("the tank");
        here.change(&own, json!({ "water_source_id": water })).await.expect("its water");
        for at in 1..=other_tanks {
            let tank = json!({ "name": format!("Tank {at}"), "mode": "recirculating", "water_source_id": water,
                "fill_mark": { "value": MARK_L, "unit": "L" } });
            here.create::<NewTank>(&body(tank)).await.expect("a tank");
        }
        let cycle = here.read::<NewCycle>(self.feeding.here.cycle).await.expect("the cycle");
        let ends_on = (Utc::now() + TimeDelta::days(30)).date_naive();
        here.change(&cycle, json!({ "ends_on": ends_on })).await.expect("a longer cycle");
    }

    /// A full change the day before yesterday: a tank that has turned over gets no other advice than to change it.
    async fn change(&self, client: &Client) {
        let grow_a = json!({ "product_id": self.feeding.grow_a, "amount": { "value": 400.0, "unit": "mL" },
            "poured_all_the_same": true });
        let at = (Utc::now() - TimeDelta::hours(36)).to_rfc3339();
        let done = self.feeding.change(&at, json!({ "products": [grow_a], "confirmed": true }));
        client.record_tank_change(self.feeding.here.site, &done).await.expect("a change");
    }

    fn entry(&self, done: Done, acid: Uuid) -> Value {
        let mut entry = match done {
            Done::Read(metric, value) => {
                let unit = if metric == Metric::Ph { "[pH]" } else { "mS/cm" };
                json!({ "sample_point": "tank", "metric": metric.code(), "value": { "value": value, "unit": unit } })
            }
            Done::Poured(bottle, ml) => {
                let (product, reason) = match bottle {
                    Bottle::Feed(0) => (self.feeding.grow_a, "strength"),
                    Bottle::Feed(_) => (self.feeding.grow_b, "strength"),
                    Bottle::Acid => (acid, "ph"),
                };
                json!({ "product_id": product, "amount": { "value": ml, "unit": "mL" }, "reason": reason,
                    "poured_all_the_same": true })
            }
            Done::ToppedUp(litres) => {
                json!({ "amount": { "value": litres, "unit": "L" }, "reason": "top_up" })
            }
        };
        entry["client_id"] = json!(Uuid::now_v7());
        entry["tank_id"] = json!(self.feeding.here.north_tank);
        entry["confirmed"] = json!(true);
        entry
    }

    async fn enter(&self, what: &str, token: &str, entries: &[Value]) {
        let mut visitor = Visitor::connect(&self.server.address).await.expect("a connection");
        let path = format!("/api/v1/sites/{}/{what}/batch", self.feeding.here.site);
        for items in entries.chunks(BATCH) {
            let request = post(&path, token, &json!({ "items": items }).to_string());
            let answer = visitor.expect(&request, 200).await;
            let answer: BatchAnswer = serde_json::from_slice(&answer).expect("what became of them");
            assert_eq!(answer.summary.created_count as usize, items.len(), "{:?}", answer.results);
        }
    }
}
