//! What would help a check that nobody can do.

use fillmark_domain::Id;
use fillmark_domain::entries::MeterKind as MeterKindWord;
use fillmark_domain::people::PersonId;
use fillmark_domain::work as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Code, MeterKind};

/// What people and qualifications are called where an answer speaks of them.
pub trait SpokenOf {
    /// A person's name.
    fn person(&self, id: PersonId) -> String;
    /// A qualification's name.
    fn qualification(&self, id: Id<words::Qualification>) -> String;
    /// The name of a tank or a room, if it is not put away.
    fn place(&self, id: Uuid) -> Option<String>;
}

/// What would help a check that nobody can do.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"code": "stay", "text": "Sam could stay 20 minutes longer",
    "person_id": "019a0000-0000-7000-8000-000000000001", "minutes": 20, "meter": null, "qualification_id": null}))]
pub struct Cure {
    /// `wait_until_tomorrow`, `stay`, `another_meter`, `qualify` or `another_person`.
    #[schema(max_length = 30)]
    pub code: String,
    /// In words.
    #[schema(max_length = 600)]
    pub text: String,
    /// Who would do something; null where it is nobody in particular.
    pub person_id: Option<Uuid>,
    /// For how long.
    #[schema(minimum = 0, maximum = 100000)]
    pub minutes: Option<i64>,
    /// The kind of meter that is short.
    pub meter: Option<MeterKind>,
    /// The qualification that is short.
    pub qualification_id: Option<Uuid>,
}

impl Cure {
    /// The body of a cure of a check that wants this qualification, if any.
    pub fn of(cure: words::Cure, wanted: Option<&str>, names: &impl SpokenOf) -> Self {
        let mut told = Self {
            code: cure.code().to_owned(),
            text: String::new(),
            person_id: None,
            minutes: None,
            meter: None,
            qualification_id: None,
        };
        told.text = match cure {
            words::Cure::WaitUntilTomorrow => "it may wait until tomorrow".to_owned(),
            words::Cure::Stay { person, minutes } => {
                (told.person_id, told.minutes) = (Some(person.uuid()), Some(minutes));
                format!("{} could stay {minutes} minutes longer", names.person(person))
            }
            words::Cure::AnotherMeter { kind } => {
                told.meter = Some(Code(kind));
                format!("one more {}", called(kind))
            }
            words::Cure::Qualify { person, qualification } => {
                (told.person_id, told.qualification_id) = (Some(person.uuid()), Some(qualification.uuid()));
                let (person, wanted) = (names.person(person), names.qualification(qualification));
                format!("{person} has the time, but would have to be qualified: {wanted}")
            }
            words::Cure::AnotherPerson { minutes } => {
                told.minutes = Some(minutes);
                let qualified =
                    wanted.map_or(String::new(), |wanted| format!("is qualified ({wanted}) and "));
                format!("somebody more for {minutes} minutes, who {qualified}has been in no dirtier room")
            }
        };
        told
    }
}

fn called(kind: MeterKindWord) -> &'static str {
    match kind {
        MeterKindWord::Ph => "pH meter",
        MeterKindWord::Ec => "EC meter",
        MeterKindWord::PhAndEc => "meter of pH and EC",
        MeterKindWord::Other => "meter",
    }
}
