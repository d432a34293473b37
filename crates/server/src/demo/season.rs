//! Rooms, tanks, programmes and the cycles that follow each other through the year and the season to come.

use chrono::{Days, NaiveDate, NaiveTime};
use fillmark_actions::records::create;
use fillmark_actions::{App, Refusal};
use fillmark_domain::entries::{Meter, SamplePoint};
use fillmark_domain::growing::{
    Cycle, CycleId, Dose, Feed, Placement, Programme, ProgrammeId, ProgrammeRevision, StageDate, Step,
};
use fillmark_domain::people::Role;
use fillmark_domain::places::{
    OutOfUse, Room, RoomId, SiteId, Tank, TankId, TankMode, TankRoom, WaterSourceId,
};
use fillmark_domain::work::{CheckPlan, Held, Place as At, Qualification, Sharing, Shift, Task};
use fillmark_domain::{Band, Id, Metric};

use super::business::{Business, Grown, GrownRoom, at};
use super::cast::{CROPS, CastCrop, CastRoom, CastSite, PEOPLE, PRODUCTS};
use super::vessel::PEN;

pub(super) async fn set_up(
    app: &App,
    business: &Business,
    site: SiteId,
    number: usize,
    cast: &'static CastSite,
    source: WaterSourceId,
) -> Result<Grown, Refusal> {
    let owner = &business.owner;
    let meter = Meter {
        name: "Pen 1".into(),
        kind: PEN,
        serial: Some(format!("DEMO-{number}")),
        calibrate_every_days: Some(14),
    };
    let meter = create(app, owner, site, meter).await?.id;
    let trained =
        create(app, owner, (), Qualification { name: format!("Calibration, {}", cast.name) }).await?.id;
    let mut rooms = Vec::new();
    for (place, room) in cast.rooms.iter().enumerate() {
        let programme = programme(app, business, cast, room).await?;
        let id = create(
            app,
            owner,
            site,
            Room {
                name: room.name.into(),
                room_use: room.room_use,
                growing_area_m2: Some(room.area_m2),
                plant_places: Some(room.plants + room.plants / 10),
                hygiene_rank: room.hygiene_rank,
                building: None,
                bands: Vec::new(),
            },
        )
        .await?
        .id;
        let tanks = tanks(app, business, site, room, id, source).await?;
        // Rooms begin at different points of their cycles, so that the work is spread.
        let begins = business.first_day - Days::new(7 * place as u64 + 5);
        let cycles = cycles(app, business, site, room, id, &tanks, programme, begins).await?;
        plans(app, business, site, room, id, &tanks).await?;
        rooms.push(GrownRoom { id, cast: room, tanks, cycles });
    }
    let desk = CheckPlan {
        name: "Calibrate the pen".into(),
        task: Task::Calibrate { meter: Some(meter) },
        place: At::Room(rooms[0].id),
        rule: "FREQ=WEEKLY;INTERVAL=2".into(),
        start: business.first_day.and_time(clock(8)),
        window_min: 480,
        limit_min: 1440,
        work_min: 15,
        qualification: Some(trained),
        two_people: false,
        sharing: Sharing::default(),
    };
    create(app, owner, site, desk).await?;
    shifts(app, business, site, number, trained).await?;
    Ok(Grown { rooms, meter })
}

fn clock(hour: u32) -> NaiveTime {
    NaiveTime::from_hms_opt(hour, 0, 0).unwrap_or_default()
}

async fn programme(
    app: &App,
    business: &Business,
    site: &CastSite,
    room: &CastRoom,
) -> Result<ProgrammeId, Refusal> {
    let cast = &CROPS[room.crop];
    let name = format!("{} at {}, {}", cast.name, site.name, room.name);
    let id = create(app, &business.owner, (), Programme { name, crop: business.crops[room.crop] }).await?.id;
    let steps = cast
        .stages
        .iter()
        .zip(cast.ec)
        .map(|((stage, days), ec)| step(business, cast, site, *stage, *days, *ec));
    let revision = ProgrammeRevision {
        programme: id,
        effective_at: at(business.first_day - Days::new(60), 0),
        steps: steps.collect(),
    };
    create(app, &business.owner, (), revision).await?;
    Ok(id)
}

fn step(
    business: &Business,
    cast: &CastCrop,
    site: &CastSite,
    stage: fillmark_domain::Stage,
    days: u32,
    ec: f64,
) -> Step {
    let dose = |((product, share), kept): (
        (&super::cast::CastProduct, &f64),
        &fillmark_domain::stock::ProductId,
    )| {
        let per_litre = (ec - site.water_ec) * share / product.ec_rise?;
        (*share > 0.0).then_some(Dose { product: *kept, per_litre })
    };
    let band = |metric, low, aim, high| Band { metric, low, aim, high };
    Step {
        stage,
        days,
        doses: PRODUCTS.iter().zip(&cast.shares).zip(&business.products).filter_map(dose).collect(),
        strength: 1.0,
        bands: vec![
            band(Metric::Ec, ec * 0.85, ec, ec * 1.15),
            band(Metric::Ph, 5.6, 6.0, 6.5),
            band(Metric::AirTemperature, 17.0, 21.0, 26.0),
            band(Metric::RelativeHumidity, 45.0, 60.0, 75.0),
        ],
        change_every_days: Some(cast.change_every_days),
        top_up_strength: 1.0,
    }
}

