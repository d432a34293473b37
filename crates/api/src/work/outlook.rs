//! Whether days to come are covered, and whether work was shared fairly.

use chrono::NaiveDate;
use fillmark_advice::rounds as words;
use fillmark_domain::Id;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::SpokenOf;

/// How days are covered by people and qualifications.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RoundsCoverage {
    /// Day by day.
    #[schema(max_items = 92)]
    pub days: Vec<CoveredDay>,
}

/// How a day is covered. Nobody counts for work that they have no time for between its being due and its being missed, nor for
/// both of the two whom it wants, nor for one of them without another who is there meanwhile; that two pieces of work want the
/// same minutes, walks and the order of rooms are left aside. So what is short here is short for sure, and what is covered may
/// still be hard to plan.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"day_on": "2026-12-24", "wanted_min": 240, "there_min": 200, "is_covered": false,
    "lacks": [{"qualification_id": null, "minutes": 40, "people_count": 1, "text": "40 minutes of people are short"}]}))]
pub struct CoveredDay {
    /// The local day.
    pub day_on: NaiveDate,
    /// Minutes of people that checks and tank changes want.
    #[schema(minimum = 0, maximum = 10000000)]
    pub wanted_min: i64,
    /// Minutes that people are there from midnight to midnight. What may be done after that may be done by whoever stays on.
    #[schema(minimum = 0, maximum = 10000000)]
    pub there_min: i64,
    /// Whether nothing is short.
    pub is_covered: bool,
    /// What is short, qualifications first.
    #[schema(max_items = 1000)]
    pub lacks: Vec<CoverageLack>,
}

/// What is short on a day.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CoverageLack {
    /// Of what qualification; null for people of any kind.
    pub qualification_id: Option<Uuid>,
    /// By so many minutes.
    #[schema(minimum = 0, maximum = 10000000)]
    pub minutes: i64,
    /// People on shift who hold it, busy or not.
    #[schema(minimum = 0, maximum = 100000)]
    pub people_count: u64,
    /// In words.
    #[schema(max_length = 400)]
    pub text: String,
}

impl CoveredDay {
    /// The body of a covered day.
    pub fn of(day: &words::Coverage, names: &impl SpokenOf) -> Self {
        let lack = |lack: &words::Lack| {
            let minutes = lack.minutes;
            let text = match lack.qualification.map(|wanted| names.qualification(wanted)) {
                None => format!("{minutes} minutes of people are short"),
                Some(wanted) if lack.people == 0 => {
                    format!("nobody on shift is qualified: {wanted}, {minutes} minutes")
                }
                Some(wanted) => format!("{minutes} minutes are short of who is qualified: {wanted}"),
            };
            CoverageLack {
                qualification_id: lack.qualification.map(Id::uuid),
                minutes,
                people_count: lack.people as u64,
                text,
            }
        };
        Self {
            day_on: day.date,
            wanted_min: day.wanted_min,
            there_min: day.there_min,
            is_covered: day.lacks.is_empty(),
            lacks: day.lacks.iter().map(lack).collect(),
        }
    }
}

/// How work was shared.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct RoundsFairness {
    /// Week by week and by person.
    #[schema(max_items = 100000)]
    pub weeks: Vec<WeekOfWork>,
}

/// What somebody did in a week, and in the four weeks that end with it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"person_id": "019a0000-0000-7000-8000-000000000001", "person": "Sam", "week_from_on": "2026-11-23",
    "minutes": 120, "unpleasant_min": 45, "shift_min": 2400, "four_weeks_min": 520, "four_weeks_unpleasant_min": 90,
    "four_weeks_shift_min": 9600, "fair_min": 500, "fair_unpleasant_min": 100}))]
pub struct WeekOfWork {
    /// Who.
    pub person_id: Uuid,
    /// Their name.
    #[schema(max_length = 120)]
    pub person: String,
    /// Its Monday.
    pub week_from_on: NaiveDate,
    /// Minutes of checks done in the week, as planned.
    #[schema(minimum = 0, maximum = 1000000)]
    pub minutes: i64,
    /// Of those, minutes that nobody likes.
    #[schema(minimum = 0, maximum = 1000000)]
    pub unpleasant_min: i64,
    /// Minutes of shifts in the week, absences and breaks taken out.
    #[schema(minimum = 0, maximum = 1000000)]
    pub shift_min: i64,
    /// Minutes of checks done in the four weeks.
    #[schema(minimum = 0, maximum = 1000000)]
    pub four_weeks_min: i64,
    /// Of those, minutes that nobody likes.
    #[schema(minimum = 0, maximum = 1000000)]
    pub four_weeks_unpleasant_min: i64,
    /// Minutes of shifts in the four weeks.
    #[schema(minimum = 0, maximum = 1000000)]
    pub four_weeks_shift_min: i64,
    /// Minutes of the four weeks that would have been fair: of all that was done, the share that their shifts are of all shifts.
    #[schema(minimum = 0, maximum = 1000000)]
    pub fair_min: i64,
    /// The same of what nobody likes.
    #[schema(minimum = 0, maximum = 1000000)]
    pub fair_unpleasant_min: i64,
}

impl WeekOfWork {
    /// The body of a week.
    pub fn of(week: &words::WeekOfWork, names: &impl SpokenOf) -> Self {
        Self {
            person_id: week.person.uuid(),
            person: names.person(week.person),
            week_from_on: week.week,
            minutes: week.own.minutes,
            unpleasant_min: week.own.unpleasant_min,
            shift_min: week.own.shift_min,
            four_weeks_min: week.four_weeks.minutes,
            four_weeks_unpleasant_min: week.four_weeks.unpleasant_min,
            four_weeks_shift_min: week.four_weeks.shift_min,
            fair_min: week.fair_min,
            fair_unpleasant_min: week.fair_unpleasant_min,
        }
    }
}
