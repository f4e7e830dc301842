//! Reads the whole book again and says whether everything fits.
//!
//! It trusts nothing that the tables promise: a file can be changed by any program, with the checks and
//! the triggers taken off.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::balance::{Balance, Balances};
use super::chain::{self, BEGINNING, Hash, Sealed};
use super::entry::{Outside, Seq};
use super::store::{self, Whole};
use crate::ids::PlaceId;

/// What a check of the ledger found.
#[derive(Debug)]
pub struct Findings {
    pub entries: i64,
    pub moves: i64,
    /// The last hash of the chain. Kept elsewhere, it shows whether the end was cut off.
    pub head: Hash,
    /// One sentence for each thing that does not fit. Empty: all is well.
    pub faults: Vec<String>,
}

/// Checks the chain, the commitments to the notes, that every entry has exactly its moves, that the
/// balances and the places are what the moves make them, and that pieces are neither made nor lost.
pub async fn verify(db: &mut SqliteConnection) -> sqlx::Result<Findings> {
    let mut book = Book::new();
    let mut after = Seq::MIN;
    loop {
        let seqs = store::seqs_after(db, after).await?;
        let (Some((first, _)), Some((last, _))) = (seqs.first(), seqs.last()) else {
            break;
        };
        let (first, last) = (*first, *last);
        match readable(store::between(db, first, last).await)? {
            Ok(entries) => entries.iter().for_each(|entry| book.add(entry)),
            // One of them cannot be read: one after the other, to name it and go on.
            Err(_) => {
                for (seq, hash) in &seqs {
                    match readable(store::between(db, *seq, *seq).await)? {
                        Ok(entries) => entries.iter().for_each(|entry| book.add(entry)),
                        Err(why) => book.skip(*seq, hash, &why),
                    }
                }
            }
        }
        after = last;
    }
    for seq in store::orphans(db).await? {
        book.fault(format!(
            "there are lines or a note of entry {seq}, which does not exist"
        ));
    }
    for seq in store::lines_out_of_order(db).await? {
        book.fault(format!(
            "the lines of entry {seq} are not numbered one after the other"
        ));
    }
    if book.balances.sum() != 0 {
        book.fault(format!(
            "all places together hold {} pieces, not 0",
            book.balances.sum()
        ));
    }
    match readable(store::balances(db).await)? {
        Ok((stored, marked)) => book.compare_balances(&stored, &marked),
        Err(why) => book.fault(format!("the balances cannot be read: {why}")),
    }
    match readable(store::parents(db).await)? {
        Ok(stored) => book.compare_parents(&stored),
        Err(why) => book.fault(format!("the places cannot be read: {why}")),
    }
    Ok(book.findings)
}

/// Tells a value that makes no sense, which is a finding, from a database that does not answer.
fn readable<T>(result: sqlx::Result<T>) -> sqlx::Result<Result<T, String>> {
    match result {
        Ok(value) => Ok(Ok(value)),
        Err(error @ (sqlx::Error::ColumnDecode { .. } | sqlx::Error::Decode(_))) => {
            Ok(Err(error.to_string()))
        }
        Err(error) => Err(error),
    }
}

/// The book as far as it has been read.
struct Book {
    findings: Findings,
    next: Seq,
    balances: Balances,
    parents: BTreeMap<PlaceId, Option<PlaceId>>,
}

impl Book {
    fn new() -> Self {
        Self {
            findings: Findings {
                entries: 0,
                moves: 0,
                head: BEGINNING,
                faults: Vec::new(),
            },
            next: 1,
            balances: Balances::default(),
            parents: BTreeMap::new(),
        }
    }

    fn fault(&mut self, sentence: String) {
        self.findings.faults.push(sentence);
    }

    /// Goes on to the entry `seq`, which should be the next one.
    fn turn_to(&mut self, seq: Seq) {
        self.findings.entries += 1;
        let next = self.next;
        if seq < 1 {
            self.fault(format!("entry {seq} stands before the first"));
            return;
        }
        if seq == next + 1 {
            self.fault(format!("entry {next} is missing before entry {seq}"));
        } else if seq != next {
            let last = seq - 1;
            self.fault(format!(
                "entries {next} to {last} are missing before entry {seq}"
            ));
        }
        self.next = seq + 1;
    }

    /// Notes that an entry cannot be read, and goes on behind it.
    fn skip(&mut self, seq: Seq, hash: &[u8], why: &str) {
        self.turn_to(seq);
        self.fault(format!("entry {seq} cannot be read: {why}"));
        self.findings.head = store::to_hash(hash);
    }