async fn tanks(
    app: &App,
    business: &Business,
    site: SiteId,
    room: &CastRoom,
    room_id: RoomId,
    source: WaterSourceId,
) -> Result<Vec<(TankId, f64)>, Refusal> {
    let mut tanks = Vec::new();
    for (number, volume_l) in room.tanks.iter().enumerate() {
        let tank = Tank {
            name: format!("{} {}", room.name, number + 1),
            mode: TankMode::Recirculating,
            fill_mark_l: *volume_l,
            water_source: Some(source),
            two_people_change: false,
            bands: Vec::new(),
        };
        let tank = create(app, &business.owner, site, tank).await?.id;
        let fed = TankRoom {
            tank,
            room: room_id,
            from: business.first_day - Days::new(90),
            until: None,
            share: 1.0,
        };
        create(app, &business.owner, site, fed).await?;
        tanks.push((tank, *volume_l));
    }
    Ok(tanks)
}

#[expect(clippy::too_many_arguments, reason = "what stands where, fed by what, from when")]
async fn cycles(
    app: &App,
    business: &Business,
    site: SiteId,
    room: &CastRoom,
    room_id: RoomId,
    tanks: &[(TankId, f64)],
    programme: ProgrammeId,
    begins: NaiveDate,
) -> Result<Vec<(CycleId, NaiveDate, NaiveDate)>, Refusal> {
    let (cast, owner) = (&CROPS[room.crop], &business.owner);
    let litres: f64 = tanks.iter().map(|(_, litres)| litres).sum();
    let length: u32 = cast.stages.iter().map(|(_, days)| days).sum();
    let mut cycles = Vec::new();
    let mut starts_on = begins;
    while starts_on < business.today + Days::new(120) {
        let ends_on = starts_on + Days::new(u64::from(length) - 1);
        let mut from = starts_on;
        let stages = cast.stages.iter().map(|(stage, days)| {
            let date = StageDate { stage: *stage, from };
            from = from + Days::new(u64::from(*days));
            date
        });
        let cycle = Cycle {
            name: format!("{} {}", room.name, starts_on.format("%G-W%V")),
            crop: business.crops[room.crop],
            programme,
            plants: room.plants,
            starts_on,
            ends_on: Some(ends_on),
            stages: stages.collect(),
        };
        let cycle = create(app, owner, site, cycle).await?.id;
        let placed =
            Placement { cycle, room: room_id, from: starts_on, until: Some(ends_on), plants: room.plants };
        create(app, owner, site, placed).await?;
        for (tank, volume_l) in tanks {
            let plants = (f64::from(room.plants) * volume_l / litres).round() as u32;
            let feed =
                Feed { tank: *tank, cycle, from: starts_on, until: Some(ends_on), leads: true, plants };
            create(app, owner, site, feed).await?;
        }
        for (tank, _) in tanks {
            let (from, until) = (ends_on + Days::new(1), ends_on + Days::new(u64::from(cast.idle_days)));
            let empty =
                OutOfUse { tank: *tank, from, until: Some(until), reason: "empty between cycles".into() };
            create(app, owner, site, empty).await?;
        }
        cycles.push((cycle, starts_on, ends_on));
        starts_on = ends_on + Days::new(u64::from(cast.idle_days) + 1);
    }
    Ok(cycles)
}

/// A morning look at each tank, at the air of the room every other day, and once a week at leaves and roots.
async fn plans(
    app: &App,
    business: &Business,
    site: SiteId,
    room: &CastRoom,
    room_id: RoomId,
    tanks: &[(TankId, f64)],
) -> Result<(), Refusal> {
    let air = CheckPlan {
        name: format!("{}: air", room.name),
        task: Task::Measure {
            metrics: [Metric::AirTemperature, Metric::RelativeHumidity].into(),
            point: SamplePoint::Air,
        },
        place: At::Room(room_id),
        rule: "FREQ=WEEKLY;BYDAY=MO,WE,FR".into(),
        start: business.first_day.and_time(clock(7)),
        window_min: 240,
        limit_min: 720,
        work_min: 2,
        qualification: None,
        two_people: false,
        sharing: Sharing::default(),
    };
    for (number, (tank, _)) in tanks.iter().enumerate() {
        let morning = CheckPlan {
            name: format!("{} {}: morning reading", room.name, number + 1),
            task: Task::Measure {
                metrics: [Metric::Ec, Metric::Ph, Metric::Volume].into(),
                point: SamplePoint::Tank,
            },
            place: At::Tank(*tank),
            rule: "FREQ=DAILY".into(),
            work_min: 6,
            ..air.clone()
        };
        create(app, &business.owner, site, morning).await?;
    }
    let look = CheckPlan {
        name: format!("{}: leaves and roots", room.name),
        task: Task::Inspect,
        rule: "FREQ=WEEKLY;BYDAY=WE".into(),
        start: business.first_day.and_time(clock(10)),
        work_min: 20,
        window_min: 360,
        limit_min: 1440,
        ..air.clone()
    };
    create(app, &business.owner, site, air).await?;
    create(app, &business.owner, site, look).await?;
    Ok(())
}

/// Shifts of the last week and the two to come: those before are of no use any more.
async fn shifts(
    app: &App,
    business: &Business,
    site: SiteId,
    number: usize,
    trained: Id<Qualification>,
) -> Result<(), Refusal> {
    let owner = &business.owner;
    let here = PEOPLE.iter().zip(&business.people).filter(|(cast, _)| cast.site == Some(number));
    for (place, (cast, person)) in here.enumerate() {
        if cast.role != Role::Staff || place % 2 == 1 {
            let held =
                Held { person: *person, qualification: trained, from: business.first_day, until: None };
            create(app, owner, (), held).await?;
        }
        for ahead in 0..21u64 {
            let day = business.today - Days::new(7) + Days::new(ahead);
            // Everybody has two free days a week, not the same ones.
            if (ahead as usize + 2 * place) % 7 < 5 {
                let shift = Shift { person: *person, day, starts: clock(6), ends: clock(15), rest: None };
                create(app, owner, site, shift).await?;
            }
        }
    }
    Ok(())
}
