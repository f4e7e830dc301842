//! Random bytes from the operating system, and the hashes under which secrets are kept.

use sha2::{Digest, Sha256};

/// `N` random bytes.
///
/// # Panics
/// When the operating system has no random numbers to give, which nothing could work without.
pub fn random<const N: usize>() -> [u8; N] {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).expect("the operating system gives random numbers");
    bytes
}

/// A secret of 256 bits for a cookie or a link, as 64 hexadecimal digits.
pub fn token() -> String {
    random::<32>()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect()
}

/// What is stored instead of a secret, or compared instead of a content.
pub fn hash(bytes: &[u8]) -> [u8; 32] {
    Sha256::digest(bytes).into()
}