    fn add(&mut self, entry: &Whole) {
        let seq = entry.row.seq;
        self.turn_to(seq);
        self.findings.moves += entry.moves.len() as i64;
        self.check_row(entry);
        self.check_hash(entry);
        self.check_note(entry);

        self.balances.apply(seq, &entry.moves, &entry.counted);
        for one in &entry.moves {
            let left = self.balances.0.get(&(one.part, one.from));
            if left.is_some_and(|left| left.qty < 0)
                && Outside::from_place(one.from.place).is_none()
            {
                self.fault(format!(
                    "entry {seq} takes more of part {} from place {} than was there",
                    one.part, one.from.place
                ));
            }
        }
        for one in &entry.carried {
            if self.parents.get(&one.place).copied().flatten() != one.from {
                self.fault(format!(
                    "entry {seq} carries place {} from where it was not",
                    one.place
                ));
            }
            self.parents.insert(one.place, one.to);
        }
    }

    /// What the hash cannot show, because two ways of writing it come to the same bytes.
    fn check_row(&mut self, entry: &Whole) {
        let row = &entry.row;
        let seq = row.seq;
        let lines = (
            entry.moves.len() as i64,
            entry.carried.len() as i64,
            entry.counted.len() as i64,
        );
        if lines != (row.moves, row.place_moves, row.count_marks) {
            self.fault(format!(
                "entry {seq} does not have as many lines as it says"
            ));
        }
        let document = store::to_document(&row.document_kind, row.document_id);
        let none = row.document_kind.is_empty() && row.document_id.is_none();
        if document.is_none() && !none {
            self.fault(format!("entry {seq} is about something that is unknown"));
        }
        if row
            .corrects_seq
            .is_some_and(|first| first < 1 || first >= seq)
        {
            self.fault(format!(
                "entry {seq} corrects an entry that is not before it"
            ));
        }
    }

    fn check_hash(&mut self, entry: &Whole) {
        let row = &entry.row;
        let hash = chain::link(
            &self.findings.head,
            &Sealed {
                seq: row.seq,
                id: row.id,
                kind: &row.kind,
                actor: row.actor,
                recorded_at: row.recorded_at,
                done_at: row.done_at,
                document: store::to_document(&row.document_kind, row.document_id),
                corrects: row.corrects_seq,
                note_hash: row.note_hash.as_deref().map(store::to_hash),
                moves: &entry.moves,
                carried: &entry.carried,
                counted: &entry.counted,
            },
        );
        if hash.as_slice() != row.hash {
            self.fault(format!(
                "entry {} was changed after it was recorded",
                row.seq
            ));
        }
        // Going on from the stored hash names each changed entry instead of every later one.
        self.findings.head = store::to_hash(&row.hash);
    }

    /// A note may be gone, but not be another than the one that was committed to.
    fn check_note(&mut self, entry: &Whole) {
        let row = &entry.row;
        let (Some(salt), Some(text)) = (&row.salt, &row.note) else {
            return;
        };
        let seq = row.seq;
        let Some(commitment) = &row.note_hash else {
            self.fault(format!("entry {seq} was given a note afterwards"));
            return;
        };
        let kept = <[u8; 16]>::try_from(salt.as_slice())
            .is_ok_and(|salt| chain::commit(&salt, text).as_slice() == commitment);
        if !kept {
            self.fault(format!("the note of entry {seq} was changed"));
        }
    }

    fn compare_balances(&mut self, stored: &Balances, marked: &[(PlaceId, i64)]) {
        let mut faults = Vec::new();
        for ((part, stand), balance) in &self.balances.0 {
            let kept = stored.0.get(&(*part, *stand));
            if kept != Some(balance) {
                faults.push(format!(
                    "the balance of part {part} ({}) in place {} is {}, the moves make it {}",
                    stand.state.word(),
                    stand.place,
                    kept.map_or("not kept".into(), told),
                    told(balance)
                ));
            }
        }
        for (part, stand) in stored.0.keys() {
            if !self.balances.0.contains_key(&(*part, *stand)) {
                faults.push(format!(
                    "a balance of part {part} ({}) in place {} has no moves",
                    stand.state.word(),
                    stand.place
                ));
            }
        }
        for (place, outside) in marked {
            if i64::from(Outside::from_place(*place).is_some()) != *outside {
                faults.push(format!(
                    "a balance in place {place} is marked as outside the books, wrongly or not at all"
                ));
            }
        }
        self.findings.faults.append(&mut faults);
    }

    fn compare_parents(&mut self, stored: &[(PlaceId, Option<PlaceId>)]) {
        for (place, parent) in stored {
            if self.parents.get(place).copied().flatten() != *parent {
                self.fault(format!("place {place} is not where it was last carried"));
            }
        }
    }
}

fn told(balance: &Balance) -> String {
    match balance.counted {
        None => format!("{}, never counted", balance.qty),
        Some(seq) => format!("{}, counted by entry {seq}", balance.qty),
    }
}
