//! A recorded site played back day by day, with a clock that is moved.

use std::collections::HashMap;
use std::sync::Arc;

use chrono::{DateTime, NaiveDate, TimeDelta, Utc};
use fillmark_actions::people;
use fillmark_api::*;
use fillmark_client::Client;
use fillmark_domain::people::Person;
use serde_json::{Value, json as value};
use uuid::Uuid;

use super::ReplayError;
use super::scenario::{Event, Scenario, What};
use super::setting::{Setting, While, set_up};
use crate::MovedClock;
use crate::fresh::{Fresh, Kind};
use crate::world::{PASSWORD, json};

pub(super) async fn play(scenario: &Scenario) -> Result<SiteForecast, ReplayError> {
    let clock = Arc::new(MovedClock::at(morning(scenario.plan.start)));
    let fresh = Fresh::new(Kind::Sqlite).await;
    let server = fillmark_server::start(&fresh.settings, clock.clone()).await.expect("a server");
    let owner = Person { name: "Owner".into(), sign_in: Some("owner".into()) };
    people::make_owner(&server.app, owner, PASSWORD.into()).await.expect("an owner");
    let client = Client::new(&server.address).during("connecting")?;
    client.sign_in("owner", PASSWORD).await.during("signing in")?;

    let setting = set_up(&client, scenario).await?;
    let mut player = Player { client: &client, setting, lots: HashMap::new(), orders: HashMap::new() };
    let mut events: Vec<&Event> = scenario.events.iter().collect();
    events.sort_by_key(|event| (event.date, !matches!(event.what, What::Receipt { .. }), event.seq));
    let mut signed_in = scenario.plan.start;
    for day in events.chunk_by(|one, next| one.date == next.date) {
        clock.set(morning(day[0].date) + TimeDelta::hours(12));
        // A session is not for ever, and half a year passes here.
        if day[0].date >= signed_in + TimeDelta::days(7) {
            client.sign_in("owner", PASSWORD).await.during("signing in")?;
            signed_in = day[0].date;
        }
        player.day(day).await?;
    }
    clock.set(morning(scenario.plan.today));
    client.sign_in("owner", PASSWORD).await.during("signing in")?;
    let forecast = client.forecast(player.setting.site, 42).await.during("forecasting")?;
    server.stop().await;
    Ok(forecast)
}

fn morning(day: NaiveDate) -> DateTime<Utc> {
    day.and_hms_opt(7, 0, 0).unwrap_or_default().and_utc()
}

struct Player<'a> {
    client: &'a Client,
    setting: Setting,
    lots: HashMap<(String, String), Uuid>,
    orders: HashMap<String, Uuid>,
}

