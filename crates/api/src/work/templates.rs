//! The check plans that a site usually begins with.

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
}

/// A plan that can be made of what the site has.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
pub struct CheckPlanTemplate {
    /// What for.
    pub kind: TemplateKind,
    /// Whether plans do the same already, by whatever name; it is not made again then.
    pub is_there: bool,
    /// Plans by which somebody looks at the same room under a name of their own: see whether one of them is for the same.
    #[schema(max_items = 100000)]
    pub beside: Vec<String>,
    /// The plan as it would be made.
    pub plan: NewCheckPlan,
}

/// A tank whose changes the feeding programme makes due.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"tank_id": "019a0000-0000-7000-8000-000000000001", "name": "North 1",
    "in_words": "as often as the step of its feeding programme says"}))]
pub struct ProgrammeChanges {
    /// The tank.
    pub tank_id: Uuid,
    /// Its name.
    #[schema(max_length = 120)]
    pub name: String,
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
    pub fn of(template: &words::Template, is_there: bool, beside: Vec<String>) -> Self {
        Self { kind: Code(template.kind), is_there, beside, plan: NewCheckPlan::of(&template.plan) }
    }
}

impl ProgrammeChanges {
    /// The body of a tank that the programme has changed.
    pub fn of(tank_id: Uuid, name: &str) -> Self {
        let in_words = "as often as the step of its feeding programme says".to_owned();
        Self { tank_id, name: name.to_owned(), in_words }
    }
}
