//! The queries about parts that may stand in for others.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{PartId, PersonId};
use crate::parts::stand_ins::Allowed;

/// One part may stand in for another.
#[derive(Debug, Clone)]
pub struct StandIn {
    pub n: i64,
    pub part: PartId,
    pub part_words: String,
    pub for_part: PartId,
    pub for_words: String,
    pub allowed: Allowed,
    pub said_by: String,
    pub said_at: Instant,
    pub ended_at: Option<Instant>,
}

/// Everything that was said about a part standing in or being stood in for, the newest first.
pub async fn of_part(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Vec<StandIn>> {
    sqlx::query_as!(
        StandIn,
        r#"
            select
                stand_in.n as "n!",
                stand_in.part_id as "part!: PartId",
                trim(one.number || ' ' || one.name)
                    || case when one.colour = '' then '' else ', ' || one.colour end
                    as "part_words!: String",
                stand_in.for_part_id as "for_part!: PartId",
                trim(other.number || ' ' || other.name)
                    || case when other.colour = '' then '' else ', ' || other.colour end
                    as "for_words!: String",
                stand_in.allowed as "allowed!: Allowed",
                person.name as "said_by!",
                stand_in.said_at as "said_at!: Instant",
                stand_in.ended_at as "ended_at?: Instant"
            from stand_in
            join part one on one.id = stand_in.part_id
            join part other on other.id = stand_in.for_part_id
            join person on person.id = stand_in.said_by
            where stand_in.part_id = $1 or stand_in.for_part_id = $1
            order by stand_in.n desc
        "#,
        part
    )
    .fetch_all(db)
    .await
}

/// All that hold now.
pub async fn holding(db: &mut SqliteConnection) -> sqlx::Result<Vec<(PartId, PartId, Allowed)>> {
    let rows = sqlx::query!(
        r#"
            select
                part_id as "part: PartId",
                for_part_id as "for_part: PartId",
                allowed as "allowed: Allowed"
            from stand_in
            where ended_at is null
            order by n
        "#
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.part, row.for_part, row.allowed))
        .collect())
}

/// Parts that bear this number or name, or name and colour; three at most.
pub async fn called(db: &mut SqliteConnection, words: &str) -> sqlx::Result<Vec<PartId>> {
    sqlx::query_scalar!(
        r#"
            select id as "id: PartId"
            from part
            where number = $1 collate nocase
                or name = $1 collate nocase
                or (name || ', ' || colour) = $1 collate nocase
                or (number || ' ' || name) = $1 collate nocase
                or (number || ' ' || name || ', ' || colour) = $1 collate nocase
            limit 3
        "#,
        words
    )
    .fetch_all(db)
    .await
}

pub async fn insert(
    db: &mut SqliteConnection,
    part: PartId,
    for_part: PartId,
    allowed: Allowed,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into stand_in (part_id, for_part_id, allowed, said_by, said_at)
            values ($1, $2, $3, $4, $5)
        "#,
        part,
        for_part,
        allowed,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Ends it, and answers whether it held until now.
pub async fn end(
    db: &mut SqliteConnection,
    part: PartId,
    n: i64,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<bool> {
    let done = sqlx::query!(
        r#"
            update stand_in
            set ended_by = $3, ended_at = $4
            where n = $2 and (part_id = $1 or for_part_id = $1) and ended_at is null
        "#,
        part,
        n,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(done.rows_affected() == 1)
}
