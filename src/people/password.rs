//! Hashing passwords: slow on purpose, so no more than two at once and few waiting.

use std::sync::{Arc, LazyLock};

use argon2::Argon2;
use argon2::password_hash::phc::PasswordHash;
use argon2::password_hash::{PasswordHasher, PasswordVerifier};
use tokio::sync::{OwnedSemaphorePermit, Semaphore};

use super::rules::{self, PeopleRefused};
use crate::error::{AppError, NotDone};
use crate::receipts::Sent;
use crate::secret;

const AT_ONCE: usize = 2;
const WAITING: usize = 16;

/// The turns for hashing.
pub struct Hashing {
    working: Arc<Semaphore>,
    admitted: Arc<Semaphore>,
}

impl Default for Hashing {
    fn default() -> Self {
        Self {
            working: Arc::new(Semaphore::new(AT_ONCE)),
            admitted: Arc::new(Semaphore::new(AT_ONCE + WAITING)),
        }
    }
}

/// A turn. Given back when the hashing is done, even if nobody waits for it any more.
pub struct Turn {
    _working: OwnedSemaphorePermit,
    _admitted: OwnedSemaphorePermit,
}

impl Hashing {
    /// Waits for a turn; refuses when too many wait already.
    pub async fn turn(&self) -> Result<Turn, AppError> {
        let admitted = self.admitted.clone().try_acquire_owned().map_err(|_| {
            AppError::Busy("Too many people sign in at once. Wait a moment, then try again.".into())
        })?;
        let working = self.working.clone().acquire_owned().await;
        Ok(Turn {
            _working: working.map_err(|error| AppError::Broken(error.into()))?,
            _admitted: admitted,
        })
    }
}

impl Turn {
    /// Whether a password belongs to a stored hash. Without one, the same work is done for nothing, so
    /// that the time taken does not tell whether there is an account.
    pub async fn verify(self, password: String, stored: Option<String>) -> Result<bool, AppError> {
        blocking(move || {
            let _turn = self;
            let nobodys: &str = &NOBODYS;
            let known = stored.is_some();
            let stored = stored.as_deref().unwrap_or(nobodys);
            let hash = PasswordHash::new(stored).map_err(|error| anyhow::anyhow!("{error}"))?;
            let fits = Argon2::default()
                .verify_password(password.as_bytes(), &hash)
                .is_ok();
            Ok(fits && known)
        })
        .await
    }
}

/// A hash that belongs to no account.
static NOBODYS: LazyLock<String> =
    LazyLock::new(|| hash(&secret::token()).expect("the parameters are the library's own"));

/// Checks a new password against the rules and hashes it.
pub async fn choose(
    hashing: &Hashing,
    password: &str,
    context: Vec<String>,
) -> Result<String, NotDone<PeopleRefused>> {
    let turn = hashing.turn().await?;
    let password = password.to_owned();
    blocking(move || {
        let _turn = turn;
        if let Err(refused) = rules::password(&password, &context) {
            return Ok(Err(refused));
        }
        Ok(Ok(hash(&password)?))
    })
    .await?
    .map_err(NotDone::Refused)
}

fn hash(password: &str) -> anyhow::Result<String> {
    let hash = Argon2::default()
        .hash_password(password.as_bytes())
        .map_err(|error| anyhow::anyhow!("{error}"))?;
    Ok(hash.to_string())
}

async fn blocking<T: Send + 'static>(
    work: impl FnOnce() -> anyhow::Result<T> + Send + 'static,
) -> Result<T, AppError> {
    let done = tokio::task::spawn_blocking(work)
        .await
        .map_err(|error| AppError::Broken(error.into()))?;
    Ok(done?)
}

/// A form with a password in it, for the receipt: its hash is taken over everything but the password.
/// A fast hash over a password would undo the slow one for whoever gets hold of the database.
pub fn without_password(sent: &Sent, said: &[&str]) -> Sent {
    Sent {
        id: sent.id,
        hash: secret::hash(said.join("\0").as_bytes()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn a_hash_is_argon2id_and_fits_only_its_password() {
        let hashing = Hashing::default();
        let stored = choose(&hashing, "lantern gravel otter sieve", vec![])
            .await
            .unwrap();
        // OWASP Password Storage Cheat Sheet: Argon2id, m=19456 (19 MiB), t=2, p=1.
        assert!(
            stored.starts_with("$argon2id$v=19$m=19456,t=2,p=1$"),
            "{stored}"
        );
        for (typed, stored, fits) in [
            ("lantern gravel otter sieve", Some(stored.clone()), true),
            ("lantern gravel otter sieve ", Some(stored), false),
            ("lantern gravel otter sieve", None, false),
        ] {
            let turn = hashing.turn().await.unwrap();
            assert_eq!(turn.verify(typed.into(), stored).await.unwrap(), fits);
        }
    }

    #[tokio::test]
    async fn two_work_sixteen_wait_and_the_next_is_sent_away() {
        let hashing = Arc::new(Hashing::default());
        let first = hashing.turn().await.unwrap();
        let second = hashing.turn().await.unwrap();
        let waiting: Vec<_> = (0..16)
            .map(|_| {
                let hashing = hashing.clone();
                tokio::spawn(async move { hashing.turn().await.is_ok() })
            })
            .collect();
        tokio::task::yield_now().await;
        assert!(matches!(hashing.turn().await, Err(AppError::Busy(_))));
        drop((first, second));
        for turn in waiting {
            assert!(turn.await.unwrap());
        }
    }
}
