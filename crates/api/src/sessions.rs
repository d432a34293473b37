//! Signing in.

use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

use crate::Instant;

/// Name and password.
#[derive(Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"sign_in": "ada", "password": "correct horse battery", "device": "Ada's phone"}))]
pub struct NewSession {
    /// The name the person signs in with.
    #[schema(min_length = 1, max_length = 120)]
    pub sign_in: String,
    /// The password; any characters, nothing is cut off.
    #[schema(min_length = 1, max_length = 1000)]
    pub password: String,
    /// What the person calls the device.
    #[serde(default)]
    #[schema(max_length = 120)]
    pub device: Option<String>,
}

/// The token that keeps a session alive.
#[derive(Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"refresh_token": "1f0c…"}))]
pub struct Renewal {
    /// The token of the last sign-in or renewal; good once.
    #[schema(min_length = 1, max_length = 200)]
    pub refresh_token: String,
}

/// A session that is open.
#[derive(Clone, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"session_id": "019a0000-0000-7000-8000-000000000000", "person_id": "019a0000-0000-7000-8000-000000000001",
    "access_token": "eyJ…", "token_type": "Bearer", "access_expires_at": "2026-11-24T06:40:00.000Z",
    "refresh_token": "1f0c…", "expires_at": "2027-01-23T06:30:00.000Z"}))]
pub struct Session {
    /// The session.
    pub session_id: Uuid,
    /// Who is signed in.
    pub person_id: Uuid,
    /// Sent as `Authorization: Bearer …` with every request.
    #[schema(max_length = 4000)]
    pub access_token: String,
    /// Always `Bearer`.
    #[schema(max_length = 10)]
    pub token_type: String,
    /// When the access token ends.
    pub access_expires_at: Instant,
    /// Trades for the next session answer, once.
    #[schema(max_length = 200)]
    pub refresh_token: String,
    /// When the session ends whatever happens.
    pub expires_at: Instant,
}

/// A session that is open, as people look after it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, ToSchema)]
#[schema(example = json!({"id": "019a0000-0000-7000-8000-000000000000", "device": "Ada's phone",
    "began_at": "2026-11-24T06:30:00.000Z", "renewed_at": "2026-11-24T09:10:00.000Z",
    "expires_at": "2027-01-23T06:30:00.000Z", "is_this_one": true}))]
pub struct OpenSession {
    /// The session.
    pub id: Uuid,
    /// What the person calls the device.
    #[schema(max_length = 120)]
    pub device: Option<String>,
    /// When it began.
    pub began_at: Instant,
    /// When it was renewed last.
    pub renewed_at: Instant,
    /// When it ends whatever happens.
    pub expires_at: Instant,
    /// Whether this is asked in it.
    pub is_this_one: bool,
}

/// A new password.
#[derive(Clone, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
#[schema(example = json!({"password": "correct horse battery", "present_password": "a long enough password"}))]
pub struct NewPassword {
    /// At least 15 characters; any characters, nothing is cut off.
    #[schema(min_length = 15, max_length = 256)]
    pub password: String,
    /// The password until now; needed for one's own, so that nobody who finds a phone takes it over.
    #[schema(max_length = 256)]
    pub present_password: Option<String>,
}
