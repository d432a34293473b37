//! Check plans.

use std::collections::BTreeSet;

use chrono::NaiveDateTime;
use chrono_tz::Tz;
use fillmark_domain::growing::is_keepable;
use fillmark_domain::recurrence::in_words;
use fillmark_domain::work as words;
use fillmark_domain::{Faults, Id};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::{Body, Code, Metric, Patch, SamplePoint, Stored};

/// What kind of work a check is, by its code.
pub type TaskKind = Code<words::TaskKind>;
/// A check plan as kept.
pub type CheckPlan = Stored<NewCheckPlan>;
/// A change of a check plan.
pub type CheckPlanPatch = Patch<NewCheckPlan>;

/// What is to be looked at, where, how often and by when. Changing it remakes the checks to come that nobody
/// has opened; archiving it withdraws them.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"name": "EC and pH, north tank", "task": "measure", "metrics": ["ec", "ph"], "sample_point": "tank", "meter_id": null,
    "tank_id": "019a0000-0000-7000-8000-000000000001", "room_id": null, "rule": "FREQ=DAILY", "starts_local": "2026-11-24T08:00:00",
    "window_min": 120, "limit_min": 480, "work_min": 10, "qualification_id": null, "two_people": false,
    "weight": 1, "is_unpleasant": false, "rule_in_words": "every day at 08:00"}))]
pub struct NewCheckPlan {
    /// Its name on the round; unique in the site.
    #[schema(min_length = 1, max_length = 120)]
    pub name: String,
    /// What is done: measure, inspect or calibrate.
    pub task: TaskKind,
    /// What is measured; none for other tasks.
    #[serde(default)]
    #[schema(max_items = 12)]
    pub metrics: Vec<Metric>,
    /// Where the sample is taken; null for tasks that measure nothing.
    #[serde(default)]
    pub sample_point: Option<SamplePoint>,
    /// The meter that is calibrated, one plan a meter; null for other tasks.
    #[serde(default)]
    pub meter_id: Option<Uuid>,
    /// The tank it is done at, or null.
    #[serde(default)]
    pub tank_id: Option<Uuid>,
    /// The room it is done in, or null. One of tank and room is given.
    #[serde(default)]
    pub room_id: Option<Uuid>,
    /// How often, as an RFC 5545 recurrence rule in the time of the site; at most 48 times a day.
    #[schema(min_length = 1, max_length = 500)]
    pub rule: String,
    /// The wall-clock time the rule starts from.
    #[schema(value_type = String, max_length = 19, pattern = "^[0-9]{4}-[0-9]{2}-[0-9]{2}T[0-9]{2}:[0-9]{2}(:[0-9]{2})?$")]
    pub starts_local: NaiveDateTime,
    /// Minutes from when it is due in which it is in time.
    #[schema(minimum = 1, maximum = 10080)]
    pub window_min: u32,
    /// Minutes from when it is due after which it is missed for good.
    #[schema(minimum = 1, maximum = 10080)]
    pub limit_min: u32,
    /// Minutes of work.
    #[schema(minimum = 1, maximum = 10080)]
    pub work_min: u32,
    /// What a person must be qualified in to do it.
    #[serde(default)]
    pub qualification_id: Option<Uuid>,
    /// Whether two people must do it together.
    #[serde(default)]
    pub two_people: bool,
    /// How much it matters that it is done: where not all can be, two of 1 are left for one of 2.
    #[serde(default = "as_any")]
    #[schema(minimum = 1, maximum = 9)]
    pub weight: u32,
    /// Whether nobody likes to do it, so that its minutes are shared fairly too.
    #[serde(default)]
    pub is_unpleasant: bool,
    /// The rule in words, by the clock of the site. Told in answers; what is sent here is left aside.
    #[serde(default)]
    #[schema(max_length = 700)]
    pub rule_in_words: Option<String>,
}

fn as_any() -> u32 {
    words::Sharing::default().weight
}

impl NewCheckPlan {
    fn task(&self, faults: &mut Faults) -> Option<words::Task> {
        let measures = self.task.0 == words::TaskKind::Measure;
        let nothing = self.metrics.is_empty() && self.sample_point.is_none();
        faults.unless(
            measures || nothing,
            "/metrics",
            "not_measured",
            "expected metrics of a task that measures only",
        );
        let point = self.sample_point.map(|point| point.0);
        faults.unless(
            !measures || point.is_some(),
            "/sample_point",
            "missing",
            "expected where the sample is taken",
        );
        let calibrates = self.task.0 == words::TaskKind::Calibrate;
        let expected = "expected a meter of a task that calibrates only";
        faults.unless(calibrates || self.meter_id.is_none(), "/meter_id", "not_calibrated", expected);
        let metrics: BTreeSet<_> = self.metrics.iter().map(|metric| metric.0).collect();
        faults.unless(metrics.len() == self.metrics.len(), "/metrics", "twice", "expected each metric once");
        Some(match self.task.0 {
            words::TaskKind::Measure => words::Task::Measure { metrics, point: point? },
            words::TaskKind::Inspect => words::Task::Inspect,
            words::TaskKind::Calibrate => words::Task::Calibrate { meter: self.meter_id.map(Id::new) },
            words::TaskKind::ChangeTank => words::Task::ChangeTank,
        })
    }

