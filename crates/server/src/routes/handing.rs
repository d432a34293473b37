//! Checks given, offered and taken over, and notes for the next.

use actix_web::web::Path;
use actix_web::{HttpRequest, HttpResponse, get, post};
use fillmark_actions::work::handing::{self, Offered, Picked, Reassignment};
use fillmark_actions::work::notes;
use fillmark_api::{
    CheckOffer, HandoverNote, Listed, NewCheckOffer, NewHandoverNote, NewReassignment, OfferStanding,
    PickedChecks, Rounds,
};
use fillmark_domain::Id;
use fillmark_domain::work::OfferStanding as OfferStandingWord;
use fillmark_store::Filter;
use uuid::Uuid;

use super::rounds::answer;
use crate::http::list::{Asked, ListKind, one_of, one_of_codes};
use crate::http::{AppData, Created, Json, ListQuery, ReadProblems, Refused, SignedIn, WriteProblems};

type Offers = Listed<CheckOffer>;
type Notes = Listed<HandoverNote>;

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(reassign_checks);
    config.service(list_check_offers).service(offer_checks).service(accept_checks).service(end_check_offer);
    config.service(list_handover_notes).service(write_handover_note).service(see_handover_note);
}

const OFFERS: ListKind = ListKind {
    ordered_by: &["offered_at"],
    narrowed_by: &["from_id", "to_id"],
    archives: false,
    named: false,
    recorded: Some("offered_at"),
    coded_by: &[("state", one_of::<OfferStandingWord>)],
};

const NOTES: ListKind = ListKind {
    ordered_by: &["written_at"],
    narrowed_by: &["check_id", "room_id"],
    archives: false,
    named: false,
    recorded: Some("written_at"),
    coded_by: &[("seen", |value| one_of_codes(&["true", "false"], value))],
};

/// Give checks to somebody, or take them over.
///
/// A manager gives any. Others take over what nobody has, or what somebody has who is away. The rules are kept: what stands
/// against it is told. The day is published anew; what is begun stays.
#[utoipa::path(tag = "work", operation_id = "reassign_checks", security(("bearer" = [])), request_body = NewReassignment,
    responses((status = 201, description = "The rounds as they are now", body = Rounds), WriteProblems))]
#[post("/sites/{site_id}/rounds/reassignments")]
pub async fn reassign_checks(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewReassignment>,
) -> Result<Created<Rounds>, Refused> {
    let site = path.into_inner();
    let wanted = Reassignment {
        day: body.0.day_on,
        picked: picked(body.0.picked()?),
        from: body.0.from_person_id.map(Id::new),
        to: Id::new(body.0.to_person_id),
    };
    let day = handing::reassign(&app, &caller.0, Id::new(site), wanted).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/rounds?day_on={}", body.0.day_on), answer(&day)))
}

/// List the checks that people offer to one another.
#[utoipa::path(tag = "work", operation_id = "list_check_offers", security(("bearer" = [])),
    params(ListQuery, ("state" = Option<OfferStanding>, Query, description = "Only these; repeated, any of them"),
        ("from_id" = Option<Uuid>, Query, description = "Only what this person offers"),
        ("to_id" = Option<Uuid>, Query, description = "Only what is offered to this person"),
        ("recorded_from" = Option<fillmark_api::Instant>, Query, description = "Offered then or later"),
        ("recorded_before" = Option<fillmark_api::Instant>, Query, description = "Offered before then")),
    responses((status = 200, description = "A page of them", body = Offers), ReadProblems))]
#[get("/sites/{site_id}/check-offers")]
pub async fn list_check_offers(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let asked = Asked::read(&request, OFFERS)?;
    let page = handing::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, |kept| CheckOffer::of(kept.id.uuid(), &kept.offer)))
}

/// Offer checks to a colleague, or to whoever wants them; for others in return, it is a swap.
///
/// One's own, or as a manager anybody's. They stay in the round they are in until somebody accepts.
#[utoipa::path(tag = "work", operation_id = "offer_checks", security(("bearer" = [])), request_body = NewCheckOffer,
    responses((status = 201, description = "The offer", body = CheckOffer), WriteProblems))]
#[post("/sites/{site_id}/check-offers")]
pub async fn offer_checks(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewCheckOffer>,
) -> Result<Created<CheckOffer>, Refused> {
    let site = path.into_inner();
    let (which, note) = body.0.picked()?;
    let offered = Offered {
        day: body.0.day_on,
        picked: picked(which),
        returns: body.0.return_check_ids.into_iter().map(Id::new).collect(),
        from: body.0.from_person_id.map(Id::new),
        to: body.0.to_person_id.map(Id::new),
        note,
    };
    let kept = handing::offer(&app, &caller.0, Id::new(site), offered).await?;
    Ok(made(site, CheckOffer::of(kept.id.uuid(), &kept.offer)))
}

