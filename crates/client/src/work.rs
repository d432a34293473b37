//! Checks and rounds.

use chrono::NaiveDate;
use fillmark_api::{
    Check, CheckOffer, CheckPlanTemplates, HandoverNote, Listed, NewCheckOffer, NewCompletion, NewExcusal,
    NewHandoverNote, NewReassignment, NewRounds, NewTemplatePlans, Round, Rounds, RoundsCoverage,
    RoundsFairness, TemplatePlans,
};
use uuid::Uuid;

use crate::{Client, ClientError};

impl Client {
    /// A page of a site's checks; the query is what stands behind the question mark.
    /// # Errors
    /// [`ClientError`].
    pub async fn checks(&self, site: Uuid, query: &str) -> Result<Listed<Check>, ClientError> {
        self.get(&format!("/sites/{site}/checks?{query}")).await
    }

    /// All checks of a site that a query picks.
    /// # Errors
    /// [`ClientError`].
    pub async fn all_checks(&self, site: Uuid, query: &str) -> Result<Vec<Check>, ClientError> {
        self.all(&format!("/sites/{site}/checks"), query).await
    }

    /// A check.
    /// # Errors
    /// [`ClientError`].
    pub async fn check(&self, site: Uuid, check: Uuid) -> Result<Check, ClientError> {
        self.get(&format!("/sites/{site}/checks/{check}")).await
    }

    /// Begins a check.
    /// # Errors
    /// [`ClientError`].
    pub async fn open_check(&self, site: Uuid, check: Uuid) -> Result<Check, ClientError> {
        self.post(&format!("/sites/{site}/checks/{check}/openings"), &()).await
    }

    /// Settles a check as done.
    /// # Errors
    /// [`ClientError`].
    pub async fn settle_check(
        &self,
        site: Uuid,
        check: Uuid,
        completion: &NewCompletion,
    ) -> Result<Check, ClientError> {
        self.post(&format!("/sites/{site}/checks/{check}/completions"), completion).await
    }

    /// Excuses a check.
    /// # Errors
    /// [`ClientError`].
    pub async fn excuse_check(
        &self,
        site: Uuid,
        check: Uuid,
        excusal: &NewExcusal,
    ) -> Result<Check, ClientError> {
        self.post(&format!("/sites/{site}/checks/{check}/excusals"), excusal).await
    }

    /// Shares out a day and publishes its rounds.
    /// # Errors
    /// [`ClientError`].
    pub async fn publish_rounds(&self, site: Uuid, day_on: NaiveDate) -> Result<Rounds, ClientError> {
        self.post(&format!("/sites/{site}/rounds"), &NewRounds { day_on }).await
    }

    /// The rounds in force for a day; today where none is given.
    /// # Errors
    /// [`ClientError`].
    pub async fn rounds(&self, site: Uuid, day_on: Option<NaiveDate>) -> Result<Rounds, ClientError> {
        self.get(&format!("/sites/{site}/rounds{}", on(day_on))).await
    }

    /// One's own round of a day; today's where none is given. Without checks where there is nothing to do.
    /// # Errors
    /// [`ClientError`].
    pub async fn my_round(&self, site: Uuid, day_on: Option<NaiveDate>) -> Result<Round, ClientError> {
        self.get(&format!("/sites/{site}/rounds/mine{}", on(day_on))).await
    }

    /// Gives checks to somebody, or takes them over.
    /// # Errors
    /// [`ClientError`].
    pub async fn reassign_checks(&self, site: Uuid, wanted: &NewReassignment) -> Result<Rounds, ClientError> {
        self.post(&format!("/sites/{site}/rounds/reassignments"), wanted).await
    }

    /// A page of the checks that people offer to one another; the query is what stands behind the question mark.
    /// # Errors
    /// [`ClientError`].
    pub async fn check_offers(&self, site: Uuid, query: &str) -> Result<Listed<CheckOffer>, ClientError> {
        self.get(&format!("/sites/{site}/check-offers?{query}")).await
    }

    /// Offers checks.
    /// # Errors
    /// [`ClientError`].
    pub async fn offer_checks(&self, site: Uuid, offer: &NewCheckOffer) -> Result<CheckOffer, ClientError> {
        self.post(&format!("/sites/{site}/check-offers"), offer).await
    }

    /// Accepts checks that were offered.
    /// # Errors
    /// [`ClientError`].
    pub async fn accept_checks(&self, site: Uuid, offer: Uuid) -> Result<CheckOffer, ClientError> {
        self.post(&format!("/sites/{site}/check-offers/{offer}/acceptances"), &()).await
    }

    /// Takes an offer back, or declines it.
    /// # Errors
    /// [`ClientError`].
    pub async fn end_check_offer(&self, site: Uuid, offer: Uuid) -> Result<CheckOffer, ClientError> {
        self.post(&format!("/sites/{site}/check-offers/{offer}/withdrawals"), &()).await
    }

    /// A page of what people left for the next to know.
    /// # Errors
    /// [`ClientError`].
    pub async fn handover_notes(&self, site: Uuid, query: &str) -> Result<Listed<HandoverNote>, ClientError> {
        self.get(&format!("/sites/{site}/handover-notes?{query}")).await
    }

    /// Leaves a note for the next.
    /// # Errors
    /// [`ClientError`].
    pub async fn write_handover_note(
        &self,
        site: Uuid,
        note: &NewHandoverNote,
    ) -> Result<HandoverNote, ClientError> {
        self.post(&format!("/sites/{site}/handover-notes"), note).await
    }

    /// Says that a note was seen.
    /// # Errors
    /// [`ClientError`].
    pub async fn see_handover_note(&self, site: Uuid, note: Uuid) -> Result<HandoverNote, ClientError> {
        self.post(&format!("/sites/{site}/handover-notes/{note}/sightings"), &()).await
    }

    /// Which days lack people or a qualification; the query names the days.
    /// # Errors
    /// [`ClientError`].
    pub async fn coverage(&self, site: Uuid, query: &str) -> Result<RoundsCoverage, ClientError> {
        self.get(&format!("/sites/{site}/rounds/coverage?{query}")).await
    }

    /// Minutes per person and week beside fair ones; the query names the days.
    /// # Errors
    /// [`ClientError`].
    pub async fn fairness(&self, site: Uuid, query: &str) -> Result<RoundsFairness, ClientError> {
        self.get(&format!("/sites/{site}/rounds/fairness?{query}")).await
    }

    /// The check plans that a site usually begins with.
    /// # Errors
    /// [`ClientError`].
    pub async fn check_plan_templates(&self, site: Uuid) -> Result<CheckPlanTemplates, ClientError> {
        self.get(&format!("/sites/{site}/check-plan-templates")).await
    }

    /// Makes check plans of templates.
    /// # Errors
    /// [`ClientError`].
    pub async fn make_template_plans(
        &self,
        site: Uuid,
        wanted: &NewTemplatePlans,
    ) -> Result<TemplatePlans, ClientError> {
        self.post(&format!("/sites/{site}/check-plan-templates"), wanted).await
    }

    /// A round as text to be printed.
    /// # Errors
    /// [`ClientError`].
    pub async fn round_sheet(&self, site: Uuid, round: Uuid) -> Result<String, ClientError> {
        self.get_text(&format!("/sites/{site}/rounds/{round}/sheet")).await
    }
}

fn on(day: Option<NaiveDate>) -> String {
    day.map(|day| format!("?day_on={day}")).unwrap_or_default()
}
