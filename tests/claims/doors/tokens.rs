//! Tokens that are none: forged, expired, of another kind (RFC 8725 names the ways).

use base64::Engine;
use base64::engine::general_purpose::URL_SAFE_NO_PAD;
use chrono::TimeDelta;
use fillmark_actions::keys;
use fillmark_api::{NewSession, Session};
use fillmark_client::Client;
use fillmark_domain::people::keys::KeyPurpose;
use fillmark_tests::world::{PASSWORD, World};
use jsonwebtoken::{Algorithm, EncodingKey, Header, encode};
use serde_json::{Value, json};

/// Each with what is wrong with it; none at all is one of them.
pub(super) async fn bad(world: &World) -> Vec<(&'static str, Option<String>)> {
    let stranger = Client::new(&world.server.address).unwrap();
    let body = NewSession { sign_in: "ada".into(), password: PASSWORD.into(), device: None };
    let good: Session = stranger.post("/sessions", &body).await.unwrap();
    let key = keys::held(&world.server.app, KeyPurpose::Tokens).await.unwrap().remove(0);
    let claims = claims_of(&good.access_token);
    let header = || {
        let mut header = Header::new(Algorithm::HS256);
        (header.typ, header.kid) = (Some("at+jwt".to_owned()), Some(key.id.clone()));
        header
    };
    let signed = |header: Header, claims: &Value, secret: &str| {
        Some(encode(&header, claims, &EncodingKey::from_secret(secret.as_bytes())).unwrap())
    };
    let with = |name: &str, value: Value| {
        let mut claims = claims.clone();
        claims[name] = value;
        signed(header(), &claims, &key.secret)
    };
    let without = |name: &str| {
        let mut claims = claims.clone();
        claims.as_object_mut().unwrap().remove(name);
        signed(header(), &claims, &key.secret)
    };
    let under = |change: &dyn Fn(&mut Header)| {
        let mut header = header();
        change(&mut header);
        signed(header, &claims, &key.secret)
    };
    let now = world.server.app.now();
    let at = |delta: TimeDelta| json!((now + delta).timestamp());
    let unsigned = |header: Value| Some(format!("{}.{}.", part(&header), part(&claims)));
    let bits = &good.access_token;
    vec![
        ("no token", None),
        ("an empty one", Some(String::new())),
        ("garbage", Some("garbage".into())),
        ("the refresh token", Some(good.refresh_token.clone())),
        ("an unknown device's", Some(format!("fmd_{}_{}", "0".repeat(32), "0".repeat(64)))),
        ("an expired one", with("exp", at(TimeDelta::seconds(-31)))),
        ("one of tomorrow", with("nbf", at(TimeDelta::seconds(31)))),
        ("one without an end", without("exp")),
        ("one for another audience", with("aud", json!("another-api"))),
        ("one without an audience", without("aud")),
        ("one of another issuer", with("iss", json!("somebody"))),
        ("one of a session that is none", with("sid", json!(uuid::Uuid::now_v7()))),
        ("one of another key", signed(header(), &claims, "another secret of some length, quite long")),
        ("one of another algorithm", under(&|header| header.alg = Algorithm::HS512)),
        ("one of another type", under(&|header| header.typ = Some("JWT".into()))),
        ("one without a key id", under(&|header| header.kid = None)),
        ("one of an unknown key id", under(&|header| header.kid = Some("0000000000000000".into()))),
        ("a key id that climbs", under(&|header| header.kid = Some("../../../../dev/null".into()))),
        ("a key id that asks", under(&|header| header.kid = Some("' or '1'='1".into()))),
        (
            "a key it brings itself",
            under(&|header| header.jku = Some("https://example.org/keys".into())).map(|_| brought(&claims)),
        ),
        ("no algorithm", unsigned(json!({ "alg": "none", "typ": "at+jwt", "kid": key.id }))),
        ("no algorithm in capitals", unsigned(json!({ "alg": "NONE", "typ": "at+jwt", "kid": key.id }))),
        ("a good one without its signature", Some(bits[..=bits.rfind('.').unwrap()].to_owned())),
        ("a good one with another end", Some(format!("{}AAAA", &bits[..bits.len() - 4]))),
    ]
}

/// Signed by a key that the header brings along.
fn brought(claims: &Value) -> String {
    let secret = b"a key of the attacker's own, quite long";
    let mut header = Header::new(Algorithm::HS256);
    (header.typ, header.kid) = (Some("at+jwt".to_owned()), Some("brought".to_owned()));
    header.jku = Some("https://example.org/keys".to_owned());
    header.jwk =
        serde_json::from_value(json!({ "kty": "oct", "k": URL_SAFE_NO_PAD.encode(secret), "alg": "HS256" }))
            .ok();
    encode(&header, claims, &EncodingKey::from_secret(secret)).unwrap()
}

fn claims_of(token: &str) -> Value {
    let claims = token.split('.').nth(1).unwrap();
    serde_json::from_slice(&URL_SAFE_NO_PAD.decode(claims).unwrap()).unwrap()
}

fn part(value: &Value) -> String {
    URL_SAFE_NO_PAD.encode(value.to_string())
}
