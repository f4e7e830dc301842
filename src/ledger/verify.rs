//! Reads the whole book again and says whether everything fits.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;
use uuid::Uuid;

use super::balance::{Balance, Balances};
use super::chain::{self, BEGINNING, Hash, Sealed};
use super::entry::{Seq, Stand, State};
use super::store::{carried_of, counted_of, moves_of, to_document, to_hash};
use crate::clock::Instant;
use crate::ids::{FormId, KitId, PartId, PersonId, PlaceId};

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
    let mut findings = Findings {
        entries: 0,
        moves: 0,
        head: BEGINNING,
        faults: Vec::new(),
    };
    let mut balances = Balances::default();
    let mut parents: BTreeMap<PlaceId, Option<PlaceId>> = BTreeMap::new();

    let mut next: Seq = 1;
    loop {
        let entries = entries_from(db, next).await?;
        let Some(last) = entries.last().map(|entry| entry.seq) else {
            break;
        };
        for row in entries {
            check_entry(db, &row, &mut findings, &mut balances, &mut parents).await?;
        }
        next = last + 1;
    }

    if let Some((part, stand, qty)) = balances.first_negative() {
        findings
            .faults
            .push(format!("{qty} of part {part} in place {}", stand.place));
    }
    if balances.sum() != 0 {
        findings.faults.push(format!(
            "all places together hold {} pieces, not 0",
            balances.sum()
        ));
    }
    compare_balances(&balances, &stored_balances(db).await?, &mut findings.faults);
    for (place, parent) in stored_parents(db).await? {
        if parents.get(&place).copied().flatten() != parent {
            findings
                .faults
                .push(format!("place {place} is not where it was last carried"));
        }
    }
    Ok(findings)
}

async fn check_entry(
    db: &mut SqliteConnection,
    row: &EntryRow,
    findings: &mut Findings,
    balances: &mut Balances,
    parents: &mut BTreeMap<PlaceId, Option<PlaceId>>,
) -> sqlx::Result<()> {
    let seq = row.seq;
    findings.entries += 1;
    if seq != findings.entries {
        findings
            .faults
            .push(format!("entry {} is missing before entry {seq}", seq - 1));
        findings.entries = seq;
    }
    let moves = moves_of(db, seq).await?;
    let carried = carried_of(db, seq).await?;
    let counted = counted_of(db, seq).await?;
    findings.moves += moves.len() as i64;
    let lines = (
        moves.len() as i64,
        carried.len() as i64,
        counted.len() as i64,
    );
    if lines != (row.moves, row.place_moves, row.count_marks) {
        findings.faults.push(format!(
            "entry {seq} does not have as many lines as it says"
        ));
    }

    let hash = chain::link(
        &findings.head,
        &Sealed {
            seq,
            id: row.id,
            kind: &row.kind,
            actor: row.actor,
            recorded_at: row.recorded_at,
            done_at: row.done_at,
            document: to_document(&row.document_kind, row.document_id),
            corrects: row.corrects_seq,
            note_hash: row.note_hash.as_deref().map(to_hash),
            moves: &moves,
            carried: &carried,
            counted: &counted,
        },
    );
    if hash.as_slice() != row.hash {
        findings
            .faults
            .push(format!("entry {seq} was changed after it was recorded"));
    }
    // Going on from the stored hash names each changed entry instead of every later one.
    findings.head = to_hash(&row.hash);
    if let (Some(commitment), Some(salt), Some(text)) = (&row.note_hash, &row.salt, &row.note) {
        let salt: [u8; 16] = salt.as_slice().try_into().unwrap_or_default();
        if chain::commit(&salt, text).as_slice() != commitment {
            findings
                .faults
                .push(format!("the note of entry {seq} was changed"));
        }
    }

    balances.apply(seq, &moves, &counted);
    for one in &carried {
        if parents.get(&one.place).copied().flatten() != one.from {
            findings
                .faults
                .push(format!("entry {seq} carries a place from where it was not"));
        }
        parents.insert(one.place, one.to);
    }
    Ok(())
}

fn compare_balances(replayed: &Balances, stored: &Balances, faults: &mut Vec<String>) {
    for (key, balance) in &replayed.0 {
        if stored.0.get(key) != Some(balance) {
            let (part, stand) = key;
            faults.push(format!(
                "the balance of part {part} in place {} is {:?}, the moves make it {balance:?}",
                stand.place,
                stored.0.get(key),
            ));
        }
    }
    for (part, stand) in stored.0.keys() {
        if !replayed.0.contains_key(&(*part, *stand)) {
            faults.push(format!(
                "a balance of part {part} in place {} has no moves",
                stand.place
            ));
        }
    }
}

struct EntryRow {
    seq: Seq,
    id: FormId,
    kind: String,
    actor: PersonId,
    recorded_at: Instant,
    done_at: Instant,
    document_kind: String,
    document_id: Option<Uuid>,
    corrects_seq: Option<Seq>,
    moves: i64,
    place_moves: i64,
    count_marks: i64,
    note_hash: Option<Vec<u8>>,
    hash: Vec<u8>,
    salt: Option<Vec<u8>>,
    note: Option<String>,
}

async fn entries_from(db: &mut SqliteConnection, seq: Seq) -> sqlx::Result<Vec<EntryRow>> {
    sqlx::query_as!(
        EntryRow,
        r#"
            select
                entry.seq,
                entry.id as "id: FormId",
                entry.kind,
                entry.actor_id as "actor: PersonId",
                entry.recorded_at as "recorded_at: Instant",
                entry.done_at as "done_at: Instant",
                entry.document_kind,
                entry.document_id as "document_id: Uuid",
                entry.corrects_seq,
                entry.moves,
                entry.place_moves,
                entry.count_marks,
                entry.note_hash,
                entry.hash,
                entry_note.salt as "salt?",
                entry_note.text as "note?"
            from entry
            left join entry_note on entry_note.entry_seq = entry.seq
            where entry.seq >= $1
            order by entry.seq
            limit 1000
        "#,
        seq
    )
    .fetch_all(db)
    .await
}

async fn stored_balances(db: &mut SqliteConnection) -> sqlx::Result<Balances> {
    let rows = sqlx::query!(
        r#"
            select
                place_id as "place: PlaceId",
                part_id as "part: PartId",
                kit_id as "kit: KitId",
                state as "state: State",
                qty,
                counted_seq
            from balance
        "#
    )
    .fetch_all(db)
    .await?;
    Ok(Balances(
        rows.into_iter()
            .map(|row| {
                let stand = Stand {
                    kit: row.kit,
                    place: row.place,
                    state: row.state,
                };
                (
                    (row.part, stand),
                    Balance {
                        qty: row.qty,
                        counted: row.counted_seq,
                    },
                )
            })
            .collect(),
    ))
}

async fn stored_parents(
    db: &mut SqliteConnection,
) -> sqlx::Result<Vec<(PlaceId, Option<PlaceId>)>> {
    let rows = sqlx::query!(
        r#"
            select id as "place: PlaceId", parent_id as "parent: PlaceId"
            from place
            where kind <> 'outside'
        "#
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.place, row.parent))
        .collect())
}
