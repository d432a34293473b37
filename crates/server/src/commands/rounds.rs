//! A day's rounds as tables, one a person.

use std::collections::HashMap;

use chrono::NaiveDate;
use chrono_tz::Tz;
use comfy_table::Table;
use fillmark_api::{
    Check, HandoverNote, Instant, NewPerson, NewRoom, NewTank, NewTankRoom, ProblemCode, Round, RoundStep,
    Rounds, Site,
};
use fillmark_domain::Coded;
use fillmark_domain::work::CheckStanding;
use uuid::Uuid;

use super::{CommandError, Desk, table};

/// What a day's rounds speak of, by its id.
#[derive(Debug, Default)]
pub(crate) struct Called {
    /// People's names.
    pub people: HashMap<Uuid, String>,
    /// Rooms' names.
    pub rooms: HashMap<Uuid, String>,
    /// Tanks' names.
    pub tanks: HashMap<Uuid, String>,
    /// Which tank feeds which room.
    pub tank_rooms: Vec<NewTankRoom>,
}

/// The rounds of a day, today where none is given, at one site or at every site the person sees.
/// # Errors
/// [`CommandError`].
pub async fn rounds(desk: &Desk, site: Option<&str>, day: Option<NaiveDate>) -> Result<String, CommandError> {
    let mut text = String::new();
    for site in desk.sites(site).await? {
        let answer = desk.client.rounds(site.id, day).await;
        let unpublished = answer
            .as_ref()
            .is_err_and(|error| error.problem().is_some_and(|problem| problem.code == ProblemCode::NotFound));
        if unpublished {
            text.push_str(&format!("{}: no rounds are published for this day\n\n", site.body.name));
            continue;
        }
        let called = called(desk, site.id).await?;
        text.push_str(&told(&site.body.name, zone(&site), &desk.told(answer)?, &called));
        let notes = desk
            .told(desk.client.handover_notes(site.id, "seen=false&sort=-written_at&limit=200").await)?
            .items;
        text.push_str(&left_for_the_next(&notes, &called));
    }
    Ok(text)
}

async fn called(desk: &Desk, site: Uuid) -> Result<Called, CommandError> {
    let people = desk.told(desk.client.business().all::<NewPerson>("").await)?;
    let here = desk.client.site(site);
    let rooms = desk.told(here.all::<NewRoom>("").await)?;
    let tanks = desk.told(here.all::<NewTank>("").await)?;
    let tank_rooms = desk.told(here.all::<NewTankRoom>("").await)?;
    Ok(Called {
        people: people.into_iter().map(|kept| (kept.id, kept.body.name)).collect(),
        rooms: rooms.into_iter().map(|kept| (kept.id, kept.body.name)).collect(),
        tanks: tanks.into_iter().map(|kept| (kept.id, kept.body.name)).collect(),
        tank_rooms: tank_rooms.into_iter().map(|kept| kept.body).collect(),
    })
}

fn zone(site: &Site) -> Tz {
    site.body.time_zone.parse().unwrap_or(Tz::UTC)
}

impl Called {
    fn person(&self, id: Uuid) -> String {
        self.people.get(&id).cloned().unwrap_or_else(|| id.to_string())
    }

    /// The room of a check on its day, and its tank where it is done at one.
    fn place(&self, check: &Check) -> String {
        let feeds = |fed: &&NewTankRoom| {
            Some(fed.tank_id) == check.tank_id
                && fed.from_on <= check.due_on
                && fed.until_on.is_none_or(|until| check.due_on <= until)
        };
        let fed = self.tank_rooms.iter().find(feeds).map(|fed| fed.room_id);
        let room = check.room_id.or(fed).and_then(|room| self.rooms.get(&room)).map(String::as_str);
        let tank = check.tank_id.and_then(|tank| self.tanks.get(&tank)).map(String::as_str);
        room.into_iter().chain(tank).collect::<Vec<_>>().join(", ")
    }
}

/// The rounds of a day of one site, what nobody can do, and what has moved.
pub(crate) fn told(site: &str, zone: Tz, rounds: &Rounds, called: &Called) -> String {
    let mut text = format!("{site}: rounds of {}\n", rounds.day_on);
    for round in &rounds.rounds {
        let person = called.person(round.person_id);
        let (minutes, fair) = (round.minutes, round.fair_minutes);
        text.push_str(&format!("\n{person}: {minutes} minutes, fair would be {fair}\n"));
        text.push_str(&format!("{}\n", walked(zone, round, called)));
    }
    if !rounds.left.is_empty() {
        text.push_str(&format!("\nNobody can do:\n{}\n", left(rounds, called)));
    }
    if !rounds.moves.is_empty() {
        text.push_str("\nMoved since the rounds before:\n");
        rounds.moves.iter().for_each(|moved| text.push_str(&format!("- {}\n", moved.text)));
    }
    text.push('\n');
    text
}

fn walked(zone: Tz, round: &Round, called: &Called) -> Table {
    let clock = |at: Instant| at.0.with_timezone(&zone).format("%H:%M").to_string();
    let mut walked = table(&["at", "where", "check", "minutes", "with", "state"]);
    for step in &round.steps {
        let Some(check) = &step.check else { continue };
        walked.add_row([
            clock(step.starts_at),
            called.place(check),
            check.name.clone(),
            check.work_min.to_string(),
            step.with_person_id.map(|person| called.person(person)).unwrap_or_default(),
            state(step, check),
        ]);
    }
    walked
}

/// What became of a check, and that it is planned for after its window where nothing has yet.
fn state(step: &RoundStep, check: &Check) -> String {
    let is_late = check.state.0 == CheckStanding::Planned && step.starts_at.0 >= check.window_until_at.0;
    format!("{}{}", check.state.0.code(), if is_late { ", late" } else { "" })
}

fn left(rounds: &Rounds, called: &Called) -> Table {
    let mut left = table(&["where", "check", "because", "what would help"]);
    for one in &rounds.left {
        let Some(check) = &one.check else { continue };
        let reasons: Vec<&str> = one.reasons.iter().map(|reason| reason.text.as_str()).collect();
        let cures: Vec<&str> = one.cures.iter().map(|cure| cure.text.as_str()).collect();
        left.add_row([called.place(check), check.name.clone(), reasons.join("; "), cures.join("; ")]);
    }
    left
}

fn left_for_the_next(notes: &[HandoverNote], called: &Called) -> String {
    if notes.is_empty() {
        return String::new();
    }
    let mut text = "Left for the next to know, and seen by nobody yet:\n".to_owned();
    for note in notes {
        let room = note.room_id.and_then(|room| called.rooms.get(&room)).map(|room| format!("{room}: "));
        let (about, person) = (room.unwrap_or_default(), called.person(note.written_by));
        text.push_str(&format!("- {about}{} ({person})\n", note.text));
    }
    text.push('\n');
    text
}
