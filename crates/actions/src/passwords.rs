//! Passwords: hashed slowly, compared in the same time whether the name is known or not.

use std::sync::Arc;

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Argon2, PasswordHash};
use fillmark_domain::Faults;
use tokio::sync::Semaphore;

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
    in_turn(&app.shared().hashing, move || {
        let hash = Argon2::default().hash_password(password.as_bytes());
        hash.map(|hash| hash.to_string()).map_err(|error| error.to_string())
    })
    .await
}

/// Whether a password fits a hash; without a hash the same work is done and the answer is no.
/// # Errors
/// When hashing fails.
pub async fn fits(app: &App, password: String, hash: Option<String>) -> Result<bool, Refusal> {
    in_turn(&app.shared().hashing, move || {
        let known = hash.is_some();
        let hash = hash.unwrap_or_else(|| NOBODYS.to_owned());
        let parsed = PasswordHash::new(&hash).map_err(|error| error.to_string())?;
        Ok(Argon2::default().verify_password(password.as_bytes(), &parsed).is_ok() && known)
    })
    .await
}

/// Hashes on a thread of its own when it is one's turn. The turn ends with the work, not with whoever waits for it: who
/// sends and hangs up would else have any number of passwords hashed at a time, 19 MiB each.
async fn in_turn<T: Send + 'static>(
    hashing: &Arc<Semaphore>,
    work: impl FnOnce() -> Result<T, String> + Send + 'static,
) -> Result<T, Refusal> {
    let turn = Arc::clone(hashing).acquire_owned().await;
    let done = tokio::task::spawn_blocking(move || {
        let done = work();
        drop(turn);
        done
    });
    done.await
        .map_err(|error| Refusal::Failed(Failure::CutOff(error)))?
        .map_err(|error| Refusal::Failed(Failure::Hashing(error)))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn whoever_hangs_up_keeps_the_turn_until_the_work_is_done() {
        let hashing = Arc::new(Semaphore::new(1));
        let (begin, begun) = tokio::sync::oneshot::channel();
        let (end, ended) = std::sync::mpsc::channel::<()>();
        let held = Arc::clone(&hashing);
        let waiting = tokio::spawn(async move {
            let work = move || begin.send(()).and(ended.recv().or(Err(()))).or(Err(String::new()));
            in_turn(&held, work).await
        });
        begun.await.unwrap();
        waiting.abort();
        assert!(waiting.await.unwrap_err().is_cancelled());
        assert_eq!(hashing.available_permits(), 0);
        end.send(()).unwrap();
        assert!(hashing.acquire().await.is_ok());
    }
}