impl Player<'_> {
    async fn day(&mut self, events: &[&Event]) -> Result<(), ReplayError> {
        let mut readings = Vec::new();
        let mut additions = Vec::new();
        for (at, event) in events.iter().enumerate() {
            let at = morning(event.date) + TimeDelta::minutes(at as i64);
            match &event.what {
                What::Reading { tank, ec, ph, level_l } => {
                    let shown = [("ec", ec, "mS/cm"), ("ph", ph, "[pH]"), ("volume", level_l, "L")];
                    readings.extend(shown.into_iter().filter_map(|(metric, value, unit)| {
                        Some(self.reading(tank, metric, (*value)?, unit, at))
                    }));
                }
                What::Addition { why, .. } if why == "change" => {}
                What::Addition { tank, product, ml, lot, .. } => {
                    additions.push(self.addition(tank, product, *ml, lot.as_deref(), at));
                }
                What::Change { tank, volume_l } => self.change(events, tank, *volume_l, at).await?,
                stock => self.stock(stock, at).await?,
            }
        }
        self.enter(readings, additions).await
    }

    fn reading(&self, tank: &str, metric: &str, shown: f64, unit: &str, at: DateTime<Utc>) -> NewReading {
        json(
            value!({ "client_id": Uuid::new_v4(), "tank_id": self.setting.tanks[tank], "sample_point": "tank", "metric": metric,
            "value": { "value": shown, "unit": unit }, "recorded_at": Instant(at), "confirmed": true }),
        )
    }

    fn addition(
        &self,
        tank: &str,
        product: &str,
        ml: f64,
        lot: Option<&str>,
        at: DateTime<Utc>,
    ) -> NewAddition {
        json(
            value!({ "client_id": Uuid::new_v4(), "tank_id": self.setting.tanks[tank], "product_id": self.setting.products[product],
            "amount": { "value": ml, "unit": "mL" }, "lot_id": self.lot(product, lot), "reason": "top_up",
            "recorded_at": Instant(at), "poured_all_the_same": true, "confirmed": true }),
        )
    }

    /// People write the label they see, which may be of a lot whose receipt comes later: then no lot is named.
    fn lot(&self, product: &str, lot: Option<&str>) -> Option<Uuid> {
        self.lots.get(&(product.to_owned(), lot?.to_owned())).copied()
    }

    async fn change(
        &self,
        events: &[&Event],
        tank: &str,
        volume_l: f64,
        at: DateTime<Utc>,
    ) -> Result<(), ReplayError> {
        let products: Vec<Value> = events
            .iter()
            .filter_map(|event| match &event.what {
                What::Addition { tank: into, product, ml, why, lot } if why == "change" && into == tank => {
                    Some(value!({
                    "product_id": self.setting.products[product], "amount": { "value": ml, "unit": "mL" },
                    "lot_id": self.lot(product, lot.as_deref()), "poured_all_the_same": true }))
                }
                _ => None,
            })
            .collect();
        let volume = value!({ "value": volume_l, "unit": "L" });
        let body = value!({ "client_id": Uuid::new_v4(), "tank_id": self.setting.tanks[tank], "drained": volume, "water_in": volume,
            "products": products, "recorded_at": Instant(at), "confirmed": true });
        self.client
            .record_tank_change(self.setting.site, &json(body))
            .await
            .during("entering a change")
            .map(drop)
    }

    async fn stock(&mut self, what: &What, at: DateTime<Utc>) -> Result<(), ReplayError> {
        let (client, site) = (self.client, self.setting.site);
        let (client_id, done_at) = (Uuid::new_v4(), Instant(at));
        let amount = |ml: f64| value!({ "value": ml, "unit": "mL" });
        match what {
            What::Receipt { product, lot, ml, expiry, order } => {
                let order = order.as_ref().and_then(|order| self.orders.get(order));
                let body = value!({ "client_id": client_id, "product_id": self.setting.products[product], "lot_number": lot,
                    "expiry_on": expiry, "amount": amount(*ml), "done_at": done_at, "order_id": order, "confirmed": true });
                let slip = client.receive_product(site, &json(body)).await.during("receiving")?;
                if let Some(kept) = slip.lot_id.or(slip.movements.first().map(|movement| movement.lot_id)) {
                    self.lots.insert((product.clone(), lot.clone()), kept);
                }
            }
            What::Order { order, product, packs, promised } => {
                let body =
                    value!({ "lines": [{ "offer_id": self.setting.offers[product], "packs": packs }] });
                let draft = client.draft_order(site, &json(body)).await.during("drafting an order")?;
                let placing = value!({ "placed_at": done_at, "expected_on": promised, "confirmed": true });
                client.place_order(site, draft.id, &json(placing)).await.during("placing an order")?;
                self.orders.insert(order.clone(), draft.id);
            }
            What::Count { product, ml } => {
                let body = value!({ "client_id": client_id, "product_id": self.setting.products[product], "counted": amount(*ml), "done_at": done_at });
                client.count_stock(site, &json(body)).await.during("counting")?;
            }
            What::Adjust { product, ml } => self.spilt(product, *ml, done_at).await?,
            What::Reading { .. } | What::Addition { .. } | What::Change { .. } | What::Other => {}
        }
        Ok(())
    }

    /// What was spilt is written off from the lots that are held, the first expiring first.
    async fn spilt(&self, product: &str, ml: f64, done_at: Instant) -> Result<(), ReplayError> {
        let (site, product) = (self.setting.site, self.setting.products[product]);
        let held = self.client.product_stock(site, product).await.during("looking at the stock")?;
        let mut left = ml;
        for lot in &held.lots {
            let here = left.min(lot.balance.value);
            if here > 0.0 {
                let body = value!({ "client_id": Uuid::new_v4(), "lot_id": lot.lot_id, "reason": "spilt",
                    "amount": { "value": (here * 1000.0).round() / 1000.0, "unit": "mL" }, "done_at": done_at });
                self.client.write_off_lot(site, &json(body)).await.during("writing off")?;
                left -= here;
            }
        }
        Ok(())
    }

    async fn enter(&self, readings: Vec<NewReading>, additions: Vec<NewAddition>) -> Result<(), ReplayError> {
        let site = self.setting.site;
        if !readings.is_empty() {
            let answer = self
                .client
                .record_readings(site, &ReadingBatch { items: readings })
                .await
                .during("entering readings")?;
            assert_eq!(answer.summary.rejected_count, 0, "{answer:?}");
        }
        if !additions.is_empty() {
            let answer = self
                .client
                .record_additions(site, &AdditionBatch { items: additions })
                .await
                .during("entering additions")?;
            assert_eq!(answer.summary.rejected_count, 0, "{answer:?}");
        }
        Ok(())
    }
}
