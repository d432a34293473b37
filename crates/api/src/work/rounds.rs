//! Rounds as published.

use chrono::NaiveDate;
use fillmark_domain::Id;
use fillmark_domain::people::Person;
use fillmark_domain::work as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{Check, Cure, SpokenOf};
use crate::{Code, Instant};

/// Why nobody does a check, by its code.
pub type LeftReason = Code<words::LeftReason>;
/// Why a check went to somebody else, by its code.
pub type MoveReason = Code<words::MoveReason>;

/// A day to be shared out.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"day_on": "2026-11-24"}))]
pub struct NewRounds {
    /// The local day: today or one of the next fourteen.
    pub day_on: NaiveDate,
}

/// The rounds of a day as they were published together, and what nobody can do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Rounds {
    /// The local day.
    pub day_on: NaiveDate,
    /// 1 for the first of the day; the highest is in force.
    #[schema(minimum = 1, maximum = 1000000)]
    pub number: i64,
    /// When they were published.
    pub published_at: Instant,
    /// Who published them; null for the server itself.
    pub published_by: Option<Uuid>,
    /// One a person who has something to do.
    #[schema(max_items = 10000)]
    pub rounds: Vec<Round>,
    /// What nobody can do, with the reasons and what would help.
    #[schema(max_items = 100000)]
    pub left: Vec<LeftCheck>,
    /// What went to other people than in the rounds published before, and why.
    #[schema(max_items = 100000)]
    pub moves: Vec<MovedCheck>,
}

/// One person's checks of a day in the order they are walked: from clean rooms to dirty ones, quarantine last.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct Round {
    /// Its id; null where nothing is published for this person, so that there is nothing to print.
    pub id: Option<Uuid>,
    /// Who walks it.
    pub person_id: Uuid,
    /// The local day.
    pub day_on: NaiveDate,
    /// Minutes of work.
    #[schema(minimum = 0, maximum = 100000)]
    pub minutes: i64,
    /// Minutes that would have been fair, given the four weeks before.
    #[schema(minimum = 0, maximum = 100000)]
    pub fair_minutes: i64,
    /// Its checks in order.
    #[schema(max_items = 10000)]
    pub steps: Vec<RoundStep>,
}

/// A check in a round.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RoundStep {
    /// Which check.
    pub check_id: Uuid,
    /// When it is planned to begin.
    pub starts_at: Instant,
    /// Who does it too, where it wants two.
    pub with_person_id: Option<Uuid>,
    /// Why it came to this person, where somebody else had it when the day was published before.
    pub moved: Option<MoveReasonGiven>,
    /// The check as it stands now; null when its plan has withdrawn it.
    pub check: Option<Check>,
}

/// A check that went to somebody else.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MovedCheck {
    /// Which check.
    pub check_id: Uuid,
    /// Who had it; nobody when it was left or is new.
    #[schema(max_items = 2)]
    pub from_person_ids: Vec<Uuid>,
    /// Who has it now; nobody when it is left.
    #[schema(max_items = 2)]
    pub to_person_ids: Vec<Uuid>,
    /// Why.
    pub code: MoveReason,
    /// From whom to whom and why, in words.
    #[schema(max_length = 600)]
    pub text: String,
}

/// A reason with its words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct MoveReasonGiven {
    /// The reason.
    pub code: MoveReason,
    /// In words.
    #[schema(max_length = 300)]
    pub text: String,
}

/// A check that nobody can do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeftCheck {
    /// Which check.
    pub check_id: Uuid,
    /// Why, at least one reason.
    #[schema(max_items = 10)]
    pub reasons: Vec<LeftReasonGiven>,
    /// What would help, the cheapest first; each on its own.
    #[schema(max_items = 10)]
    pub cures: Vec<Cure>,
    /// The check as it stands now; null when its plan has withdrawn it.
    pub check: Option<Check>,
}

/// A reason with its words.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct LeftReasonGiven {
    /// The reason.
    pub code: LeftReason,
    /// In words.
    #[schema(max_length = 300)]
    pub text: String,
}

impl Round {
    /// The body of the round of somebody who has nothing to do.
    pub fn empty(person: Id<Person>, day_on: NaiveDate) -> Self {
        Self { id: None, person_id: person.uuid(), day_on, minutes: 0, fair_minutes: 0, steps: Vec::new() }
    }

