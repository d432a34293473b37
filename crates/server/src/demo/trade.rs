//! A look at the shelf once a week: what would not last is ordered, what was ordered comes in.

use chrono::{Days, NaiveDate};
use fillmark_actions::stock::{self, Count, Done, Packs, Placing, Receipt};
use fillmark_actions::{App, Caller, Refusal};
use fillmark_domain::stock::Order;
use fillmark_domain::{Id, Quantity, Unit};
use rand::Rng;
use rand::rngs::StdRng;
use uuid::Uuid;

use super::business::{Business, Place, at};
use super::cast::PRODUCTS;

/// What is on a site's shelf by its own reckoning, and what is on the way.
pub(super) struct Shelf {
    held_ml: Vec<f64>,
    coming: Vec<Coming>,
    lot: u32,
}

/// Whose shelf it is, and who keeps it.
#[derive(Clone, Copy)]
pub(super) struct Keeper<'a> {
    pub(super) app: &'a App,
    pub(super) business: &'a Business,
    pub(super) place: &'a Place,
    pub(super) manager: &'a Caller,
}

struct Coming {
    on: NaiveDate,
    product: usize,
    ml: f64,
    order: Id<Order>,
}

impl Shelf {
    pub(super) fn new() -> Shelf {
        Shelf { held_ml: vec![0.0; PRODUCTS.len()], coming: Vec::new(), lot: 0 }
    }

    /// Begins the year with three packs of everything.
    pub(super) async fn stock(&mut self, keeper: Keeper<'_>) -> Result<(), Refusal> {
        for (product, cast) in PRODUCTS.iter().enumerate() {
            let ml = 3.0 * cast.pack_ml as f64;
            self.receive(keeper, Delivery { product, ml, on: keeper.business.first_day, order: None })
                .await?;
        }
        Ok(())
    }

    pub(super) async fn week(
        &mut self,
        keeper: Keeper<'_>,
        day: NaiveDate,
        used_ml: &[f64],
        chance: &mut StdRng,
    ) -> Result<(), Refusal> {
        let Keeper { app, place, manager, .. } = keeper;
        // What comes in a week is written with it: its count, at the end, finds it on the shelf.
        let last_day = day + Days::new(6);
        let (arrived, coming): (Vec<_>, Vec<_>) =
            std::mem::take(&mut self.coming).into_iter().partition(|one| one.on <= last_day);
        self.coming = coming;
        for came in arrived {
            let delivery =
                Delivery { product: came.product, ml: came.ml, on: came.on, order: Some(came.order) };
            self.receive(keeper, delivery).await?;
        }
        let weeks = (day - keeper.business.first_day).num_days() / 7;
        for (product, cast) in PRODUCTS.iter().enumerate() {
            self.held_ml[product] -= used_ml[product];
            if weeks % 4 == 3 {
                self.count(keeper, product, last_day).await?;
            }
            let pack_ml = cast.pack_ml as f64;
            let on_the_way: f64 =
                self.coming.iter().filter(|one| one.product == product).map(|one| one.ml).sum();
            let short = used_ml[product].max(pack_ml * 0.05) * 4.0 - self.held_ml[product] - on_the_way;
            if short > 0.0 {
                let packs = (short / pack_ml).ceil() as u32 + 1;
                let draft = stock::draft_order(
                    app,
                    manager,
                    place.id,
                    &[Packs { offer: place.offers[product], packs }],
                )
                .await?;
                // Each canister is ordered by itself, whatever the supplier's least order.
                let placing = Placing { at: Some(at(day, 9)), expected_on: None, confirmed: true };
                let order =
                    stock::place_order(app, manager, place.id, draft.order.id, placing).await?.order.id;
                let on = day + Days::new(chance.random_range(7..14));
                self.coming.push(Coming { on, product, ml: f64::from(packs) * pack_ml, order });
            }
        }
        Ok(())
    }

    /// A little less is found than the record says: jugs are emptied, never quite.
    async fn count(&mut self, keeper: Keeper<'_>, product: usize, day: NaiveDate) -> Result<(), Refusal> {
        let found = (self.held_ml[product].max(0.0) * 0.996).round();
        self.held_ml[product] = found;
        let count = Count {
            done: Done { client_id: Uuid::new_v4(), at: Some(at(day, 20)) },
            product: keeper.business.products[product],
            lot: None,
            counted: Quantity::new(found, Unit::MilliLitre),
            confirmed: false,
        };
        stock::count_stock(keeper.app, keeper.manager, keeper.place.id, count).await.map(drop)
    }

    async fn receive(&mut self, keeper: Keeper<'_>, came: Delivery) -> Result<(), Refusal> {
        let Keeper { app, business, place, manager } = keeper;
        self.lot += 1;
        self.held_ml[came.product] += came.ml;
        let initial = place.cast.name.chars().next().unwrap_or('L');
        let receipt = Receipt {
            done: Done { client_id: Uuid::new_v4(), at: Some(at(came.on, 10)) },
            product: business.products[came.product],
            lot_number: format!("{initial}{:04}", self.lot),
            expiry: Some(came.on + Days::new(420)),
            amount: Quantity::new(came.ml, Unit::MilliLitre),
            order: came.order,
            confirmed: true,
        };
        stock::receive_product(app, manager, place.id, receipt).await.map(drop)
    }
}

struct Delivery {
    product: usize,
    ml: f64,
    on: NaiveDate,
    order: Option<Id<Order>>,
}
