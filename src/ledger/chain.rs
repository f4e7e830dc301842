//! The hash chain over the entries. Pure.
//!
//! `hash(n) = SHA-256(0x00 ‖ hash(n − 1) ‖ bytes of entry n)`. The bytes are a version number and then
//! every field in a fixed order, texts with their length in front, so that no two entries share them.

use sha2::{Digest, Sha256};

use super::entry::{CountMark, Document, Move, PlaceMove, Seq, Stand};
use crate::clock::Instant;
use crate::ids::{FormId, PersonId};

/// 32 bytes of SHA-256.
pub type Hash = [u8; 32];

/// What stands before the first entry.
pub const BEGINNING: Hash = [0; 32];

const VERSION: u8 = 1;

/// Everything of an entry that is in the chain.
pub struct Sealed<'a> {
    pub seq: Seq,
    pub id: FormId,
    pub kind: &'a str,
    pub actor: PersonId,
    pub recorded_at: Instant,
    pub done_at: Instant,
    pub document: Option<Document>,
    pub corrects: Option<Seq>,
    pub note_hash: Option<Hash>,
    pub moves: &'a [Move],
    pub carried: &'a [PlaceMove],
    pub counted: &'a [CountMark],
}

/// The hash of an entry that follows one with the hash `before`.
pub fn link(before: &Hash, entry: &Sealed<'_>) -> Hash {
    let mut bytes = Vec::with_capacity(256 + entry.moves.len() * 128);
    bytes.push(VERSION);
    number(&mut bytes, entry.seq);
    bytes.extend(entry.id.bytes());
    text(&mut bytes, entry.kind);
    bytes.extend(entry.actor.bytes());
    number(&mut bytes, entry.recorded_at.0);
    number(&mut bytes, entry.done_at.0);
    match entry.document {
        None => text(&mut bytes, ""),
        Some(document) => {
            text(&mut bytes, document.kind());
            bytes.extend(document.id().as_bytes());
        }
    }
    number(&mut bytes, entry.corrects.unwrap_or(0));
    optional(
        &mut bytes,
        entry.note_hash.as_ref().map(|hash| hash.as_slice()),
    );

    number(&mut bytes, entry.moves.len() as i64);
    for one in entry.moves {
        bytes.extend(one.part.bytes());
        number(&mut bytes, one.qty);
        stand(&mut bytes, &one.from);
        stand(&mut bytes, &one.to);
    }
    number(&mut bytes, entry.carried.len() as i64);
    for one in entry.carried {
        bytes.extend(one.place.bytes());
        optional(
            &mut bytes,
            one.from.as_ref().map(|place| place.bytes().as_slice()),
        );
        optional(
            &mut bytes,
            one.to.as_ref().map(|place| place.bytes().as_slice()),
        );
    }
    number(&mut bytes, entry.counted.len() as i64);
    for one in entry.counted {
        bytes.extend(one.part.bytes());
        bytes.extend(one.kit.bytes());
        bytes.extend(one.place.bytes());
        number(&mut bytes, one.qty);
    }

    let mut hasher = Sha256::new();
    hasher.update([0]);
    hasher.update(before);
    hasher.update(&bytes);
    hasher.finalize().into()
}

/// The commitment to a note: SHA-256(salt ‖ text).
pub fn commit(salt: &[u8; 16], text: &str) -> Hash {
    let mut hasher = Sha256::new();
    hasher.update(salt);
    hasher.update(text.as_bytes());
    hasher.finalize().into()
}

fn number(bytes: &mut Vec<u8>, value: i64) {
    bytes.extend(value.to_be_bytes());
}

fn text(bytes: &mut Vec<u8>, value: &str) {
    number(bytes, value.len() as i64);
    bytes.extend(value.as_bytes());
}

fn optional(bytes: &mut Vec<u8>, value: Option<&[u8]>) {
    match value {
        None => bytes.push(0),
        Some(value) => {
            bytes.push(1);
            bytes.extend(value);
        }
    }
}

fn stand(bytes: &mut Vec<u8>, stand: &Stand) {
    bytes.extend(stand.kit.bytes());
    bytes.extend(stand.place.bytes());
    text(bytes, stand.state.word());
}
