//! The only code that writes the ledger's tables.

use sqlx::SqliteConnection;

use super::read::head;
use crate::ids::PartId;
use crate::ledger::NotAppended;
use crate::ledger::chain::{self, Hash, Sealed};
use crate::ledger::entry::{CountMark, Document, Entry, Move, Outside, PlaceMove, Seq, Stand};
use crate::secret;

/// Records an entry and brings the balances up to date. Answers its sequence number.
///
/// The caller has begun the write and asked `receipts` whether the form was sent before. An entry
/// without moves, place moves or marks is a mistake of the caller and is refused by the database.
pub async fn append(db: &mut SqliteConnection, entry: &Entry) -> Result<Seq, NotAppended> {
    let (last, before) = head(db).await?;
    let seq = last + 1;

    let note = entry.note.as_deref().filter(|text| !text.trim().is_empty());
    let salt = secret::random::<16>();
    let note_hash = note.map(|text| chain::commit(&salt, text));
    let hash = chain::link(
        &before,
        &Sealed {
            seq,
            id: entry.id,
            kind: entry.kind,
            actor: entry.actor,
            recorded_at: entry.recorded_at,
            done_at: entry.done_at,
            document: entry.document,
            corrects: entry.corrects,
            note_hash,
            moves: &entry.moves,
            carried: &entry.carried,
            counted: &entry.counted,
        },
    );
    insert_entry(db, entry, seq, note_hash, &hash).await?;
    if let Some(text) = note {
        insert_note(db, seq, &salt, text).await?;
    }
    for (line, one) in (1i64..).zip(&entry.moves) {
        insert_move(db, seq, line, one).await?;
        take(db, one).await?;
        put(db, one).await?;
    }
    for (line, one) in (1i64..).zip(&entry.carried) {
        insert_place_move(db, seq, line, one).await?;
        carry(db, one).await?;
    }
    for (line, one) in (1i64..).zip(&entry.counted) {
        insert_mark(db, seq, line, one).await?;
        mark(db, seq, one).await?;
    }
    Ok(seq)
}

