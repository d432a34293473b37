//! The check plans that a site usually begins with.

use chrono_tz::Tz;
use fillmark_domain::Kept;
use fillmark_domain::places::Tank;
use fillmark_domain::plan::Changes;
use fillmark_domain::work::template as words;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use super::{CheckPlan, NewCheckPlan};
use crate::{Body, Code};

/// What a template is for, by its code.
pub type TemplateKind = Code<words::TemplateKind>;

/// The check plans that a site usually begins with.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CheckPlanTemplates {
    /// Plans that can be made of what the site has.
    #[schema(max_items = 100000)]
    pub templates: Vec<CheckPlanTemplate>,
    /// Tanks whose changes the feeding programme makes due, so that no plan is wanted for them.
    #[schema(max_items = 100000)]
    pub changed_by_programme: Vec<ProgrammeChanges>,
    /// Tanks whose solution is to be changed and for which no change comes due as things stand.
    #[schema(max_items = 100000)]
    pub without_changes: Vec<NoChanges>,
}

/// A plan that can be made of what the site has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CheckPlanTemplate {
    /// What for.
    pub kind: TemplateKind,
    /// Whether plans do the same already, by whatever name; it is not made again then.
    pub is_there: bool,
    /// Plans by which somebody looks at the same room under a name of their own, or calibrates a meter that they do not name: see
    /// whether one of them is for the same.
    #[schema(max_items = 100000)]
    pub beside: Vec<String>,
    /// The plan as it would be made.
    pub plan: NewCheckPlan,
}

/// A tank for which no change comes due.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000001", "name": "North 1",
    "in_words": "no cycle drinks from it today: feed one from it, and the step of its programme makes changes due"}))]
pub struct NoChanges {
    /// The tank.
    pub tank_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Why, and what to do.
    #[schema(max_length = 200)]
    pub in_words: String,
}

/// A tank whose changes the feeding programme makes due.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000001", "name": "North 1",
    "every_days": 7, "in_words": "every 7 days, as the step in force of its feeding programme says"}))]
pub struct ProgrammeChanges {
    /// The tank.
    pub tank_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
    /// Days from one change to the next, by the step in force today.
    #[schema(minimum = 1, maximum = 365)]
    pub every_days: u32,
    /// How often, in words.
    #[schema(max_length = 200)]
    pub in_words: String,
}

/// Which templates to make plans of.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"kinds": ["readings", "calibration"]}))]
pub struct NewTemplatePlans {
    /// Of these kinds; of all where none is named.
    #[serde(default)]
    #[schema(max_items = 20)]
    pub kinds: Vec<TemplateKind>,
}

/// The plans that were made. What was there already was left as it is.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct TemplatePlans {
    /// Those that are new.
    #[schema(max_items = 100000)]
    pub made: Vec<CheckPlan>,
}

impl CheckPlanTemplate {
    /// The body of a template.
    pub fn of(template: &words::Template, is_there: bool, beside: Vec<String>, zone: Tz) -> Self {
        let mut plan = NewCheckPlan::of(&template.plan);
        plan.tell_by(zone);
        Self { kind: Code(template.kind), is_there, beside, plan }
    }
}

impl CheckPlanTemplates {
    /// The body of templates, and of tanks by whether changes come due.
    pub fn of(templates: Vec<CheckPlanTemplate>, changes: &[(Kept<Tank>, Changes)]) -> Self {
        let mut told = Self { templates, changed_by_programme: Vec::new(), without_changes: Vec::new() };
        for (tank, changes) in changes {
            let (tank_id, name) = (tank.id.uuid(), tank.content.name.clone());
            let why = match changes {
                Changes::Every(every_days) => {
                    let in_words = often(*every_days);
                    let tank = ProgrammeChanges { tank_id, name, every_days: *every_days, in_words };
                    told.changed_by_programme.push(tank);
                    continue;
                }
                Changes::OutOfUse => {
                    "it is out of use today: once it is in use, its programme makes changes due"
                }
                Changes::NotFed => {
                    "no cycle drinks from it today: feed one from it, and the step of its programme makes changes due"
                }
                Changes::NotByStep => {
                    "its feeding programme has no days between changes today: revise the programme, and they come due"
                }
            };
            told.without_changes.push(NoChanges { tank_id, name, in_words: why.to_owned() });
        }
        told
    }
}

fn often(every_days: u32) -> String {
    let every = if every_days == 1 { "every day".to_owned() } else { format!("every {every_days} days") };
    format!("{every}, as the step in force of its feeding programme says")
}
