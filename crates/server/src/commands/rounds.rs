//! A day's rounds as tables.

use std::collections::HashMap;

use chrono::NaiveDate;
use chrono_tz::Tz;
use comfy_table::Table;
use fillmark_api::{Instant, NewPerson, ProblemCode, Rounds, Site};
use fillmark_domain::Coded;
use uuid::Uuid;

use super::{CommandError, Desk, table};

/// The rounds of a day, today where none is given, at one site or at every site the person sees.
/// # Errors
/// [`CommandError`].
pub async fn rounds(desk: &Desk, site: Option<&str>, day: Option<NaiveDate>) -> Result<String, CommandError> {
    let people = desk.told(desk.client.business().all::<NewPerson>("").await)?;
    let names = people.into_iter().map(|person| (person.id, person.body.name)).collect();
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
        text.push_str(&told(&site.body.name, zone(&site), &desk.told(answer)?, &names));
    }
    Ok(text)
}

fn zone(site: &Site) -> Tz {
    site.body.time_zone.parse().unwrap_or(Tz::UTC)
}

/// The rounds of a day of one site, and what nobody can do.
pub(crate) fn told(site: &str, zone: Tz, rounds: &Rounds, names: &HashMap<Uuid, String>) -> String {
    let mut text = format!("{site}: rounds of {}\n{}\n", rounds.day_on, walked(zone, rounds, names));
    if !rounds.left.is_empty() {
        text.push_str(&format!("\nNobody can do:\n{}\n", left(rounds)));
    }
    text.push('\n');
    text
}

fn walked(zone: Tz, rounds: &Rounds, names: &HashMap<Uuid, String>) -> Table {
    let clock = |at: Instant| at.0.with_timezone(&zone).format("%H:%M").to_string();
    let name = |id: &Uuid| names.get(id).cloned().unwrap_or_else(|| id.to_string());
    let mut walked = table(&["person", "at", "check", "minutes", "with", "state"]);
    for round in &rounds.rounds {
        for step in &round.steps {
            let Some(check) = &step.check else { continue };
            walked.add_row([
                name(&round.person_id),
                clock(step.starts_at),
                check.name.clone(),
                check.work_min.to_string(),
                step.with_person_id.as_ref().map(name).unwrap_or_default(),
                check.state.0.code().to_owned(),
            ]);
        }
    }
    walked
}

fn left(rounds: &Rounds) -> Table {
    let mut left = table(&["check", "because"]);
    for one in &rounds.left {
        let Some(check) = &one.check else { continue };
        let reasons: Vec<&str> = one.reasons.iter().map(|reason| reason.text.as_str()).collect();
        left.add_row([check.name.clone(), reasons.join("; ")]);
    }
    left
}
