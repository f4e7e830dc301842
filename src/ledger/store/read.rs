//! Reads of single entries.

use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::clock::Instant;
use crate::ids::{CountId, FormId, KitId, PartId, PersonId, PlaceId};
use crate::ledger::chain::{BEGINNING, Hash};
use crate::ledger::entry::{CountMark, Document, Move, PlaceMove, Seq, Stand, State};

/// The last sequence number and its hash; 0 and zeros for an empty ledger.
pub async fn head(db: &mut SqliteConnection) -> sqlx::Result<(Seq, Hash)> {
    let row = sqlx::query!(r#"select seq, hash from entry order by seq desc limit 1"#)
        .fetch_optional(db)
        .await?;
    Ok(row.map_or((0, BEGINNING), |row| (row.seq, to_hash(&row.hash))))
}

/// The entry that has a mark, if there is one.
pub async fn with_hash(db: &mut SqliteConnection, hash: Hash) -> sqlx::Result<Option<Seq>> {
    let hash = hash.as_slice();
    sqlx::query_scalar!(r#"select seq from entry where hash = $1"#, hash)
        .fetch_optional(db)
        .await
}

pub fn to_hash(bytes: &[u8]) -> Hash {
    bytes.try_into().unwrap_or(BEGINNING)
}

/// An entry as it stands in the book, without its hash.
#[derive(Debug, Clone)]
pub struct Recorded {
    pub seq: Seq,
    pub id: FormId,
    pub kind: String,
    pub actor: PersonId,
    pub recorded_at: Instant,
    pub done_at: Instant,
    pub document: Option<Document>,
    pub corrects: Option<Seq>,
    pub corrected_by: Option<Seq>,
    pub note: Option<String>,
    pub moves: Vec<Move>,
    pub carried: Vec<PlaceMove>,
    pub counted: Vec<CountMark>,
}

/// One entry with all its moves.
pub async fn find(db: &mut SqliteConnection, seq: Seq) -> sqlx::Result<Option<Recorded>> {
    let Some(row) = sqlx::query!(
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
                (select later.seq from entry as later where later.corrects_seq = entry.seq)
                    as "corrected_by: i64",
                entry_note.text as "note?"
            from entry
            left join entry_note on entry_note.entry_seq = entry.seq
            where entry.seq = $1
        "#,
        seq
    )
    .fetch_optional(&mut *db)
    .await?
    else {
        return Ok(None);
    };
    Ok(Some(Recorded {
        seq: row.seq,
        id: row.id,
        kind: row.kind,
        actor: row.actor,
        recorded_at: row.recorded_at,
        done_at: row.done_at,
        document: to_document(&row.document_kind, row.document_id),
        corrects: row.corrects_seq,
        corrected_by: row.corrected_by,
        note: row.note,
        moves: moves_of(db, seq).await?,
        carried: carried_of(db, seq).await?,
        counted: counted_of(db, seq).await?,
    }))
}

pub fn to_document(kind: &str, id: Option<Uuid>) -> Option<Document> {
    match (kind, id?) {
        ("kit", id) => Some(Document::Kit(KitId(id))),
        ("place", id) => Some(Document::Place(PlaceId(id))),
        ("count", id) => Some(Document::Count(CountId(id))),
        _ => None,
    }
}

async fn moves_of(db: &mut SqliteConnection, seq: Seq) -> sqlx::Result<Vec<Move>> {
    let rows = sqlx::query!(
        r#"
            select
                part_id as "part: PartId",
                qty,
                from_kit_id as "from_kit: KitId",
                from_place_id as "from_place: PlaceId",
                from_state as "from_state: State",
                to_kit_id as "to_kit: KitId",
                to_place_id as "to_place: PlaceId",
                to_state as "to_state: State"
            from move
            where entry_seq = $1
            order by line
        "#,
        seq
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| Move {
            part: row.part,
            qty: row.qty,
            from: Stand {
                kit: row.from_kit,
                place: row.from_place,
                state: row.from_state,
            },
            to: Stand {
                kit: row.to_kit,
                place: row.to_place,
                state: row.to_state,
            },
        })
        .collect())
}

async fn carried_of(db: &mut SqliteConnection, seq: Seq) -> sqlx::Result<Vec<PlaceMove>> {
    sqlx::query_as!(
        PlaceMove,
        r#"
            select
                place_id as "place: PlaceId",
                from_parent_id as "from: PlaceId",
                to_parent_id as "to: PlaceId"
            from place_move
            where entry_seq = $1
            order by line
        "#,
        seq
    )
    .fetch_all(db)
    .await
}

async fn counted_of(db: &mut SqliteConnection, seq: Seq) -> sqlx::Result<Vec<CountMark>> {
    sqlx::query_as!(
        CountMark,
        r#"
            select
                part_id as "part: PartId",
                kit_id as "kit: KitId",
                place_id as "place: PlaceId",
                qty
            from count_mark
            where entry_seq = $1
            order by line
        "#,
        seq
    )
    .fetch_all(db)
    .await
}
