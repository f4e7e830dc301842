//! Reads of the whole book, many entries at a time, for `verify`.

use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::clock::Instant;
use crate::ids::{FormId, KitId, PartId, PersonId, PlaceId};
use crate::ledger::balance::{Balance, Balances};
use crate::ledger::chain::Hash;
use crate::ledger::entry::{CountMark, Move, PlaceMove, Seq, Stand, State};

/// One entry with everything that belongs to it.
pub struct Whole {
    pub row: EntryRow,
    pub moves: Vec<Move>,
    pub carried: Vec<PlaceMove>,
    pub counted: Vec<CountMark>,
}

pub struct EntryRow {
    pub seq: Seq,
    pub id: FormId,
    pub kind: String,
    pub actor: PersonId,
    pub recorded_at: Instant,
    pub done_at: Instant,
    pub document_kind: String,
    pub document_id: Option<Uuid>,
    pub corrects_seq: Option<Seq>,
    pub moves: i64,
    pub place_moves: i64,
    pub count_marks: i64,
    pub note_hash: Option<Vec<u8>>,
    pub hash: Vec<u8>,
    pub salt: Option<Vec<u8>>,
    pub note: Option<String>,
}

/// The next sequence numbers after one, at most 1,000, each with its stored hash.
pub async fn seqs_after(
    db: &mut SqliteConnection,
    after: Seq,
) -> sqlx::Result<Vec<(Seq, Vec<u8>)>> {
    let rows = sqlx::query!(
        r#"select seq, hash from entry where seq > $1 order by seq limit 1000"#,
        after
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.seq, row.hash)).collect())
}

/// The entries from `first` to `last`, in order.
pub async fn between(db: &mut SqliteConnection, first: Seq, last: Seq) -> sqlx::Result<Vec<Whole>> {
    let rows = entry_rows(db, first, last).await?;
    let mut moves = moves(db, first, last).await?.into_iter().peekable();
    let mut carried = carried(db, first, last).await?.into_iter().peekable();
    let mut counted = counted(db, first, last).await?.into_iter().peekable();
    let mut all = Vec::with_capacity(rows.len());
    for row in rows {
        let seq = row.seq;
        let mut whole = Whole {
            row,
            moves: Vec::new(),
            carried: Vec::new(),
            counted: Vec::new(),
        };
        // Lines of entries that do not exist are skipped here and found by `orphans`.
        while let Some((of, one)) = moves.next_if(|(of, _)| *of <= seq) {
            if of == seq {
                whole.moves.push(one);
            }
        }
        while let Some((of, one)) = carried.next_if(|(of, _)| *of <= seq) {
            if of == seq {
                whole.carried.push(one);
            }
        }
        while let Some((of, one)) = counted.next_if(|(of, _)| *of <= seq) {
            if of == seq {
                whole.counted.push(one);
            }
        }
        all.push(whole);
    }
    Ok(all)
}

async fn entry_rows(
    db: &mut SqliteConnection,
    first: Seq,
    last: Seq,
) -> sqlx::Result<Vec<EntryRow>> {
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
            where entry.seq between $1 and $2
            order by entry.seq
        "#,
        first,
        last
    )
    .fetch_all(db)
    .await
}

async fn moves(db: &mut SqliteConnection, first: Seq, last: Seq) -> sqlx::Result<Vec<(Seq, Move)>> {
    let rows = sqlx::query!(
        r#"
            select
                entry_seq,
                part_id as "part: PartId",
                qty,
                from_kit_id as "from_kit: KitId",
                from_place_id as "from_place: PlaceId",
                from_state as "from_state: State",
                to_kit_id as "to_kit: KitId",
                to_place_id as "to_place: PlaceId",
                to_state as "to_state: State"
            from move
            where entry_seq between $1 and $2
            order by entry_seq, line
        "#,
        first,
        last
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let one = Move {
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
            };
            (row.entry_seq, one)
        })
        .collect())
}

