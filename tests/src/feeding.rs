//! The small site with two concentrates on its shelf, dosed by its programme at 2 mL/L each.

use fillmark_api::*;
use fillmark_client::Client;
use serde_json::{Value, json as value};
use uuid::Uuid;

use crate::greenhouse::steps;
use crate::world::json;
use crate::{Greenhouse, World};

/// Ids of the small site and what stands on its shelf.
#[derive(Debug, Clone, Copy)]
pub struct Feeding {
    /// The small site.
    pub here: Greenhouse,
    /// Grow A, in mL, no stock yet.
    pub grow_a: Uuid,
    /// Grow B, in mL, no stock yet.
    pub grow_b: Uuid,
    /// Takes orders on Tuesdays and Thursdays, promises three days.
    pub supplier: Uuid,
}

impl World {
    /// The small site with its concentrates, offered in packs of 1 L, two at least.
    pub async fn feeding(&self) -> Feeding {
        let here = self.greenhouse().await;
        let business = self.ada.business();
        let supplier = value!({ "name": "Greenline", "order_days": ["tuesday", "thursday"], "cut_off_local": "12:00",
            "promised_lead_days": 3, "currency": "EUR" });
        let supplier = business.create::<NewSupplier>(&json(supplier)).await.expect("a supplier").id;
        let mut products = [Uuid::nil(); 2];
        for (product, name) in products.iter_mut().zip(["Grow A", "Grow B"]) {
            let body = value!({ "name": name, "base": "mL", "kind": "concentrate", "mixing_rank": 20 });
            *product = business.create::<NewProduct>(&json(body)).await.expect("a product").id;
            let offer = value!({ "supplier_id": supplier, "product_id": product, "pack": { "value": 1, "unit": "L" },
                "price_minor": 1990, "currency": "EUR", "minimum_packs": 2 });
            self.ada.site(here.site).create::<NewOffer>(&json(offer)).await.expect("an offer");
        }
        let [grow_a, grow_b] = products;
        let doses = steps(&[(grow_a, 2.0), (grow_b, 2.0)]);
        let revision = value!({ "programme_id": here.programme, "effective_at": "2026-01-02T00:00:00Z", "steps": doses });
        business.create::<NewProgrammeRevision>(&json(revision)).await.expect("a revision");
        Feeding { here, grow_a, grow_b, supplier }
    }
}

impl Feeding {
    /// Some of a product came in on 10 November.
    pub async fn receive(&self, client: &Client, product: Uuid, lot: &str, expiry_on: &str, ml: f64) -> Slip {
        let body = json(value!({ "client_id": Uuid::now_v7(), "product_id": product, "lot_number": lot,
            "expiry_on": expiry_on, "amount": { "value": ml, "unit": "mL" }, "done_at": "2026-11-10T08:00:00Z" }));
        client.receive_product(self.here.site, &body).await.expect("a receipt")
    }

    /// What is held of a product, mL.
    pub async fn held(&self, client: &Client, product: Uuid) -> f64 {
        client.product_stock(self.here.site, product).await.expect("the stock").balance.value
    }

    /// An addition of Grow A to the north tank at seven o'clock.
    pub fn addition(&self, ml: f64) -> NewAddition {
        json(
            value!({ "client_id": Uuid::now_v7(), "tank_id": self.here.north_tank, "product_id": self.grow_a,
            "amount": { "value": ml, "unit": "mL" }, "reason": "strength", "recorded_at": "2026-11-24T07:00:00+01:00" }),
        )
    }

    /// A full change of the north tank with 400 mL of each concentrate, but for these fields.
    pub fn change(&self, recorded_at: &str, fields: Value) -> NewTankChange {
        let ml = value!({ "value": 400.0, "unit": "mL" });
        let mut body = value!({ "client_id": Uuid::now_v7(), "tank_id": self.here.north_tank,
            "drained": { "value": 180.0, "unit": "L" }, "drained_to": "reed bed", "water_in": { "value": 200.0, "unit": "L" },
            "products": [{ "product_id": self.grow_a, "amount": ml }, { "product_id": self.grow_b, "amount": ml }],
            "readings": [{ "metric": "ec", "value": { "value": 1.4, "unit": "mS/cm" } },
                { "metric": "ph", "value": { "value": 6.0, "unit": "[pH]" } }], "recorded_at": recorded_at });
        for (name, field) in fields.as_object().expect("fields") {
            body[name] = field.clone();
        }
        json(body)
    }
}
