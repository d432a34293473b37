//! Stock: the ledger, what is poured from it, and what stays true whoever writes at once.

mod counting;
mod late;
mod ledger;
mod orders;
mod together;
mod transfers;

use fillmark_api::*;
use fillmark_client::{Client, ClientError};
use fillmark_tests::world::{World, json};
use serde_json::json;
use uuid::Uuid;

/// A site with a product counted in mL.
struct Shelf {
    site: Uuid,
    product: Uuid,
}

async fn product(world: &World, name: &str, base: &str) -> Product {
    let body = json(json!({ "name": name, "base": base, "kind": "concentrate", "mixing_rank": 20 }));
    world.ada.business().create::<NewProduct>(&body).await.unwrap()
}

impl Shelf {
    async fn of(world: &World) -> Shelf {
        let site = world.site("Harbour").await.id;
        Shelf { site, product: product(world, "Grow A", "mL").await.id }
    }

    async fn at(&self, world: &World, name: &str) -> Shelf {
        Shelf { site: world.site(name).await.id, product: self.product }
    }

    fn receipt(&self, lot: &str, expiry_on: Option<&str>, ml: f64) -> NewReceipt {
        json(json!({ "client_id": Uuid::now_v7(), "product_id": self.product, "lot_number": lot,
            "expiry_on": expiry_on, "amount": { "value": ml, "unit": "mL" } }))
    }

    async fn receive(&self, client: &Client, lot: &str, expiry_on: Option<&str>, ml: f64) -> Slip {
        client.receive_product(self.site, &self.receipt(lot, expiry_on, ml)).await.unwrap()
    }

    async fn issue(&self, client: &Client, ml: f64) -> Result<Slip, ClientError> {
        client.issue_product(self.site, self.product, &issue(ml)).await
    }

    async fn count(&self, client: &Client, lot: Option<Uuid>, ml: f64) -> Result<Slip, ClientError> {
        let body = json(json!({ "client_id": Uuid::now_v7(), "product_id": self.product, "lot_id": lot,
            "counted": { "value": ml, "unit": "mL" } }));
        client.count_stock(self.site, &body).await
    }

    async fn held(&self, client: &Client) -> f64 {
        client.product_stock(self.site, self.product).await.unwrap().balance.value
    }

    /// The balance as the movements have it.
    async fn moved(&self, client: &Client) -> f64 {
        let movements = client.movements(self.site, &format!("product_id={}", self.product)).await.unwrap();
        movements.iter().map(|movement| movement.change.value).sum()
    }

    async fn lots(&self, client: &Client) -> Vec<(String, f64)> {
        let stock = client.product_stock(self.site, self.product).await.unwrap();
        stock.lots.into_iter().map(|lot| (lot.number, lot.balance.value)).collect()
    }
}

fn issue(ml: f64) -> NewIssue {
    json(json!({ "client_id": Uuid::now_v7(), "amount": { "value": ml, "unit": "mL" } }))
}

fn reversal(reason: &str) -> NewReversal {
    NewReversal { client_id: Uuid::now_v7(), reason: reason.into() }
}
