//! Reviews: a supervisor signs for the records of a day.

use actix_web::web::{Json as Answer, Path};
use actix_web::{get, post};
use chrono::NaiveDate;
use fillmark_actions::reviews::{self, Signing};
use fillmark_api::{DayReview, Listed, NewReview, Review};
use fillmark_domain::{Days, Id};
use serde::Deserialize;
use utoipa::IntoParams;
use uuid::Uuid;

use crate::http::{AppData, Created, Json, Query, ReadProblems, Refused, SignedIn, WriteProblems};

type DayReviews = Listed<DayReview>;

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(list_reviews).service(sign_review);
}

/// Which days, and of which room.
#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct ReviewQuery {
    /// First local day.
    from_on: NaiveDate,
    /// Last local day; 31 days are told at most.
    until_on: NaiveDate,
    /// Only the records of this room; the whole site's where it is left out.
    room_id: Option<Uuid>,
}

/// List days with how their review stands.
///
/// A day is reviewed when somebody signed for it, or for the whole site, and nothing was entered or corrected since.
#[utoipa::path(tag = "reports", operation_id = "list_reviews", security(("bearer" = [])), params(ReviewQuery),
    responses((status = 200, description = "Each of the days, on one page", body = DayReviews), ReadProblems))]
#[get("/sites/{site_id}/reviews")]
pub async fn list_reviews(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    query: Query<ReviewQuery>,
) -> Result<Answer<DayReviews>, Refused> {
    let ReviewQuery { from_on: from, until_on: until, room_id } = query.0;
    let site = Id::new(path.into_inner());
    let days = reviews::list(&app, &caller.0, site, room_id.map(Id::new), Days { from, until }).await?;
    Ok(Answer(Listed { items: days.iter().map(Into::into).collect(), next_cursor: None }))
}

/// Sign for the records of a day: they were looked through, with what was out of band, late or missed.
///
/// A review never changes. What is entered or corrected later leaves the day open again, until another review.
#[utoipa::path(tag = "reports", operation_id = "sign_review", security(("bearer" = [])), request_body = NewReview,
    responses((status = 201, description = "As it was signed, now or by an earlier try", body = Review), WriteProblems))]
#[post("/sites/{site_id}/reviews")]
pub async fn sign_review(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
    body: Json<NewReview>,
) -> Result<Created<Review>, Refused> {
    let (site, body) = (path.into_inner(), body.0);
    body.faults().or(Some(()))?;
    let NewReview { client_id, day_on, room_id, note } = body;
    let signing = Signing { client_id, day: day_on, room: room_id.map(Id::new), note };
    let (id, review) = reviews::sign(&app, &caller.0, Id::new(site), signing).await?;
    let place = format!("/api/v1/sites/{site}/reviews?from_on={day_on}&until_on={day_on}");
    Ok(Created::at(place, Review::of(id, &review)))
}
