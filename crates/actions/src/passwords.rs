//! Passwords: hashed slowly, compared in the same time whether the name is known or not.

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Argon2, PasswordHash};
use fillmark_domain::Faults;

use crate::refusal::Failure;
use crate::{App, Refusal};

/// NIST SP 800-63B-4 (2025), 3.1.1.2: at least 15 characters where the password is the only factor.
const SHORTEST: usize = 15;
/// At least 64 must be allowed (the same section); beyond this hashing would only cost time.
const LONGEST: usize = 256;

/// The hash of a password that can be anybody's: compared with where the name is unknown.
const NOBODYS: &str =
    "$argon2id$v=19$m=19456,t=2,p=1$c29tZSBzYWx0IGhlcmU$kZ0p8bB1uBqk1WvCjz2nJ7tq1l0b2m3v1pQ2bq0m2vA";

/// What is wrong with a password that somebody wants.
pub fn faults(password: &str) -> Faults {
    let mut faults = Faults::default();
    let length = password.chars().count();
    let holds = (SHORTEST..=LONGEST).contains(&length);
    faults.unless(holds, "/password", "bad_password", format!("expected {SHORTEST} to {LONGEST} characters"));
    faults
}

/// The hash of a new password, with its parameters in it (argon2id; 19 MiB, 2 passes, 1 lane: OWASP's floor).
/// # Errors
/// When it is too short or too long, or hashing fails.
pub async fn hashed(app: &App, password: String) -> Result<String, Refusal> {
    faults(&password).or(Some(()))?;
    let _turn = app.hashing.acquire().await;
    let hash = tokio::task::spawn_blocking(move || {
        Argon2::default().hash_password(password.as_bytes()).map(|hash| hash.to_string())
    });
    hash.await
        .map_err(|error| Refusal::Failed(Failure::CutOff(error)))?
        .map_err(|error| Refusal::Failed(Failure::Hashing(error.to_string())))
}

/// Whether a password fits a hash; without a hash the same work is done and the answer is no.
/// # Errors
/// When hashing fails.
pub async fn fits(app: &App, password: String, hash: Option<String>) -> Result<bool, Refusal> {
    let _turn = app.hashing.acquire().await;
    let work = tokio::task::spawn_blocking(move || {
        let known = hash.is_some();
        let hash = hash.unwrap_or_else(|| NOBODYS.to_owned());
        let parsed = PasswordHash::new(&hash).map_err(|error| error.to_string())?;
        Ok(Argon2::default().verify_password(password.as_bytes(), &parsed).is_ok() && known)
    });
    work.await
        .map_err(|error| Refusal::Failed(Failure::CutOff(error)))?
        .map_err(|error: String| Refusal::Failed(Failure::Hashing(error)))
}
