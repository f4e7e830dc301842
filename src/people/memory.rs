//! What the slice keeps in memory: how busy password hashing is, how often an address tried, whether
//! anybody has an account, and the league's name.

use std::collections::HashMap;
use std::net::IpAddr;
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Mutex, PoisonError};

use super::password::Hashing;
use super::store;
use crate::app::App;
use crate::clock::Instant;
use crate::error::AppError;

#[derive(Default)]
pub struct Memory {
    pub(super) hashing: Hashing,
    pub(super) addresses: Addresses,
    somebody: AtomicBool,
    league: Mutex<Option<(u64, String)>>,
}

/// The league's name; empty before it has one. Asked at every page, so it is kept for as long as nothing
/// is written.
pub async fn league(app: &App) -> Result<String, AppError> {
    let version = app.db.version();
    {
        let kept = app
            .people
            .league
            .lock()
            .unwrap_or_else(PoisonError::into_inner);
        if let Some((at, name)) = kept.as_ref()
            && *at == version
        {
            return Ok(name.clone());
        }
    }
    let mut db = app.db.read().await?;
    let name = store::teams::league(&mut db).await?.unwrap_or_default();
    *app.people
        .league
        .lock()
        .unwrap_or_else(PoisonError::into_inner) = Some((version, name.clone()));
    Ok(name)
}

/// Whether anybody has an account. Once true it stays true, because nobody is ever deleted.
pub(super) async fn somebody(app: &App) -> Result<bool, AppError> {
    if app.people.somebody.load(Ordering::Relaxed) {
        return Ok(true);
    }
    let mut db = app.db.read().await?;
    let there = store::accounts::somebody(&mut db).await?;
    if there {
        app.people.somebody.store(true, Ordering::Relaxed);
    }
    Ok(there)
}

/// How often each network address tried something that takes a secret, in the present minute. Never the
/// only brake: a whole venue may share one address.
#[derive(Default)]
pub(super) struct Addresses(Mutex<HashMap<IpAddr, (Instant, u32)>>);

const TRIES_A_MINUTE: u32 = 60;
/// More addresses than this at once are forgotten together, so that the memory they take is bounded.
const MOST_ADDRESSES: usize = 10_000;

impl Addresses {
    /// Counts a try. Answers whether it may go on.
    pub fn allow(&self, address: IpAddr, now: Instant) -> bool {
        let mut known = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        if known.len() >= MOST_ADDRESSES && !known.contains_key(&address) {
            known.retain(|_, (began, _)| now < began.plus_minutes(1));
            if known.len() >= MOST_ADDRESSES {
                known.clear();
            }
        }
        let (began, tries) = known.entry(address).or_insert((now, 0));
        if now >= began.plus_minutes(1) {
            (*began, *tries) = (now, 0);
        }
        *tries += 1;
        *tries <= TRIES_A_MINUTE
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::net::Ipv4Addr;

    #[test]
    fn sixty_tries_a_minute_from_one_address() {
        let addresses = Addresses::default();
        // RFC 5737: addresses for documentation.
        let one = IpAddr::V4(Ipv4Addr::new(192, 0, 2, 1));
        let other = IpAddr::V4(Ipv4Addr::new(192, 0, 2, 2));
        let now = Instant(1_804_183_200_000);
        let allowed = (0..100).filter(|_| addresses.allow(one, now)).count();
        assert_eq!(allowed, 60);
        assert!(addresses.allow(other, now));
        assert!(!addresses.allow(one, Instant(now.0 + 59_999)));
        assert!(addresses.allow(one, now.plus_minutes(1)));
    }

    #[test]
    fn the_memory_of_addresses_is_bounded() {
        let addresses = Addresses::default();
        let now = Instant(0);
        for number in 0..30_000_u32 {
            addresses.allow(IpAddr::V4(Ipv4Addr::from(number)), now);
        }
        assert!(addresses.0.lock().unwrap().len() <= MOST_ADDRESSES);
    }
}
