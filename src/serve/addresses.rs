//! How many connections each address has open, and when that is too many.

use std::collections::HashMap;
use std::net::{IpAddr, Ipv6Addr};
use std::sync::{Arc, Mutex, PoisonError};

type Open = Arc<Mutex<HashMap<IpAddr, usize>>>;

/// How many connections each address has open.
pub struct Addresses {
    limit: usize,
    open: Open,
}

impl Addresses {
    pub fn new(limit: usize) -> Self {
        Addresses {
            limit,
            open: Arc::default(),
        }
    }

    /// Counts one more connection from `address`, unless it has too many.
    pub fn enter(&self, address: IpAddr) -> Option<Counted> {
        let address = counted_as(address);
        if address.is_loopback() {
            return Some(Counted(None));
        }
        let mut open = self.open.lock().unwrap_or_else(PoisonError::into_inner);
        let count = open.entry(address).or_insert(0);
        if *count >= self.limit {
            return None;
        }
        *count += 1;
        Some(Counted(Some((Arc::clone(&self.open), address))))
    }
}

/// The address a visitor is counted under.
///
/// An IPv4 visitor of an IPv6 socket is the same visitor. Over IPv6 a household has at least a
/// whole /64 to take addresses from (RFC 6177), so its first half alone tells visitors apart.
fn counted_as(address: IpAddr) -> IpAddr {
    const FIRST_HALF: u128 = !0 << 64;
    match address.to_canonical() {
        IpAddr::V6(ip) if !ip.is_loopback() => {
            Ipv6Addr::from_bits(ip.to_bits() & FIRST_HALF).into()
        }
        other => other,
    }
}

/// One counted connection; dropping it counts it out again.
pub struct Counted(Option<(Open, IpAddr)>);

impl Drop for Counted {
    fn drop(&mut self) {
        let Some((open, address)) = self.0.take() else {
            return;
        };
        let mut open = open.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some(count) = open.get_mut(&address) {
            *count -= 1;
            if *count == 0 {
                open.remove(&address);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_address_is_counted_in_and_out_and_loopback_never() {
        let addresses = Addresses::new(2);
        let phone: IpAddr = "192.0.2.7".parse().unwrap();
        let first = addresses.enter(phone);
        let second = addresses.enter("::ffff:192.0.2.7".parse().unwrap());
        assert!(first.is_some() && second.is_some());
        assert!(addresses.enter(phone).is_none());
        assert!(addresses.enter("192.0.2.8".parse().unwrap()).is_some());
        let near: Vec<_> = ["2001:db8:0:1::1", "2001:db8:0:1:9::2", "2001:db8:0:1::3"]
            .map(|ip| addresses.enter(ip.parse().unwrap()))
            .into();
        assert!(near[0].is_some() && near[1].is_some() && near[2].is_none());
        assert!(
            addresses
                .enter("2001:db8:0:2::1".parse().unwrap())
                .is_some()
        );
        drop(near);
        drop(first);
        let third = addresses.enter(phone);
        assert!(third.is_some());
        drop((second, third));
        assert!(addresses.open.lock().unwrap().is_empty());

        for proxy in ["127.0.0.1", "::1", "::ffff:127.0.0.1"] {
            let proxy: IpAddr = proxy.parse().unwrap();
            let many: Vec<_> = (0..10).map(|_| addresses.enter(proxy)).collect();
            assert!(many.iter().all(Option::is_some), "{proxy}");
        }
    }
}
