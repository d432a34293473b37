//! Access tokens: JWTs after RFC 9068, signed with HS256, since nobody but this server reads them (RFC 8725).

use chrono::{DateTime, TimeDelta, Utc};
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

/// The keys that sign tokens, the newest first.
pub struct TokenKeys(Vec<Key>);

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
    /// Keys from their ids and secrets.
    pub fn new(keys: &[(String, String)]) -> Self {
        let key = |(id, secret): &(String, String)| Key {
            id: id.clone(),
            signs: EncodingKey::from_secret(secret.as_bytes()),
            reads: DecodingKey::from_secret(secret.as_bytes()),
        };
        TokenKeys(keys.iter().map(key).collect())
    }

    /// A token of a person's session, and when it ends. Nothing when there is no key.
    pub fn token(&self, person: Uuid, session: Uuid, now: DateTime<Utc>) -> Option<(String, DateTime<Utc>)> {
        let key = self.0.first()?;
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

    /// The session a good token belongs to.
    pub fn session(&self, token: &str, now: DateTime<Utc>) -> Option<Uuid> {
        let header = jsonwebtoken::decode_header(token).ok()?;
        let known = header.kid.as_ref().and_then(|kid| self.0.iter().find(|key| key.id == *kid))?;
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

    fn keys() -> TokenKeys {
        TokenKeys::new(&[("k1".into(), "a secret of some length".into())])
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
        let others = TokenKeys::new(&[("k1".into(), "another secret".into())]);
        assert_eq!(others.session(&token, now()), None);
        let stranger = TokenKeys::new(&[("k2".into(), "a secret of some length".into())]);
        assert_eq!(stranger.session(&token, now()), None);
        let unsigned = format!(
            "eyJhbGciOiJub25lIiwidHlwIjoiYXQrand0Iiwia2lkIjoiazEifQ.{}.",
            token.split('.').nth(1).unwrap()
        );
        assert_eq!(keys().session(&unsigned, now()), None);
    }
}