/// Accept checks that were offered: they go over into one's own round.
///
/// The rules are kept: what stands against it is told, and then nothing goes over.
#[utoipa::path(tag = "work", operation_id = "accept_checks", security(("bearer" = [])),
    responses((status = 201, description = "The offer as it is now", body = CheckOffer), WriteProblems))]
#[post("/sites/{site_id}/check-offers/{check_offer_id}/acceptances")]
pub async fn accept_checks(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Created<CheckOffer>, Refused> {
    let (site, id) = path.into_inner();
    let kept = handing::accept(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(made(site, CheckOffer::of(id, &kept.offer)))
}

/// End an offer: take it back, or decline it.
#[utoipa::path(tag = "work", operation_id = "end_check_offer", security(("bearer" = [])),
    responses((status = 201, description = "The offer as it is now", body = CheckOffer), WriteProblems))]
#[post("/sites/{site_id}/check-offers/{check_offer_id}/withdrawals")]
pub async fn end_check_offer(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Created<CheckOffer>, Refused> {
    let (site, id) = path.into_inner();
    let kept = handing::end(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(made(site, CheckOffer::of(id, &kept.offer)))
}

/// List what people left for the next to know.
#[utoipa::path(tag = "work", operation_id = "list_handover_notes", security(("bearer" = [])),
    params(ListQuery, ("seen" = Option<bool>, Query, description = "Only those that somebody has seen, or that nobody has"),
        ("check_id" = Option<Uuid>, Query, description = "Only about this check"),
        ("room_id" = Option<Uuid>, Query, description = "Only about this room"),
        ("recorded_from" = Option<fillmark_api::Instant>, Query, description = "Written then or later"),
        ("recorded_before" = Option<fillmark_api::Instant>, Query, description = "Written before then")),
    responses((status = 200, description = "A page of them", body = Notes), ReadProblems))]
#[get("/sites/{site_id}/handover-notes")]
pub async fn list_handover_notes(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    request: HttpRequest,
) -> Result<HttpResponse, Refused> {
    let mut asked = Asked::read(&request, NOTES)?;
    seen(&mut asked.page.filters);
    let page = notes::list(&app, &caller.0, Id::new(path.into_inner()), &asked.page).await?;
    Ok(asked.answer(&request, page, |kept| HandoverNote::of(kept.id.uuid(), &kept.note)))
}

/// Leave a note for the next, about a check or a room.
#[utoipa::path(tag = "work", operation_id = "write_handover_note", security(("bearer" = [])), request_body = NewHandoverNote,
    responses((status = 201, description = "The note", body = HandoverNote), WriteProblems))]
#[post("/sites/{site_id}/handover-notes")]
pub async fn write_handover_note(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewHandoverNote>,
) -> Result<Created<HandoverNote>, Refused> {
    let site = path.into_inner();
    let (about, text) = body.0.word()?;
    let kept = notes::write(&app, &caller.0, Id::new(site), about, text).await?;
    let note = HandoverNote::of(kept.id.uuid(), &kept.note);
    Ok(Created::at(format!("/api/v1/sites/{site}/handover-notes"), note))
}

/// Say that a note was seen.
///
/// Who saw it first stays; who wrote it cannot.
#[utoipa::path(tag = "work", operation_id = "see_handover_note", security(("bearer" = [])),
    responses((status = 201, description = "As it is now", body = HandoverNote), WriteProblems))]
#[post("/sites/{site_id}/handover-notes/{handover_note_id}/sightings")]
pub async fn see_handover_note(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Created<HandoverNote>, Refused> {
    let (site, id) = path.into_inner();
    let kept = notes::see(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/handover-notes"), HandoverNote::of(id, &kept.note)))
}

fn made(site: Uuid, offer: CheckOffer) -> Created<CheckOffer> {
    Created::at(format!("/api/v1/sites/{site}/check-offers"), offer)
}

fn picked(which: PickedChecks) -> Picked {
    match which {
        PickedChecks::Checks(checks) => Picked::Checks(checks.into_iter().map(Id::new).collect()),
        PickedChecks::Room(room) => Picked::Room(Id::new(room)),
    }
}

/// Whether somebody has seen it is whether there is an instant at which they did. Who asks for both asks for all.
fn seen(filters: &mut Vec<Filter>) {
    filters.retain_mut(|filter| {
        let Filter::OneOf("seen", values) = filter else { return true };
        let wants = |code: &str| values.iter().any(|value| value.to_string().trim_matches('\'') == code);
        let (seen, unseen) = (wants("true"), wants("false"));
        *filter = Filter::IsNull("seen_at", unseen);
        seen != unseen
    });
}