    /// The body of a round; `check` finds the checks it names.
    pub fn of(
        id: Id<words::Round>,
        round: &words::Round,
        check: impl Fn(Id<words::Check>) -> Option<Check>,
    ) -> Self {
        let step = |step: &words::RoundStep| RoundStep {
            check_id: step.check.uuid(),
            starts_at: step.starts_at.into(),
            with_person_id: step.with.map(Id::uuid),
            moved: step.moved.map(MoveReasonGiven::of),
            check: check(step.check),
        };
        Self {
            id: Some(id.uuid()),
            person_id: round.person.uuid(),
            day_on: round.date,
            minutes: round.minutes,
            fair_minutes: round.fair_minutes,
            steps: round.steps.iter().map(step).collect(),
        }
    }
}

impl MoveReasonGiven {
    fn of(why: words::MoveReason) -> Self {
        Self { code: Code(why), text: why.text() }
    }
}

impl MovedCheck {
    /// The body of a check that went to somebody else.
    pub fn of(moved: &words::Move, check: Option<&Check>, names: &impl SpokenOf) -> Self {
        let ids = |people: &[Id<_>]| people.iter().map(|person| person.uuid()).collect();
        let all = |people: &[Id<_>]| match people {
            [] => "nobody".to_owned(),
            people => people.iter().map(|person| names.person(*person)).collect::<Vec<_>>().join(" and "),
        };
        let what =
            check.map_or("A check that was withdrawn since".to_owned(), |check| at_its_place(check, names));
        let (from, to) = (all(&moved.from), all(&moved.to));
        let why = match moved.why {
            words::MoveReason::TakenOver if moved.from.is_empty() => {
                format!("{to} took it over, since nobody had it")
            }
            words::MoveReason::TakenOver => format!("{to} took it over, since {from} is away"),
            words::MoveReason::LeftOver => format!("{}, when {from} had it", moved.why.text()),
            why if moved.from.len() > 1 => {
                let mut gone = moved.from.iter().filter(|person| !moved.to.contains(person));
                let only = gone.next().filter(|_| gone.next().is_none());
                let who = only.map_or("one of them".to_owned(), |person| names.person(*person));
                format!("{}, and it takes two", why.text_of(&who))
            }
            why => why.text(),
        };
        Self {
            check_id: moved.check.uuid(),
            from_person_ids: ids(&moved.from),
            to_person_ids: ids(&moved.to),
            code: Code(moved.why),
            text: format!("{what} goes from {from} to {to}: {why}"),
        }
    }
}

/// What a check is called, with its tank or room unless its own name tells that.
fn at_its_place(check: &Check, names: &impl SpokenOf) -> String {
    let place = check.tank_id.or(check.room_id).and_then(|place| names.place(place));
    match place.filter(|place| !check.name.to_lowercase().contains(&place.to_lowercase())) {
        Some(place) => format!("{} ({place})", check.name),
        None => check.name.clone(),
    }
}

impl LeftCheck {
    /// The body of a check that nobody does.
    pub fn of(left: &words::Undone, check: Option<Check>, names: &impl SpokenOf) -> Self {
        let wanted = check.as_ref().and_then(|check| check.qualification_id).map(Id::new);
        let wanted = wanted.map(|wanted| names.qualification(wanted));
        let two_people = check.as_ref().is_some_and(|check| check.two_people);
        let reason = |reason: &words::LeftReason| LeftReasonGiven {
            code: Code(*reason),
            text: match (reason, &wanted) {
                (words::LeftReason::NobodyQualified, Some(wanted)) => not_held(wanted, two_people),
                _ => reason.text().to_owned(),
            },
        };
        Self {
            check_id: left.check.uuid(),
            reasons: left.reasons.iter().map(reason).collect(),
            cures: left.cures.iter().map(|cure| Cure::of(*cure, wanted.as_deref(), names)).collect(),
            check,
        }
    }
}

fn not_held(qualification: &str, two_people: bool) -> String {
    match two_people {
        true => format!("it takes two, and fewer than two on shift then hold {qualification}"),
        false => format!("nobody on shift then holds {qualification}"),
    }
}
