//! A recorded site set up through the API.

use std::collections::HashMap;

use chrono::NaiveDate;
use fillmark_api::*;
use fillmark_client::Client;
use serde_json::{Value, json as value};
use uuid::Uuid;

use super::ReplayError;
use super::scenario::{PlanRoom, Scenario};
use crate::world::json;

/// The ids of what a scenario names.
#[derive(Debug, Default)]
pub(super) struct Setting {
    pub(super) site: Uuid,
    pub(super) tanks: HashMap<String, Uuid>,
    pub(super) products: HashMap<String, Uuid>,
    pub(super) offers: HashMap<String, Uuid>,
}

const STAGES: [(&str, &str); 2] = [("veg", "vegetative"), ("bloom", "flowering")];
const WEEKDAYS: [&str; 7] = ["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];

/// Names what was being done when something was refused.
pub(super) trait While<T> {
    fn during(self, what: &str) -> Result<T, ReplayError>;
}

impl<T> While<T> for Result<T, fillmark_client::ClientError> {
    fn during(self, what: &str) -> Result<T, ReplayError> {
        self.map_err(|source| ReplayError::Refused { what: what.to_owned(), source })
    }
}

pub(super) async fn set_up(client: &Client, scenario: &Scenario) -> Result<Setting, ReplayError> {
    let mut setting = Setting { site: site(client, scenario).await?, ..Setting::default() };
    trade(client, scenario, &mut setting).await?;
    for room in &scenario.plan.rooms {
        grow(client, scenario, room, &mut setting).await?;
    }
    for change in &scenario.plan.planned_changes {
        let Some(tank) = setting.tanks.get(&change.tank) else { continue };
        let body =
            value!({ "tank_id": tank, "kind": "on", "on_day": change.planned_date, "reason": "as planned" });
        client
            .site(setting.site)
            .create::<NewPlannedChange>(&json(body))
            .await
            .during("planning a change")?;
    }
    Ok(setting)
}

async fn site(client: &Client, scenario: &Scenario) -> Result<Uuid, ReplayError> {
    let week: Vec<&str> = scenario.plan.open_weekdays.iter().map(|day| WEEKDAYS[usize::from(*day)]).collect();
    let body = value!({ "name": scenario.name, "time_zone": "Europe/London", "currency": "GBP", "working_week": week });
    let site = client.business().create::<NewSite>(&json(body)).await.during("making the site")?.id;
    use chrono::Datelike;
    let works =
        |day: &NaiveDate| scenario.plan.open_weekdays.contains(&(day.weekday().num_days_from_monday() as u8));
    for day in scenario.plan.closed_dates.iter().filter(|day| works(day)) {
        let body = value!({ "from_on": day, "until_on": day, "reason": "closed" });
        client.site(site).create::<NewClosure>(&json(body)).await.during("closing a day")?;
    }
    Ok(site)
}

async fn trade(client: &Client, scenario: &Scenario, setting: &mut Setting) -> Result<(), ReplayError> {
    let days: Vec<&str> = scenario.plan.open_weekdays.iter().map(|day| WEEKDAYS[usize::from(*day)]).collect();
    let supplier = value!({ "name": "Supplier", "order_days": days, "cut_off_local": "12:00",
        "promised_lead_days": scenario.plan.supplier_lead_days.median_quoted.round() as u64,
        "minimum_order_minor": 0, "freight_minor": 0, "currency": "GBP" });
    let supplier =
        client.business().create::<NewSupplier>(&json(supplier)).await.during("making the supplier")?.id;
    for product in &scenario.plan.products {
        let kind = if product.ec_per_ml_l.is_some() { "concentrate" } else { "ph_adjuster" };
        let body = value!({ "name": product.name, "base": "mL", "kind": kind, "mixing_rank": 1 });
        let id = client.business().create::<NewProduct>(&json(body)).await.during("making a product")?.id;
        let label = value!({ "product_id": id, "effective_at": "2029-01-01T00:00:00Z", "ec_rise_per_unit_per_l": product.ec_per_ml_l });
        client.business().create::<NewLabelRevision>(&json(label)).await.during("keeping a label")?;
        let offer = value!({ "supplier_id": supplier, "product_id": id, "pack": { "value": product.pack_ml, "unit": "mL" },
            "price_minor": 1000, "currency": "GBP", "minimum_packs": 1 });
        let offer =
            client.site(setting.site).create::<NewOffer>(&json(offer)).await.during("keeping an offer")?.id;
        setting.products.insert(product.name.clone(), id);
        setting.offers.insert(product.name.clone(), offer);
    }
    Ok(())
}

async fn grow(
    client: &Client,
    scenario: &Scenario,
    room: &PlanRoom,
    setting: &mut Setting,
) -> Result<(), ReplayError> {
    let (business, here) = (client.business(), client.site(setting.site));
    let body = value!({ "name": room.name, "room_use": "cropping", "hygiene_rank": 1 });
    let room_id = here.create::<NewRoom>(&json(body)).await.during("making a room")?.id;
    let crop = business
        .create::<NewCrop>(&json(value!({ "name": format!("Crop of {}", room.name) })))
        .await
        .during("making a crop")?
        .id;
    let programme = value!({ "name": format!("Programme of {}", room.name), "crop_id": crop });
    let programme = business.create::<NewProgramme>(&json(programme)).await.during("making a programme")?.id;
    let revision = value!({ "programme_id": programme, "effective_at": "2029-01-01T00:00:00Z",
        "steps": STAGES.map(|(key, stage)| step(scenario, room, key, stage, setting)) });
    business.create::<NewProgrammeRevision>(&json(revision)).await.during("keeping a revision")?;
    for tank in &room.tanks {
        let body = value!({ "name": tank.name, "mode": "recirculating", "fill_mark": { "value": tank.volume_l, "unit": "L" } });
        let id = here.create::<NewTank>(&json(body)).await.during("making a tank")?.id;
        let fed = value!({ "tank_id": id, "room_id": room_id, "from_on": "2029-01-01", "share": 1.0 });
        here.create::<NewTankRoom>(&json(fed)).await.during("joining tank and room")?;
        setting.tanks.insert(tank.name.clone(), id);
    }
    let plants: u32 = room.tanks.iter().map(|tank| tank.plants).sum();
    for planting in scenario.plan.crops.iter().filter(|planting| planting.room == room.name) {
        let body = value!({ "name": format!("{} of {}", room.name, planting.start_date), "crop_id": crop, "programme_id": programme,
            "plants": plants, "starts_on": planting.start_date, "ends_on": planting.end_date,
            "stages": [{ "stage": "vegetative", "from_on": planting.start_date }, { "stage": "flowering", "from_on": planting.switch_date }] });
        let cycle = here.create::<NewCycle>(&json(body)).await.during("making a cycle")?.id;
        let span = |body: Value| {
            let Value::Object(mut body) = body else { return Value::Null };
            body.insert("from_on".into(), value!(planting.start_date));
            body.insert("until_on".into(), value!(planting.end_date));
            Value::Object(body)
        };
        let placed = span(value!({ "cycle_id": cycle, "room_id": room_id, "plants": plants }));
        here.create::<NewPlacement>(&json(placed)).await.during("placing a cycle")?;
        for tank in &room.tanks {
            let feed = span(
                value!({ "tank_id": setting.tanks[&tank.name], "cycle_id": cycle, "leads": true, "plants": tank.plants }),
            );
            here.create::<NewFeed>(&json(feed)).await.during("joining tank and cycle")?;
        }
    }
    Ok(())
}

/// dose mL/L = EC aim × share / EC of 1 mL/L.
fn step(scenario: &Scenario, room: &PlanRoom, key: &str, stage: &str, setting: &Setting) -> Value {
    let aim = room.ec_target[key];
    let dose = |product: &super::scenario::PlanProduct| {
        let share = scenario.plan.recipe_share_of_ec.get(&product.name)?.get(key)?;
        Some(
            value!({ "product_id": setting.products[&product.name], "per_litre": aim * share / product.ec_per_ml_l? }),
        )
    };
    let doses: Vec<Value> = scenario.plan.products.iter().filter_map(dose).collect();
    value!({ "stage": stage, "days": 28, "doses": doses, "strength": 1.0, "top_up_strength": 1.0,
        "change_every_days": room.change_every_days,
        "bands": [{ "metric": "ec", "low": aim * 0.8, "aim": aim, "high": aim * 1.2 }] })
}
