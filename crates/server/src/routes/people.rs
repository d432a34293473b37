//! People, memberships, passwords.

use actix_web::web::{Data, Path};
use actix_web::{post, put};
use fillmark_actions::first_owner::{self, Offer};
use fillmark_actions::people;
use fillmark_api::{NewFirstOwner, NewPassword, Person};
use fillmark_domain::Id;
use uuid::Uuid;

use super::records::business_records;
use crate::http::{AppData, Created, Gone, Json, Refused, SignedIn, WriteProblems};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    persons::routes(config);
    memberships::routes(config);
    config.service(set_password).service(erase_name).service(claim_business);
}

business_records!(persons: "people", "person", "people", "/people", "/people/{person_id}",
    NewPerson, Person, PersonPatch, list_people, create_person, read_person, change_person, archive_person, found_by "q");
business_records!(memberships: "people", "membership", "memberships", "/memberships", "/memberships/{membership_id}",
    NewMembership, Membership, MembershipPatch,
    list_memberships, create_membership, read_membership, change_membership, archive_membership, by "person_id" "site_id");

/// Set a person's password: one's own, or anybody's for those who manage people.
///
/// One's own needs the present one, and one that is wrong counts as a sign-in that failed: after five of them the next is
/// answered 429 with `Retry-After`.
#[utoipa::path(tag = "people", operation_id = "set_password", security(("bearer" = [])), request_body = NewPassword,
    responses((status = 204, description = "It is set"), WriteProblems))]
#[put("/people/{person_id}/password")]
pub async fn set_password(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewPassword>,
) -> Result<Gone, Refused> {
    let NewPassword { password, present_password } = body.0;
    people::set_password(&app, &caller.0, Id::new(path.into_inner()), password, present_password).await?;
    Ok(Gone)
}

/// Erase the name of somebody who has left.
///
/// Who is archived has left: roles and sessions end, and what their rounds hold is handed on. This takes their name, the
/// one they signed in with and those of their devices away; what they did stays, signed by the same id.
#[utoipa::path(tag = "people", operation_id = "erase_name", security(("bearer" = [])),
    responses((status = 204, description = "It is erased"), WriteProblems))]
#[post("/people/{person_id}/erasures")]
pub async fn erase_name(app: AppData, caller: SignedIn, path: Path<Uuid>) -> Result<Gone, Refused> {
    people::erase_name(&app, &caller.0, Id::new(path.into_inner())).await?;
    Ok(Gone)
}

/// Become the first owner.
///
/// Good once, with the code that the server prints when it starts on a database in which nobody has a password.
#[utoipa::path(tag = "people", operation_id = "claim_business", request_body = NewFirstOwner,
    responses((status = 201, description = "The owner of every site, who can sign in now", body = Person), WriteProblems))]
#[post("/first-owner")]
pub async fn claim_business(
    app: AppData,
    offer: Data<Offer>,
    body: Json<NewFirstOwner>,
) -> Result<Created<Person>, Refused> {
    let person = body.0.person()?;
    let NewFirstOwner { code, password, .. } = body.0;
    let kept = first_owner::claim(&app, &offer, &code, person, password).await?;
    Ok(Created::record("/api/v1/people", kept.into()))
}
