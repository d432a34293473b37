//! What the demo prints: where to open it, who can sign in, today's rounds, what to buy, and a room's report.

use std::collections::HashMap;

use chrono::Days as ChronoDays;
use fillmark_actions::records::list;
use fillmark_actions::{App, Caller, Refusal, reports, work};
use fillmark_advice::review::Share;
use fillmark_api::{Body, NewTankRoom};
use fillmark_domain::people::Person;
use fillmark_domain::places::{Room, Site, Tank, TankRoom};
use fillmark_domain::{Coded, Days, Kept};
use fillmark_store::PageQuery;
use uuid::Uuid;

use super::cast::{PASSWORD, PEOPLE, SITES};
use crate::commands::{self, table};
use crate::routes;

type Names = HashMap<Uuid, String>;

pub(super) async fn print(app: &App, address: &str) -> Result<(), Refusal> {
    let caller = Caller::job();
    println!("\nFillmark's demo listens at {address} (interactive documentation: {address}/docs/)");
    println!("All of it is invented. Everybody signs in with the password: {PASSWORD}\n");
    let mut people = table(&["person", "signs in as", "role", "where"]);
    for person in &PEOPLE {
        let at = person.site.map_or("every site", |site| SITES[site].name);
        people.add_row([person.name, person.sign_in, person.role.code(), at]);
    }
    println!("{people}\n");
    let query = PageQuery { limit: 200, ..PageQuery::default() };
    let names = list::<Person>(app, &caller, (), &query).await?.items;
    let names: Names = names.into_iter().map(|person| (person.id.uuid(), person.content.name)).collect();
    for site in list::<Site>(app, &caller, (), &query).await?.items {
        rounds(app, &caller, &site, names.clone()).await?;
        purchases(app, &caller, &site).await?;
        let rooms = list::<Room>(app, &caller, site.id, &query).await?.items;
        if let Some(room) = rooms.first() {
            report(app, &caller, &site, room).await?;
        }
    }
    Ok(())
}

async fn rounds(app: &App, caller: &Caller, site: &Kept<Site>, people: Names) -> Result<(), Refusal> {
    let day = work::rounds::read_day(app, caller, site.id, None).await?;
    let query = PageQuery { limit: 200, ..PageQuery::default() };
    let rooms = list::<Room>(app, caller, site.id, &query).await?.items;
    let tanks = list::<Tank>(app, caller, site.id, &query).await?.items;
    let fed = list::<TankRoom>(app, caller, site.id, &query).await?.items;
    let called = commands::rounds::Called {
        people,
        rooms: rooms.into_iter().map(|kept| (kept.id.uuid(), kept.content.name)).collect(),
        tanks: tanks.into_iter().map(|kept| (kept.id.uuid(), kept.content.name)).collect(),
        tank_rooms: fed.iter().map(|kept| NewTankRoom::of(&kept.content)).collect(),
    };
    print!(
        "{}",
        commands::rounds::told(&site.content.name, day.zone, &routes::rounds::answer(&day), &called)
    );
    Ok(())
}

async fn purchases(app: &App, caller: &Caller, site: &Kept<Site>) -> Result<(), Refusal> {
    let made = fillmark_actions::forecast::read(app, caller, site.id, None).await?;
    println!("{}", commands::forecast::told(&site.content.name, &routes::forecast::answer(&made)));
    Ok(())
}

async fn report(app: &App, caller: &Caller, site: &Kept<Site>, room: &Kept<Room>) -> Result<(), Refusal> {
    let today = app.now().with_timezone(&site.content.time_zone).date_naive();
    let days = Days { from: today - ChronoDays::new(28), until: today - ChronoDays::new(1) };
    let made = reports::room(app, caller, site.id, room.id, days).await?;
    println!("{}, {}: report of {} to {}", site.content.name, room.content.name, days.from, days.until);
    let mut figures = table(&["figure", "value", "n", "95 % interval"]);
    let mut row = |name: &str, share: Share| {
        let percent = |value: f64| format!("{:.1} %", value * 100.0);
        let interval = share
            .interval()
            .map(|interval| format!("{} to {}", percent(interval.low), percent(interval.high)));
        figures.add_row([
            name.to_owned(),
            share.value().map(percent).unwrap_or_default(),
            share.n.to_string(),
            interval.unwrap_or_default(),
        ]);
    };
    row("checks in time", made.compliance.checks.share());
    row("readings in band", made.compliance.in_band);
    row("tank changes on time", made.compliance.changes_on_time);
    row("readings with a meter in calibration", made.compliance.calibrated);
    let time = made.compliance.time;
    let share = time.share().map(|share| format!("{:.1} %", share * 100.0)).unwrap_or_default();
    figures.add_row(["time in band (estimated)".to_owned(), share, time.n.to_string(), String::new()]);
    for cycle in &made.yields {
        let per_m2 =
            cycle.figures.kg_per_m2.map(|figure| format!(", {:.2} kg/m²", figure.value)).unwrap_or_default();
        let value = format!("{:.1} kg{per_m2}", cycle.figures.kg.value);
        figures.add_row([
            format!("picked of {}", cycle.name),
            value,
            cycle.figures.kg.n.to_string(),
            String::new(),
        ]);
    }
    println!("{figures}\n");
    Ok(())
}
