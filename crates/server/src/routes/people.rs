//! People, memberships, passwords.

use actix_web::put;
use actix_web::web::Path;
use fillmark_actions::people;
use fillmark_api::NewPassword;
use fillmark_domain::Id;
use utoipa_actix_web::service_config::ServiceConfig;
use uuid::Uuid;

use super::records::{AppData, business_records};
use crate::http::{Gone, Json, Refused, SignedIn, WriteProblems};

/// Registers them.
pub fn routes(config: &mut ServiceConfig) {
    persons::routes(config);
    memberships::routes(config);
    config.service(set_password);
}

business_records!(persons: "people", "person", "people", "/people", "/people/{person_id}",
    NewPerson, Person, PersonPatch, list_people, create_person, read_person, change_person, archive_person);
business_records!(memberships: "people", "membership", "memberships", "/memberships", "/memberships/{membership_id}",
    NewMembership, Membership, MembershipPatch,
    list_memberships, create_membership, read_membership, change_membership, archive_membership, by "person_id" "site_id");

/// Set a person's password: one's own, or anybody's for those who manage people.
#[utoipa::path(tag = "people", operation_id = "set_password", security(("bearer" = [])), request_body = NewPassword,
    responses((status = 204, description = "It is set"), WriteProblems))]
#[put("/people/{person_id}/password")]
pub async fn set_password(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewPassword>,
) -> Result<Gone, Refused> {
    people::set_password(&app, &caller.0, Id::new(path.into_inner()), body.0.password).await?;
    Ok(Gone)
}