async fn insert_entry(
    db: &mut SqliteConnection,
    entry: &Entry,
    seq: Seq,
    note_hash: Option<Hash>,
    hash: &Hash,
) -> sqlx::Result<()> {
    let document_kind = entry.document.map_or("", Document::kind);
    let document_id = entry.document.map(Document::id);
    let moves = entry.moves.len() as i64;
    let place_moves = entry.carried.len() as i64;
    let count_marks = entry.counted.len() as i64;
    let note_hash = note_hash.map(|hash| hash.to_vec());
    let hash = hash.as_slice();
    sqlx::query!(
        r#"
            insert into entry (
                seq, id, kind, actor_id, recorded_at, done_at, document_kind, document_id,
                corrects_seq, moves, place_moves, count_marks, note_hash, hash
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13, $14)
        "#,
        seq,
        entry.id,
        entry.kind,
        entry.actor,
        entry.recorded_at,
        entry.done_at,
        document_kind,
        document_id,
        entry.corrects,
        moves,
        place_moves,
        count_marks,
        note_hash,
        hash
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn insert_note(
    db: &mut SqliteConnection,
    seq: Seq,
    salt: &[u8; 16],
    text: &str,
) -> sqlx::Result<()> {
    let salt = salt.as_slice();
    sqlx::query!(
        r#"insert into entry_note (entry_seq, salt, text) values ($1, $2, $3)"#,
        seq,
        salt,
        text
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn insert_move(
    db: &mut SqliteConnection,
    seq: Seq,
    line: i64,
    one: &Move,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into move (
                entry_seq, line, part_id, qty,
                from_kit_id, from_place_id, from_state,
                to_kit_id, to_place_id, to_state
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
        "#,
        seq,
        line,
        one.part,
        one.qty,
        one.from.kit,
        one.from.place,
        one.from.state,
        one.to.kit,
        one.to.place,
        one.to.state
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Lessens the balance a move comes from. Only an outside place may owe.
async fn take(db: &mut SqliteConnection, one: &Move) -> Result<(), NotAppended> {
    let Stand { kit, place, state } = one.from;
    let taken = sqlx::query!(
        r#"
            update balance
            set qty = qty - $1
            where place_id = $2 and part_id = $3 and kit_id = $4 and state = $5
                and (qty >= $1 or outside = 1)
        "#,
        one.qty,
        place,
        one.part,
        kit,
        state
    )
    .execute(&mut *db)
    .await?
    .rows_affected();
    if taken == 1 {
        return Ok(());
    }
    if Outside::from_place(place).is_some() {
        let owed = -one.qty;
        add(db, one.part, one.from, owed).await?;
        return Ok(());
    }
    let have = sqlx::query_scalar!(
        r#"
            select qty from balance
            where place_id = $1 and part_id = $2 and kit_id = $3 and state = $4
        "#,
        place,
        one.part,
        kit,
        state
    )
    .fetch_optional(db)
    .await?
    .unwrap_or(0);
    Err(NotAppended::NotEnough {
        part: one.part,
        place,
        have,
        wanted: one.qty,
    })
}

async fn put(db: &mut SqliteConnection, one: &Move) -> sqlx::Result<()> {
    add(db, one.part, one.to, one.qty).await
}

async fn add(db: &mut SqliteConnection, part: PartId, stand: Stand, qty: i64) -> sqlx::Result<()> {
    let outside = Outside::from_place(stand.place).is_some();
    sqlx::query!(
        r#"
            insert into balance (place_id, part_id, kit_id, state, outside, qty, counted_seq)
            values ($1, $2, $3, $4, $5, $6, null)
            on conflict (place_id, part_id, kit_id, state)
            do update set qty = qty + excluded.qty
        "#,
        stand.place,
        part,
        stand.kit,
        stand.state,
        outside,
        qty
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn insert_place_move(
    db: &mut SqliteConnection,
    seq: Seq,
    line: i64,
    one: &PlaceMove,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into place_move (entry_seq, line, place_id, from_parent_id, to_parent_id)
            values ($1, $2, $3, $4, $5)
        "#,
        seq,
        line,
        one.place,
        one.from,
        one.to
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Moves a place in the tree, if it is where the entry says it was.
async fn carry(db: &mut SqliteConnection, one: &PlaceMove) -> Result<(), NotAppended> {
    if let Some(to) = one.to {
        let place = one.place;
        let in_itself = sqlx::query_scalar!(
            r#"
                with recursive above (id) as (
                    select $1
                    union
                    select place.parent_id
                    from above
                    join place on place.id = above.id
                    where place.parent_id is not null
                )
                select exists (select 1 from above where id = $2) as "found: bool"
            "#,
            to,
            place
        )
        .fetch_one(&mut *db)
        .await?;
        if in_itself {
            return Err(NotAppended::InItself { place });
        }
    }
    let carried = sqlx::query!(
        r#"update place set parent_id = $1 where id = $2 and parent_id is $3"#,
        one.to,
        one.place,
        one.from
    )
    .execute(db)
    .await?
    .rows_affected();
    if carried == 1 {
        Ok(())
    } else {
        Err(NotAppended::CarriedElsewhere { place: one.place })
    }
}

async fn insert_mark(
    db: &mut SqliteConnection,
    seq: Seq,
    line: i64,
    one: &CountMark,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into count_mark (entry_seq, line, part_id, kit_id, place_id, qty)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        seq,
        line,
        one.part,
        one.kit,
        one.place,
        one.qty
    )
    .execute(db)
    .await?;
    Ok(())
}

async fn mark(db: &mut SqliteConnection, seq: Seq, one: &CountMark) -> sqlx::Result<()> {
    let outside = Outside::from_place(one.place).is_some();
    let marked = sqlx::query!(
        r#"
            update balance
            set counted_seq = $1
            where place_id = $2 and part_id = $3 and kit_id = $4
        "#,
        seq,
        one.place,
        one.part,
        one.kit
    )
    .execute(&mut *db)
    .await?
    .rows_affected();
    if marked == 0 {
        // "None here" is knowledge too.
        sqlx::query!(
            r#"
                insert into balance (place_id, part_id, kit_id, state, outside, qty, counted_seq)
                values ($1, $2, $3, 'good', $5, 0, $4)
            "#,
            one.place,
            one.part,
            one.kit,
            seq,
            outside
        )
        .execute(db)
        .await?;
    }
    Ok(())
}