    fn place(&self, faults: &mut Faults) -> Option<words::Place> {
        let place = match (self.tank_id, self.room_id) {
            (Some(tank), None) => Ok(words::Place::Tank(Id::new(tank))),
            (None, Some(room)) => Ok(words::Place::Room(Id::new(room))),
            _ => Err("expected either a tank or a room"),
        };
        faults.take("/tank_id", "one_place", place)
    }
}

impl Body for NewCheckPlan {
    type Word = words::CheckPlan;

    fn word(&self) -> Result<words::CheckPlan, Faults> {
        let mut faults = Faults::default();
        faults.text("/name", &self.name, 120);
        let (task, place) = (self.task(&mut faults), self.place(&mut faults));
        let kept = is_keepable(self.starts_local.date());
        faults.unless(kept, "/starts_local", "out_of_range", "expected a time of the years 2000 to 2100");
        faults.text("/rule", &self.rule, 500);
        let (Some((task, place)), true) = (task.zip(place), faults.is_empty()) else { return Err(faults) };
        let plan = words::CheckPlan {
            name: self.name.trim().to_owned(),
            task,
            place,
            rule: self.rule.trim().to_owned(),
            start: self.starts_local,
            window_min: self.window_min,
            limit_min: self.limit_min,
            work_min: self.work_min,
            qualification: self.qualification_id.map(Id::new),
            two_people: self.two_people,
            sharing: words::Sharing { weight: self.weight, is_unpleasant: self.is_unpleasant },
        };
        // Whether a rule is one does not depend on the zone; when it is due does.
        faults.take("/rule", "not_a_rule", plan.recurrence(Tz::UTC));
        let checked = plan.checked().map_err(|error| (pointer(&error), error));
        let checked =
            checked.map_err(|(pointer, error)| faults.add(pointer, "not_a_plan", error.to_string())).ok();
        faults.or(checked)
    }

    fn of(word: &words::CheckPlan) -> Self {
        let (metrics, sample_point) = measured(&word.task);
        let (tank_id, room_id) = place_ids(word.place);
        Self {
            name: word.name.clone(),
            task: Code(word.task.kind()),
            metrics,
            sample_point,
            meter_id: word.task.calibrates().map(Id::uuid),
            tank_id,
            room_id,
            rule: word.rule.clone(),
            starts_local: word.start,
            window_min: word.window_min,
            limit_min: word.limit_min,
            work_min: word.work_min,
            qualification_id: word.qualification.map(Id::uuid),
            two_people: word.two_people,
            weight: word.sharing.weight,
            is_unpleasant: word.sharing.is_unpleasant,
            rule_in_words: None,
        }
    }

    const TELLS_BY_CLOCK: bool = true;

    fn tell_by(&mut self, zone: Tz) {
        self.rule_in_words = Some(in_words(&self.rule, self.starts_local, zone));
    }
}

fn pointer(error: &words::NotAPlan) -> &'static str {
    match error {
        words::NotAPlan::NoName => "/name",
        words::NotAPlan::NothingToMeasure => "/metrics",
        words::NotAPlan::NoMeter => "/meter_id",
        words::NotAPlan::Elsewhere(_) => "/sample_point",
        words::NotAPlan::TankChange => "/task",
        words::NotAPlan::Minutes { window_min: 0, .. } => "/window_min",
        words::NotAPlan::Minutes { work_min, window_min, .. } if *work_min == 0 || window_min < work_min => {
            "/work_min"
        }
        words::NotAPlan::Minutes { .. } => "/limit_min",
        words::NotAPlan::Weight(_) => "/weight",
    }
}

/// The metrics and sample point of a task.
pub(super) fn measured(task: &words::Task) -> (Vec<Metric>, Option<SamplePoint>) {
    match task {
        words::Task::Measure { metrics, point } => {
            (metrics.iter().map(|metric| Code(*metric)).collect(), Some(Code(*point)))
        }
        words::Task::Inspect | words::Task::Calibrate { .. } | words::Task::ChangeTank => (Vec::new(), None),
    }
}

/// The tank's id or the room's.
pub(super) fn place_ids(place: words::Place) -> (Option<Uuid>, Option<Uuid>) {
    match place {
        words::Place::Tank(tank) => (Some(tank.uuid()), None),
        words::Place::Room(room) => (None, Some(room.uuid())),
    }
}
