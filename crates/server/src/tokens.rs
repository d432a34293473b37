//! Access tokens: JWTs after RFC 9068, signed with HS256, since nobody but this server reads them (RFC 8725).

use std::sync::{PoisonError, RwLock, RwLockReadGuard};

use chrono::{DateTime, TimeDelta, Utc};
use fillmark_actions::{App, Refusal, keys};
use fillmark_domain::people::keys::KeyPurpose;
use fillmark_store::accounts::SecretKey;
use jsonwebtoken::{Algorithm, DecodingKey, EncodingKey, Header, Validation};
use serde::{Deserialize, Serialize};
use uuid::Uuid;

/// How long an access token is good.
const GOOD_FOR: TimeDelta = TimeDelta::minutes(10);
/// How far clocks may differ.
const LEEWAY_S: i64 = 30;
const ISSUER: &str = "fillmark";
const AUDIENCE: &str = "fillmark-api";
const KIND: &str = "at+jwt";

/// The ring is asked for anew after so long, so that a key that is due is made…
const RENEWED_AFTER: TimeDelta = TimeDelta::hours(1);
/// …and, for a token with a key that is not on it, when it is at least so old: another instance may have made one.
const ASKED_AGAIN_AFTER: TimeDelta = TimeDelta::seconds(5);

/// The keys that sign tokens, as the database has them for all instances.
pub struct TokenKeys(RwLock<Ring>);

struct Ring {
    keys: Vec<Key>,
    asked_at: DateTime<Utc>,
}

struct Key {
    id: String,
    signs: EncodingKey,
    reads: DecodingKey,
}

#[derive(Serialize, Deserialize)]
struct Claims {
    iss: String,
    aud: String,
    sub: Uuid,
    sid: Uuid,
    jti: Uuid,
    iat: i64,
    nbf: i64,
    exp: i64,
}

impl TokenKeys {
    /// The keys of an application; the first is made where there is none.
    /// # Errors
    /// When the database fails.
    pub async fn of(app: &App) -> Result<Self, Refusal> {
        Ok(TokenKeys(RwLock::new(Ring::of(app).await?)))
    }

    /// A token of a person's session, and when it ends. Nothing when there is no key.
    /// # Errors
    /// When the database fails.
    pub async fn token(
        &self,
        app: &App,
        person: Uuid,
        session: Uuid,
    ) -> Result<Option<(String, DateTime<Utc>)>, Refusal> {
        self.renew(app, RENEWED_AFTER).await?;
        Ok(self.ring().token(person, session, app.now()))
    }

    /// The session a good token belongs to.
    /// # Errors
    /// When the database fails.
    pub async fn session(&self, app: &App, token: &str) -> Result<Option<Uuid>, Refusal> {
        let kid = jsonwebtoken::decode_header(token).ok().and_then(|header| header.kid);
        let Some(kid) = kid else { return Ok(None) };
        if self.ring().key(&kid).is_none() {
            self.renew(app, ASKED_AGAIN_AFTER).await?;
        }
        Ok(self.ring().session(token, app.now()))
    }

    async fn renew(&self, app: &App, after: TimeDelta) -> Result<(), Refusal> {
        if app.now() - self.ring().asked_at >= after {
            let ring = Ring::of(app).await?;
            *self.0.write().unwrap_or_else(PoisonError::into_inner) = ring;
        }
        Ok(())
    }

    fn ring(&self) -> RwLockReadGuard<'_, Ring> {
        self.0.read().unwrap_or_else(PoisonError::into_inner)
    }
}

impl Ring {
    async fn of(app: &App) -> Result<Ring, Refusal> {
        Ok(Ring::new(&keys::held(app, KeyPurpose::Tokens).await?, app.now()))
    }

    fn new(keys: &[SecretKey], asked_at: DateTime<Utc>) -> Ring {
        let key = |key: &SecretKey| Key {
            id: key.id.clone(),
            signs: EncodingKey::from_secret(key.secret.as_bytes()),
            reads: DecodingKey::from_secret(key.secret.as_bytes()),
        };
        Ring { keys: keys.iter().map(key).collect(), asked_at }
    }

    fn key(&self, id: &str) -> Option<&Key> {
        self.keys.iter().find(|key| key.id == id)
    }

    fn token(&self, person: Uuid, session: Uuid, now: DateTime<Utc>) -> Option<(String, DateTime<Utc>)> {
        let key = self.keys.first()?;
        let ends = now + GOOD_FOR;
        let claims = Claims {
            iss: ISSUER.to_owned(),
            aud: AUDIENCE.to_owned(),
            sub: person,
            sid: session,
            jti: Uuid::new_v4(),
            iat: now.timestamp(),
            nbf: now.timestamp(),
            exp: ends.timestamp(),
        };
        let mut header = Header::new(Algorithm::HS256);
        header.typ = Some(KIND.to_owned());
        header.kid = Some(key.id.clone());
        let token = jsonwebtoken::encode(&header, &claims, &key.signs).ok()?;
        Some((token, ends))
    }

    fn session(&self, token: &str, now: DateTime<Utc>) -> Option<Uuid> {
        let header = jsonwebtoken::decode_header(token).ok()?;
        let known = self.key(header.kid.as_deref()?)?;
        if header.typ.as_deref() != Some(KIND) {
            return None;
        }
        let mut validation = Validation::new(Algorithm::HS256);
        validation.set_required_spec_claims(&["exp", "aud", "iss", "sub"]);
        validation.set_audience(&[AUDIENCE]);
        validation.set_issuer(&[ISSUER]);
        // Times are compared with the clock of the application, which tests move.
        validation.validate_exp = false;
        validation.validate_nbf = false;
        let claims = jsonwebtoken::decode::<Claims>(token, &known.reads, &validation).ok()?.claims;
        let (now, leeway) = (now.timestamp(), LEEWAY_S);
        (claims.nbf <= now + leeway && now < claims.exp + leeway).then_some(claims.sid)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ring(id: &str, secret: &str) -> Ring {
        let key = SecretKey { id: id.into(), secret: secret.into(), created_at: now() };
        Ring::new(&[key], now())
    }

    fn keys() -> Ring {
        ring("k1", "a secret of some length")
    }

    fn now() -> DateTime<Utc> {
        "2026-11-24T06:00:00Z".parse().unwrap()
    }

    #[test]
    fn a_token_is_good_for_ten_minutes_and_a_little_leeway() {
        let session = Uuid::from_u128(7);
        let (token, ends) = keys().token(Uuid::from_u128(1), session, now()).unwrap();
        assert_eq!(keys().session(&token, now()), Some(session));
        assert_eq!(keys().session(&token, ends + TimeDelta::seconds(29)), Some(session));
        assert_eq!(keys().session(&token, ends + TimeDelta::seconds(31)), None);
        assert_eq!(keys().session(&token, now() - TimeDelta::minutes(5)), None);
    }

    #[test]
    fn a_token_of_another_key_kind_or_algorithm_is_refused() {
        let (token, _) = keys().token(Uuid::nil(), Uuid::nil(), now()).unwrap();
        let others = ring("k1", "another secret");
        assert_eq!(others.session(&token, now()), None);
        let stranger = ring("k2", "a secret of some length");
        assert_eq!(stranger.session(&token, now()), None);
        let unsigned = format!(
            "eyJhbGciOiJub25lIiwidHlwIjoiYXQrand0Iiwia2lkIjoiazEifQ.{}.",
            token.split('.').nth(1).unwrap()
        );
        assert_eq!(keys().session(&unsigned, now()), None);
    }
}
