//! Signing in, renewing, signing out.

use actix_web::web::Data;
use actix_web::{HttpResponse, delete, post};
use fillmark_actions::sessions::{self, Opened};
use fillmark_actions::{App, Refusal};
use fillmark_api::{NewSession, Renewal, Session};

use crate::http::{AppData, Created, Gone, Json, Refused, SignedIn, WriteProblems};
use crate::tokens::TokenKeys;

/// Registers them.
pub fn routes(config: &mut crate::routes::Registry) {
    config.service(open_session).service(renew_session).service(end_session);
}

/// Sign in.
#[utoipa::path(tag = "sessions", operation_id = "open_session", request_body = NewSession,
    responses((status = 201, description = "A session is open", body = Session), WriteProblems))]
#[post("/sessions")]
pub async fn open_session(
    app: AppData,
    keys: Data<TokenKeys>,
    body: Json<NewSession>,
) -> Result<Created<Session>, Refused> {
    let NewSession { sign_in, password, device } = body.0;
    let opened = sessions::open(&app, &sign_in, password, device).await?;
    Ok(Created::at("/api/v1/sessions/current".to_owned(), session(&app, &keys, opened)?))
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
    Ok(HttpResponse::Ok().json(session(&app, &keys, opened)?))
}

/// Sign out.
#[utoipa::path(tag = "sessions", operation_id = "end_session", security(("bearer" = [])),
    responses((status = 204, description = "The session is over"), WriteProblems))]
#[delete("/sessions/current")]
pub async fn end_session(app: AppData, caller: SignedIn) -> Result<Gone, Refused> {
    sessions::end(&app, &caller.0).await?;
    Ok(Gone)
}

fn session(app: &App, keys: &TokenKeys, opened: Opened) -> Result<Session, Refused> {
    let token = keys.token(opened.person.uuid(), opened.session, app.now());
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
