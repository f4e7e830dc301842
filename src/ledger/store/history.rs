//! Which entries touched a part, a kit or a place. One query for each question, so that each uses the
//! index made for it.

use sqlx::SqliteConnection;

use crate::ids::{KitId, PartId, PlaceId};
use crate::ledger::entry::Seq;

/// Which entries a history asks for. Every field given narrows it.
#[derive(Debug, Clone, Copy, Default)]
pub struct Line {
    pub part: Option<PartId>,
    pub kit: Option<KitId>,
    pub place: Option<PlaceId>,
    /// Only entries before this one, for the next page.
    pub before: Option<Seq>,
}

/// The sequence numbers of the latest entries that touched a part, a kit, a place, or all of what is
/// given together, latest first, at most `limit`.
pub async fn history(db: &mut SqliteConnection, line: Line, limit: i64) -> sqlx::Result<Vec<Seq>> {
    let before = line.before.unwrap_or(Seq::MAX);
    match (line.place, line.kit, line.part) {
        (Some(place), kit, part) => of_place(db, place, kit, part, before, limit).await,
        (None, Some(kit), Some(part)) => of_part_in_kit(db, part, kit, before, limit).await,
        (None, Some(kit), None) => of_kit(db, kit, before, limit).await,
        (None, None, Some(part)) => of_part(db, part, before, limit).await,
        (None, None, None) => latest(db, before, limit).await,
    }
}

async fn of_place(
    db: &mut SqliteConnection,
    place: PlaceId,
    kit: Option<KitId>,
    part: Option<PartId>,
    before: Seq,
    limit: i64,
) -> sqlx::Result<Vec<Seq>> {
    sqlx::query_scalar!(
        r#"
            select seq as "seq!: i64"
            from (
                select * from (
                    select distinct entry_seq as seq
                    from move
                    where from_place_id = $1 and entry_seq < $4
                        and ($2 is null or from_kit_id = $2 or to_kit_id = $2)
                        and ($3 is null or part_id = $3)
                    order by entry_seq desc
                    limit $5
                )
                union
                select * from (
                    select distinct entry_seq as seq
                    from move
                    where to_place_id = $1 and entry_seq < $4
                        and ($2 is null or from_kit_id = $2 or to_kit_id = $2)
                        and ($3 is null or part_id = $3)
                    order by entry_seq desc
                    limit $5
                )
                union
                select entry_seq as seq
                from count_mark
                where place_id = $1 and entry_seq < $4
                    and ($2 is null or kit_id = $2)
                    and ($3 is null or part_id = $3)
                union
                select entry_seq as seq
                from place_move
                where place_id = $1 and entry_seq < $4 and $3 is null
                union
                select * from (
                    select distinct entry_seq as seq
                    from place_move
                    where from_parent_id = $1 and entry_seq < $4 and $3 is null
                    order by entry_seq desc
                    limit $5
                )
                union
                select * from (
                    select distinct entry_seq as seq
                    from place_move
                    where to_parent_id = $1 and entry_seq < $4 and $3 is null
                    order by entry_seq desc
                    limit $5
                )
            )
            order by seq desc
            limit $5
        "#,
        place,
        kit,
        part,
        before,
        limit
    )
    .fetch_all(db)
    .await
}

async fn of_part_in_kit(
    db: &mut SqliteConnection,
    part: PartId,
    kit: KitId,
    before: Seq,
    limit: i64,
) -> sqlx::Result<Vec<Seq>> {
    sqlx::query_scalar!(
        r#"
            select seq as "seq!: i64"
            from (
                select entry_seq as seq
                from move
                where part_id = $1 and from_kit_id = $2 and entry_seq < $3
                union
                select entry_seq as seq
                from move
                where part_id = $1 and to_kit_id = $2 and entry_seq < $3
                union
                select entry_seq as seq
                from count_mark
                where kit_id = $2 and part_id = $1 and entry_seq < $3
            )
            order by seq desc
            limit $4
        "#,
        part,
        kit,
        before,
        limit
    )
    .fetch_all(db)
    .await
}

async fn of_kit(
    db: &mut SqliteConnection,
    kit: KitId,
    before: Seq,
    limit: i64,
) -> sqlx::Result<Vec<Seq>> {
    sqlx::query_scalar!(
        r#"
            select seq as "seq!: i64"
            from (
                select * from (
                    select distinct entry_seq as seq
                    from move
                    where from_kit_id = $1 and entry_seq < $2
                    order by entry_seq desc
                    limit $3
                )
                union
                select entry_seq as seq
                from move
                where to_kit_id = $1 and to_kit_id <> from_kit_id and entry_seq < $2
                union
                select entry_seq as seq
                from count_mark
                where kit_id = $1 and entry_seq < $2
                union
                select place_move.entry_seq as seq
                from place
                join place_move on place_move.place_id = place.id
                where place.kit_id = $1 and place_move.entry_seq < $2
            )
            order by seq desc
            limit $3
        "#,
        kit,
        before,
        limit
    )
    .fetch_all(db)
    .await
}

async fn of_part(
    db: &mut SqliteConnection,
    part: PartId,
    before: Seq,
    limit: i64,
) -> sqlx::Result<Vec<Seq>> {
    sqlx::query_scalar!(
        r#"
            select seq as "seq!: i64"
            from (
                select entry_seq as seq
                from move
                where part_id = $1 and entry_seq < $2
                union
                select entry_seq as seq
                from count_mark
                where part_id = $1 and entry_seq < $2
            )
            order by seq desc
            limit $3
        "#,
        part,
        before,
        limit
    )
    .fetch_all(db)
    .await
}

async fn latest(db: &mut SqliteConnection, before: Seq, limit: i64) -> sqlx::Result<Vec<Seq>> {
    sqlx::query_scalar!(
        r#"select seq from entry where seq < $1 order by seq desc limit $2"#,
        before,
        limit
    )
    .fetch_all(db)
    .await
}
