//! Rounds: published, read, printed.

use std::collections::HashMap;

use actix_web::web::{Json as Answer, Path};
use actix_web::{HttpResponse, get, post};
use chrono::NaiveDate;
use chrono_tz::Tz;
use fillmark_actions::work::rounds::{self, DayOfRounds, Names};
use fillmark_api::{Check, LeftCheck, MovedCheck, NewRounds, Round, Rounds, SpokenOf};
use fillmark_domain::Id;
use fillmark_domain::people::PersonId;
use fillmark_domain::work::{Check as CheckWord, Qualification};
use fillmark_store::checks::KeptCheck;
use fillmark_store::rounds::KeptRound;
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use super::checks;
use crate::http::{AppData, Created, Json, Query, ReadProblems, Refused, SignedIn, WriteProblems};

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(publish_rounds).service(list_rounds);
    config.service(read_my_round).service(print_round);
}

/// Which day.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DayQuery {
    /// The local day; today where it is left out.
    day_on: Option<NaiveDate>,
}

/// Share out a day and publish its rounds.
///
/// Today and tomorrow are published by the server when there are shifts. Publishing again shares out what nobody
/// has begun; what is begun or done stays with whom it was.
#[utoipa::path(tag = "work", operation_id = "publish_rounds", security(("bearer" = [])), request_body = NewRounds,
    responses((status = 201, description = "The rounds, and what nobody can do", body = Rounds), WriteProblems))]
#[post("/sites/{site_id}/rounds")]
pub async fn publish_rounds(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewRounds>,
) -> Result<Created<Rounds>, Refused> {
    let site = path.into_inner();
    let day = rounds::publish(&app, &caller.0, Id::new(site), body.0.day_on).await?;
    Ok(Created::at(format!("/api/v1/sites/{site}/rounds?day_on={}", body.0.day_on), answer(&day)))
}

/// Read the rounds of a day.
#[utoipa::path(tag = "work", operation_id = "list_rounds", security(("bearer" = [])), params(DayQuery),
    responses((status = 200, description = "The rounds in force, and what nobody can do", body = Rounds), ReadProblems))]
#[get("/sites/{site_id}/rounds")]
pub async fn list_rounds(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    query: Query<DayQuery>,
) -> Result<Answer<Rounds>, Refused> {
    let site = Id::new(path.into_inner());
    Ok(Answer(answer(&rounds::read_day(&app, &caller.0, site, query.0.day_on).await?)))
}

/// Read one's own round of a day.
///
/// Who has nothing to do, or of whose day nothing is published yet, gets a round without checks and without an id.
#[utoipa::path(tag = "work", operation_id = "read_my_round", security(("bearer" = [])), params(DayQuery),
    responses((status = 200, description = "The round, from clean rooms to dirty ones", body = Round), ReadProblems))]
#[get("/sites/{site_id}/rounds/mine")]
pub async fn read_my_round(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    query: Query<DayQuery>,
) -> Result<Answer<Round>, Refused> {
    let site = Id::new(path.into_inner());
    let own = rounds::read_mine(&app, &caller.0, site, query.0.day_on).await?;
    let Some(in_hand) = own.in_hand else { return Ok(Answer(Round::empty(own.person, own.day))) };
    let checks = in_hand.checks.into_iter().map(|kept| (kept.id, kept)).collect();
    Ok(Answer(round(&in_hand.kept, &checks, in_hand.zone)))
}

/// Print a round.
///
/// Where, what to read with its band, and lines to write on. What is written there is typed in later, with the
/// time at which it was done.
#[utoipa::path(tag = "work", operation_id = "print_round", security(("bearer" = [])),
    responses((status = 200, description = "The sheet", body = String, content_type = "text/plain"), ReadProblems))]
#[get("/sites/{site_id}/rounds/{round_id}/sheet")]
pub async fn print_round(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<HttpResponse, Refused> {
    let (site, id) = path.into_inner();
    let sheet = rounds::print(&app, &caller.0, Id::new(site), Id::new(id)).await?;
    Ok(HttpResponse::Ok().content_type("text/plain; charset=utf-8").body(sheet))
}

/// The rounds of a day as the API answers them.
pub(crate) fn answer(day: &DayOfRounds) -> Rounds {
    let publication = &day.publication;
    Rounds {
        day_on: publication.date,
        number: publication.number,
        published_at: publication.published_at.into(),
        published_by: publication.published_by.map(Id::uuid),
        rounds: day.rounds.iter().map(|kept| round(kept, &day.checks, day.zone)).collect(),
        left: publication
            .left
            .iter()
            .map(|left| LeftCheck::of(left, check(&day.checks, day.zone, left.check), &Called(&day.names)))
            .collect(),
        moves: publication
            .moves
            .iter()
            .map(|moved| {
                let of = check(&day.checks, day.zone, moved.check);
                MovedCheck::of(moved, of.as_ref(), &Called(&day.names))
            })
            .collect(),
    }
}

/// Names as an answer speaks them; who was erased or put away is somebody.
pub(crate) struct Called<'a>(pub(crate) &'a Names);

impl SpokenOf for Called<'_> {
    fn person(&self, id: PersonId) -> String {
        self.0.people.get(&id).cloned().unwrap_or_else(|| "somebody who has left".to_owned())
    }

    fn qualification(&self, id: Id<Qualification>) -> String {
        self.0.qualifications.get(&id).cloned().unwrap_or_else(|| "one that was put away".to_owned())
    }

    fn place(&self, id: Uuid) -> Option<String> {
        self.0.places.get(&id).cloned()
    }
}

type Checks = HashMap<Id<CheckWord>, KeptCheck>;

fn round(kept: &KeptRound, found: &Checks, zone: Tz) -> Round {
    Round::of(kept.id, &kept.round, |id| check(found, zone, id))
}

fn check(found: &Checks, zone: Tz, id: Id<CheckWord>) -> Option<Check> {
    found.get(&id).map(|kept| checks::body(kept, zone))
}