async fn carried(
    db: &mut SqliteConnection,
    first: Seq,
    last: Seq,
) -> sqlx::Result<Vec<(Seq, PlaceMove)>> {
    let rows = sqlx::query!(
        r#"
            select
                entry_seq,
                place_id as "place: PlaceId",
                from_parent_id as "from: PlaceId",
                to_parent_id as "to: PlaceId"
            from place_move
            where entry_seq between $1 and $2
            order by entry_seq, line
        "#,
        first,
        last
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let one = PlaceMove {
                place: row.place,
                from: row.from,
                to: row.to,
            };
            (row.entry_seq, one)
        })
        .collect())
}

async fn counted(
    db: &mut SqliteConnection,
    first: Seq,
    last: Seq,
) -> sqlx::Result<Vec<(Seq, CountMark)>> {
    let rows = sqlx::query!(
        r#"
            select
                entry_seq,
                part_id as "part: PartId",
                kit_id as "kit: KitId",
                place_id as "place: PlaceId",
                qty
            from count_mark
            where entry_seq between $1 and $2
            order by entry_seq, line
        "#,
        first,
        last
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let one = CountMark {
                part: row.part,
                kit: row.kit,
                place: row.place,
                qty: row.qty,
            };
            (row.entry_seq, one)
        })
        .collect())
}

/// Numbers of entries that have lines or a note but are not there themselves.
pub async fn orphans(db: &mut SqliteConnection) -> sqlx::Result<Vec<Seq>> {
    sqlx::query_scalar!(
        r#"
            select line.seq as "seq!: i64"
            from (
                select entry_seq as seq from move
                union
                select entry_seq from place_move
                union
                select entry_seq from count_mark
                union
                select entry_seq from entry_note
            ) as line
            where not exists (select 1 from entry where entry.seq = line.seq)
            order by line.seq
        "#
    )
    .fetch_all(db)
    .await
}

/// Numbers of entries whose lines are not numbered 1, 2, 3 and so on.
pub async fn lines_out_of_order(db: &mut SqliteConnection) -> sqlx::Result<Vec<Seq>> {
    sqlx::query_scalar!(
        r#"
            select seq as "seq!: i64"
            from (
                select entry_seq as seq, min(line) as first, max(line) as last, count(*) as lines
                from move
                group by entry_seq
                union all
                select entry_seq, min(line), max(line), count(*)
                from place_move
                group by entry_seq
                union all
                select entry_seq, min(line), max(line), count(*)
                from count_mark
                group by entry_seq
            )
            where first <> 1 or last <> lines
            order by seq
        "#
    )
    .fetch_all(db)
    .await
}

/// The balances as kept, each with its mark: 1 for an outside place's.
pub async fn balances(db: &mut SqliteConnection) -> sqlx::Result<(Balances, Vec<(PlaceId, i64)>)> {
    let rows = sqlx::query!(
        r#"
            select
                place_id as "place: PlaceId",
                part_id as "part: PartId",
                kit_id as "kit: KitId",
                state as "state: State",
                outside,
                qty,
                counted_seq
            from balance
        "#
    )
    .fetch_all(db)
    .await?;
    let marked = rows.iter().map(|row| (row.place, row.outside)).collect();
    let balances = rows
        .into_iter()
        .map(|row| {
            let stand = Stand {
                kit: row.kit,
                place: row.place,
                state: row.state,
            };
            let balance = Balance {
                qty: row.qty,
                counted: row.counted_seq,
            };
            ((row.part, stand), balance)
        })
        .collect();
    Ok((Balances(balances), marked))
}

/// What each place stands in.
pub async fn parents(db: &mut SqliteConnection) -> sqlx::Result<Vec<(PlaceId, Option<PlaceId>)>> {
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

/// The entry that has a mark, if there is one. Reads the whole book: for restoring, which checks all of it
/// anyway.
pub async fn with_hash(db: &mut SqliteConnection, hash: Hash) -> sqlx::Result<Option<Seq>> {
    let hash = hash.as_slice();
    sqlx::query_scalar!(r#"select seq from entry where hash = $1"#, hash)
        .fetch_optional(db)
        .await
}
