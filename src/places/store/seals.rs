//! The queries about seals.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{PersonId, PlaceId};
use crate::ledger::Seq;
use crate::places::rules::seals::{Contents, Found, Kind, Step};

/// Adds a step as the next one.
pub async fn add_step(db: &mut SqliteConnection, place: PlaceId, step: &Step) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into seal_step (
                place_id, line, kind, number, found, words, seq, undoes, person_id, done_at
            )
            values (
                $1,
                (select coalesce(max(line), 0) + 1 from seal_step where place_id = $1),
                $2, $3, $4, $5, $6, $7, $8, $9
            )
        "#,
        place,
        step.kind,
        step.number,
        step.found,
        step.words,
        step.seq,
        step.undoes,
        step.person,
        step.done_at
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn steps(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<Vec<Step>> {
    sqlx::query_as!(
        Step,
        r#"
            select
                line,
                kind as "kind: Kind",
                number,
                found as "found: Found",
                words,
                seq as "seq: Seq",
                undoes,
                person_id as "person: PersonId",
                done_at as "done_at: Instant"
            from seal_step
            where place_id = $1
            order by line
        "#,
        place
    )
    .fetch_all(db)
    .await
}

/// What is in a crate, and what reached into it after an entry: pieces or bags that went in or out, and
/// counts. What was last counted up to `doubted` is doubted.
pub async fn contents(
    db: &mut SqliteConnection,
    place: PlaceId,
    after: Seq,
    doubted: Seq,
) -> sqlx::Result<Contents> {
    let row = sqlx::query!(
        r#"
            with recursive inside (id) as (
                select $1
                union
                select place.id
                from inside
                join place on place.parent_id = inside.id
            )
            select
                count(*) as "lines!: i64",
                coalesce(sum(balance.counted_seq is null), 0) as "not_counted!: i64",
                coalesce(sum(coalesce(balance.counted_seq, 0) <= $3), 0) as "doubted!: i64",
                min(entry.done_at) as "counted_at?: Instant",
                (
                    select min(
                        coalesce((
                            select min(move.entry_seq) from move
                            where move.from_place_id = inside.id and move.entry_seq > $2
                        ), 9223372036854775807),
                        coalesce((
                            select min(move.entry_seq) from move
                            where move.to_place_id = inside.id and move.entry_seq > $2
                        ), 9223372036854775807),
                        coalesce((
                            select min(place_move.entry_seq) from place_move
                            where place_move.from_parent_id = inside.id
                                and place_move.entry_seq > $2
                        ), 9223372036854775807),
                        coalesce((
                            select min(place_move.entry_seq) from place_move
                            where place_move.to_parent_id = inside.id
                                and place_move.entry_seq > $2
                        ), 9223372036854775807),
                        coalesce((
                            select min(count_mark.entry_seq) from count_mark
                            where count_mark.place_id = inside.id and count_mark.entry_seq > $2
                        ), 9223372036854775807)
                    ) as seq
                    from inside
                    order by seq
                    limit 1
                ) as "reached_into?: Seq"
            from inside
            join balance on balance.place_id = inside.id and balance.qty > 0
            left join entry on entry.seq = balance.counted_seq
        "#,
        place,
        after,
        doubted
    )
    .fetch_one(db)
    .await?;
    let many = |lines: i64| usize::try_from(lines).unwrap_or(0);
    Ok(Contents {
        lines: many(row.lines),
        not_counted: many(row.not_counted),
        counted_at: row.counted_at,
        reached_into: row.reached_into.filter(|seq| *seq != Seq::MAX),
        doubted: many(row.doubted),
    })
}

/// The place, or what it stands in, that bears a seal now, with its number: the outermost of them first.
pub async fn sealed_around(
    db: &mut SqliteConnection,
    place: PlaceId,
) -> sqlx::Result<Option<(PlaceId, String, String)>> {
    let row = sqlx::query!(
        r#"
            with recursive above (id, depth) as (
                select $1, 0
                union
                select place.parent_id, above.depth + 1
                from above
                join place on place.id = above.id
                where place.parent_id is not null
            ),
            last as (
                select
                    above.id,
                    above.depth,
                    (
                        select max(step.line)
                        from seal_step step
                        where step.place_id = above.id and step.kind <> 'taken back'
                            and not exists (
                                select 1 from seal_step later
                                where later.place_id = step.place_id and later.undoes = step.line
                            )
                    ) as line
                from above
            )
            select
                place.id as "place!: PlaceId",
                place.name as "name!",
                step.number as "number!"
            from last
            join seal_step step on step.place_id = last.id and step.line = last.line
            join place on place.id = last.id
            where step.kind = 'sealed'
            order by last.depth desc
            limit 1
        "#,
        place
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| (row.place, row.name, row.number)))
}
