//! Passwords: hashed slowly, compared in the same time whether the name is known or not.

use std::sync::Arc;

use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use argon2::{Algorithm, Argon2, Params, PasswordHash, Version};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use crate::Refusal;
use crate::refusal::Failure;

/// Memory of one hash, KiB, and lanes: OWASP's first choice for argon2id (Password Storage Cheat Sheet, 2025).
const MEMORY_KIB: u32 = 47_104;
const LANES: u32 = 1;
/// Passes at least, by the same choice.
pub const FEWEST_PASSES: u32 = 1;
/// A pass takes about 24 ms on two shared cores of 2026, and a sign-in is to take 150 to 300 ms.
pub const PASSES: u32 = 8;
/// Two passwords are hashed at a time: more would only make every sign-in slower.
const AT_A_TIME: usize = 2;

/// Hashing as this server does it.
#[derive(Debug, Clone)]
pub(crate) struct Hashing {
    turns: Arc<Semaphore>,
    passes: u32,
}

/// The turn of one password.
#[derive(Debug)]
pub(crate) struct Turn {
    _permit: OwnedSemaphorePermit,
    passes: u32,
}

/// Whether a password fits a hash.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Fit {
    /// It does not, or nobody has the name.
    No,
    /// It does.
    Yes,
    /// It does, and the hash was made in another way than new ones are.
    Outdated,
}

impl Hashing {
    /// Hashing in so many passes over the memory.
    pub(crate) fn new(passes: u32) -> Self {
        Self { turns: Arc::new(Semaphore::new(AT_A_TIME)), passes: passes.max(FEWEST_PASSES) }
    }

    /// Waits for a turn.
    /// # Errors
    /// When the server is going down.
    pub(crate) async fn turn(&self) -> Result<Turn, Refusal> {
        let turn = Arc::clone(&self.turns).acquire_owned().await;
        let permit = turn.map_err(|closed| Refusal::Failed(Failure::Hashing(closed.to_string())))?;
        Ok(Turn { _permit: permit, passes: self.passes })
    }

    /// The hash of a new password, with its parameters in it (argon2id).
    /// # Errors
    /// When hashing fails.
    pub(crate) async fn hash(&self, password: String) -> Result<String, Refusal> {
        Ok(self.turn().await?.hash(password).await?.1)
    }
}

impl Turn {
    /// The hash of a new password, and the turn back.
    /// # Errors
    /// When hashing fails.
    pub(crate) async fn hash(self, password: String) -> Result<(Turn, String), Refusal> {
        let passes = self.passes;
        self.work(move || {
            let hash = argon2(passes)?.hash_password(password.as_bytes());
            hash.map(|hash| hash.to_string()).map_err(|error| error.to_string())
        })
        .await
    }

    /// Whether a password fits a hash, and the turn back. Without a hash the same work is done and the answer is no.
    /// # Errors
    /// When hashing fails.
    pub(crate) async fn fits(self, password: String, hash: Option<String>) -> Result<(Turn, Fit), Refusal> {
        let passes = self.passes;
        self.work(move || {
            let known = hash.is_some();
            let hash = hash.unwrap_or_else(|| nobodys(passes));
            let parsed = PasswordHash::new(&hash).map_err(|error| error.to_string())?;
            let fits = Argon2::default().verify_password(password.as_bytes(), &parsed).is_ok() && known;
            let current = Params::try_from(&parsed).is_ok_and(|params| {
                (params.m_cost(), params.t_cost(), params.p_cost()) == (MEMORY_KIB, passes, LANES)
            });
            Ok(match (fits, current) {
                (false, _) => Fit::No,
                (true, true) => Fit::Yes,
                (true, false) => Fit::Outdated,
            })
        })
        .await
    }

    /// Works on a thread of its own. The turn ends with the work at the earliest, not with whoever waits for it: who
    /// sends and hangs up would else have any number of passwords hashed at a time, 46 MiB each.
    async fn work<T: Send + 'static>(
        self,
        work: impl FnOnce() -> Result<T, String> + Send + 'static,
    ) -> Result<(Turn, T), Refusal> {
        let (turn, done) = tokio::task::spawn_blocking(move || (self, work()))
            .await
            .map_err(|error| Refusal::Failed(Failure::CutOff(error)))?;
        Ok((turn, done.map_err(|error| Refusal::Failed(Failure::Hashing(error)))?))
    }
}

fn params_of(passes: u32) -> Result<Params, String> {
    Params::new(MEMORY_KIB, passes, LANES, None).map_err(|error| error.to_string())
}

fn argon2(passes: u32) -> Result<Argon2<'static>, String> {
    Ok(Argon2::new(Algorithm::Argon2id, Version::V0x13, params_of(passes)?))
}

/// The hash of a password that can be anybody's: compared with where the name is unknown.
fn nobodys(passes: u32) -> String {
    format!(
        "$argon2id$v=19$m={MEMORY_KIB},t={passes},p={LANES}$c29tZSBzYWx0IGhlcmU$kZ0p8bB1uBqk1WvCjz2nJ7tq1l0b2m3v1pQ2bq0m2vA"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn whoever_hangs_up_keeps_the_turn_until_the_work_is_done() {
        let hashing = Hashing::new(FEWEST_PASSES);
        let (begin, begun) = tokio::sync::oneshot::channel();
        let (end, ended) = std::sync::mpsc::channel::<()>();
        let turn = hashing.turn().await.unwrap();
        let waiting = tokio::spawn(async move {
            turn.work(move || begin.send(()).and(ended.recv().or(Err(()))).or(Err(String::new()))).await
        });
        begun.await.unwrap();
        waiting.abort();
        assert!(waiting.await.unwrap_err().is_cancelled());
        assert_eq!(hashing.turns.available_permits(), AT_A_TIME - 1);
        end.send(()).unwrap();
        let all = u32::try_from(AT_A_TIME).unwrap();
        assert!(hashing.turns.acquire_many(all).await.is_ok());
    }

    #[tokio::test]
    async fn a_hash_of_fewer_passes_fits_and_is_outdated() {
        let (password, few) = ("a long enough password".to_owned(), Hashing::new(FEWEST_PASSES));
        let hash = few.hash(password.clone()).await.unwrap();
        let fit = async |hashing: &Hashing, password: &str, hash: Option<&String>| {
            hashing.turn().await.unwrap().fits(password.to_owned(), hash.cloned()).await.unwrap().1
        };
        assert_eq!(fit(&few, &password, Some(&hash)).await, Fit::Yes);
        assert_eq!(fit(&Hashing::new(3), &password, Some(&hash)).await, Fit::Outdated);
        assert_eq!(fit(&few, "another password here", Some(&hash)).await, Fit::No);
        assert_eq!(fit(&few, &password, None).await, Fit::No);
    }
}
