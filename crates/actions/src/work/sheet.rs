//! A round on paper: where, what to read with its band, and lines to write on.

use std::collections::HashMap;
use std::fmt::Write;

use chrono::{DateTime, Utc};
use fillmark_domain::Coded;
use fillmark_domain::Metric;
use fillmark_domain::entries::{SamplePoint, Spot};
use fillmark_domain::people::PersonId;
use fillmark_domain::work::{Check, HandoverNote, NoteAbout, Place, Round, RoundStep, Task};

use super::day::DayAtHand;

/// What anybody who goes to the tanks has in hand.
const CAUTIONS: &str = "Acids and alkalis burn: eye and hand protection, acid into water, never acid with a chlorine cleaner.\n\
    Pumps and lamps off before hands go into a tank. The label and the safety data sheet come first.";

/// The sheet of a round.
pub(super) fn sheet(
    site: &str,
    round: &Round,
    day: &DayAtHand,
    names: &HashMap<PersonId, String>,
    notes: &[HandoverNote],
) -> String {
    let name = |person: &PersonId| names.get(person).map_or("somebody", String::as_str);
    let published = round.published_at.with_timezone(&day.plan.zone).format("%Y-%m-%d %H:%M");
    let mut text = format!(
        "{site}: round of {} on {}\n{} checks, {} minutes; published {published} ({})\n\n{CAUTIONS}\n",
        name(&round.person),
        round.date,
        round.steps.len(),
        round.minutes,
        day.plan.zone,
    );
    for note in notes {
        text.push_str(&format!("\nFrom {}, {}: {}\n", name(&note.written_by), about(note, day), note.text));
    }
    for (number, step) in (1..).zip(&round.steps) {
        let with = step.with.as_ref().map(|person| format!(", with {}", name(person)));
        match day.checks.iter().find(|kept| kept.id == step.check) {
            Some(kept) => write_check(&mut text, number, step, &kept.check, day, &with.unwrap_or_default()),
            None => text.push_str(&format!("\n{number}. withdrawn since\n")),
        }
    }
    text
}

/// The room or the check that a note is about.
fn about(note: &HandoverNote, day: &DayAtHand) -> String {
    let found = match note.about {
        NoteAbout::Check(check) => day
            .checks
            .iter()
            .find(|kept| kept.id == check)
            .map(|kept| format!("{}, {}", day.name(&kept.check), kept.check.name)),
        NoteAbout::Room(room) => {
            day.plan.rooms.iter().find(|kept| kept.id == room).map(|kept| kept.content.name.clone())
        }
    };
    found.unwrap_or_default()
}

fn write_check(
    text: &mut String,
    number: usize,
    step: &RoundStep,
    check: &Check,
    day: &DayAtHand,
    with: &str,
) {
    let clock = |at: DateTime<Utc>| {
        let local = at.with_timezone(&day.plan.zone);
        let is_today = local.date_naive() == day.date;
        local.format(if is_today { "%H:%M" } else { "%H:%M on %-d %B" }).to_string()
    };
    let room = day.room(check).map_or("no room", |room| room.content.name.as_str());
    let place = match check.place {
        Place::Tank(_) => format!("{room}, {}", day.name(check)),
        Place::Room(_) => room.to_owned(),
    };
    let times = format!(
        "{} to {}, at the latest {}",
        clock(check.due_at),
        clock(check.window_until),
        clock(check.limit)
    );
    // Writing to a text never fails.
    let _ = writeln!(text, "\n{number}. {} {place}: {} ({times}){with}", clock(step.starts_at), check.name);
    if let Task::Measure { metrics, point } = &check.task {
        for metric in metrics {
            let _ = writeln!(text, "   {}", line(*metric, *point, check, day));
        }
    }
    text.push_str("   seen   ________________________________________________\n");
    text.push_str("   done at ____:____   by ____________________\n");
}

fn line(metric: Metric, point: SamplePoint, check: &Check, day: &DayAtHand) -> String {
    let spot = match check.place {
        Place::Tank(tank) => Spot::Tank(tank),
        Place::Room(room) => Spot::Room(room),
    };
    let band = day.plan.band(spot, metric, check.due_at).filter(|_| point.is_banded());
    let band = band.map(|band| format!("{} to {}, aim {}", band.low, band.high, band.aim));
    let name = metric.code().replace('_', " ");
    let band = band.unwrap_or_default();
    format!("{name:<22} {:<7} {band:<26} ______________ {}", point.code(), metric.unit().code())
}
