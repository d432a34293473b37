//! Signing in, renewing, signing out.

use actix_web::web::{Data, Json as Answer, Path};
use actix_web::{HttpResponse, delete, get, post};
use fillmark_actions::sessions::{self, Opened};
use fillmark_actions::{App, Refusal};
use fillmark_api::{Listed, NewSession, OpenSession, Renewal, Session};
use fillmark_domain::Id;
use fillmark_store::accounts::Session as Kept;
use uuid::Uuid;

use crate::http::{AppData, Created, Gone, Json, Origin, ReadProblems, Refused, SignedIn, WriteProblems};
use crate::metrics::Metrics;
use crate::tokens::TokenKeys;

type OpenSessions = Listed<OpenSession>;

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(open_session).service(renew_session).service(end_session);
    config.service(list_sessions).service(end_sessions_of_person).service(end_session_of_person);
}

/// Sign in.
///
/// After five failures an account waits 1, 2, 4 … 60 s between tries, never for good; from one address thirty may fail
/// in five minutes. What comes too soon is answered 429 with `Retry-After`.
#[utoipa::path(tag = "sessions", operation_id = "open_session", request_body = NewSession,
    responses((status = 201, description = "A session is open", body = Session), WriteProblems))]
#[post("/sessions")]
pub async fn open_session(
    app: AppData,
    keys: Data<TokenKeys>,
    metrics: Data<Metrics>,
    origin: Origin,
    body: Json<NewSession>,
) -> Result<Created<Session>, Refused> {
    let NewSession { sign_in, password, device } = body.0;
    let opened = sessions::open(&app, &sign_in, password, device, origin.0).await;
    metrics.signed_in(match &opened {
        Ok(_) => "opened",
        Err(Refusal::WrongPassword) => "wrong",
        Err(Refusal::TooSoon { .. }) => "too_soon",
        Err(_) => "failed",
    });
    let opened = opened?;
    Ok(Created::at("/api/v1/sessions/current".to_owned(), session(&app, &keys, opened).await?))
}

/// Trade the refresh token for a new access token and the next refresh token.
#[utoipa::path(tag = "sessions", operation_id = "renew_session", request_body = Renewal,
    responses((status = 200, description = "The session goes on", body = Session), WriteProblems))]
#[post("/sessions/renewals")]
pub async fn renew_session(
    app: AppData,
    keys: Data<TokenKeys>,
    body: Json<Renewal>,
) -> Result<HttpResponse, Refused> {
    let opened = sessions::refresh(&app, &body.0.refresh_token).await?;
    Ok(HttpResponse::Ok().json(session(&app, &keys, opened).await?))
}

/// Sign out.
#[utoipa::path(tag = "sessions", operation_id = "end_session", security(("bearer" = [])),
    responses((status = 204, description = "The session is over"), WriteProblems))]
#[delete("/sessions/current")]
pub async fn end_session(app: AppData, caller: SignedIn) -> Result<Gone, Refused> {
    sessions::end(&app, &caller.0).await?;
    Ok(Gone)
}

/// List a person's open sessions, the newest first: one's own, or those of people one may give a role.
#[utoipa::path(tag = "sessions", operation_id = "list_sessions", security(("bearer" = [])),
    responses((status = 200, description = "All of them, on one page", body = OpenSessions), ReadProblems))]
#[get("/people/{person_id}/sessions")]
pub async fn list_sessions(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
) -> Result<Answer<OpenSessions>, Refused> {
    let open = sessions::list(&app, &caller.0, Id::new(path.into_inner())).await?;
    let body = |session: &Kept| OpenSession {
        id: session.id,
        device: session.device.clone(),
        began_at: session.created_at.into(),
        renewed_at: session.refreshed_at.into(),
        expires_at: session.expires_at.into(),
        is_this_one: caller.0.session() == Some(session.id),
    };
    Ok(Answer(Listed { items: open.iter().map(body).collect(), next_cursor: None }))
}

/// End a session of a person, on a phone that was lost for example.
#[utoipa::path(tag = "sessions", operation_id = "end_session_of_person", security(("bearer" = [])),
    responses((status = 204, description = "The session is over"), WriteProblems))]
#[delete("/people/{person_id}/sessions/{session_id}")]
pub async fn end_session_of_person(
    app: AppData,
    caller: SignedIn,
    path: Path<(Uuid, Uuid)>,
) -> Result<Gone, Refused> {
    let (person, session) = path.into_inner();
    sessions::end_one(&app, &caller.0, Id::new(person), session).await?;
    Ok(Gone)
}

/// End all sessions of a person; of one's own, all but the one this is asked in.
#[utoipa::path(tag = "sessions", operation_id = "end_sessions_of_person", security(("bearer" = [])),
    responses((status = 204, description = "They are over"), WriteProblems))]
#[delete("/people/{person_id}/sessions")]
pub async fn end_sessions_of_person(
    app: AppData,
    caller: SignedIn,
    path: Path<Uuid>,
) -> Result<Gone, Refused> {
    sessions::end_all(&app, &caller.0, Id::new(path.into_inner())).await?;
    Ok(Gone)
}

async fn session(app: &App, keys: &TokenKeys, opened: Opened) -> Result<Session, Refused> {
    let token = keys.token(app, opened.person.uuid(), opened.session).await?;
    let (access_token, access_expires_at) = token.ok_or(Refused::from(Refusal::NotSignedIn))?;
    Ok(Session {
        session_id: opened.session,
        person_id: opened.person.uuid(),
        access_token,
        token_type: "Bearer".to_owned(),
        access_expires_at: access_expires_at.into(),
        refresh_token: opened.refresh_token,
        expires_at: opened.expires_at.into(),
    })
}
