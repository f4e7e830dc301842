//! Tallies and their sums.

use sqlx::SqliteConnection;

use super::super::rules::second::TapBy;
use super::super::rules::tally::Standing;
use crate::clock::Instant;
use crate::ids::{CountId, PartId, PersonId, PlaceId, StintId, TallyId};

/// A tap as it was recorded.
#[derive(Debug, Clone)]
pub struct Tally {
    pub id: TallyId,
    pub stint: StintId,
    pub part: PartId,
    pub amount: i64,
    pub undoes: Option<TallyId>,
    pub person: PersonId,
    pub person_name: String,
    pub recorded_at: Instant,
    pub undone: bool,
    /// It was reckoned from a weight.
    pub weighed: bool,
    pub late: bool,
}

pub async fn tally(db: &mut SqliteConnection, tally: TallyId) -> sqlx::Result<Option<Tally>> {
    sqlx::query_as!(
        Tally,
        r#"
            select
                tally.id as "id: TallyId",
                tally.stint_id as "stint: StintId",
                tally.part_id as "part: PartId",
                tally.amount,
                tally.undoes as "undoes: TallyId",
                tally.person_id as "person: PersonId",
                person.name as person_name,
                tally.recorded_at as "recorded_at: Instant",
                exists (select 1 from tally as later where later.undoes = tally.id)
                    as "undone: bool",
                exists (select 1 from weighing where weighing.tally_id = tally.id)
                    as "weighed!: bool",
                tally.late as "late: bool"
            from tally
            join person on person.id = tally.person_id
            where tally.id = $1
        "#,
        tally
    )
    .fetch_optional(db)
    .await
}

/// The latest taps on a line, latest first, at most `limit`.
pub async fn on_line(
    db: &mut SqliteConnection,
    stint: StintId,
    part: PartId,
    limit: i64,
) -> sqlx::Result<Vec<Tally>> {
    sqlx::query_as!(
        Tally,
        r#"
            select
                tally.id as "id: TallyId",
                tally.stint_id as "stint: StintId",
                tally.part_id as "part: PartId",
                tally.amount,
                tally.undoes as "undoes: TallyId",
                tally.person_id as "person: PersonId",
                person.name as person_name,
                tally.recorded_at as "recorded_at: Instant",
                exists (select 1 from tally as later where later.undoes = tally.id)
                    as "undone: bool",
                exists (select 1 from weighing where weighing.tally_id = tally.id)
                    as "weighed!: bool",
                tally.late as "late: bool"
            from tally
            join person on person.id = tally.person_id
            where tally.stint_id = $1 and tally.part_id = $2
            order by tally.n desc
            limit $3
        "#,
        stint,
        part,
        limit
    )
    .fetch_all(db)
    .await
}

/// Every tap of a line that is in its total, and the tap each takes back.
pub async fn line_taps(
    db: &mut SqliteConnection,
    stint: StintId,
    part: PartId,
) -> sqlx::Result<Vec<(TallyId, Option<TallyId>)>> {
    let rows = sqlx::query!(
        r#"
            select id as "id: TallyId", undoes as "undoes: TallyId"
            from tally
            where stint_id = $1 and part_id = $2 and late = 0
        "#,
        stint,
        part
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.undoes)).collect())
}

/// The taps of those stints of a count that more than one person made, in the order in which they came.
pub async fn taps_of_many_hands(
    db: &mut SqliteConnection,
    count: CountId,
) -> sqlx::Result<Vec<TapBy>> {
    sqlx::query_as!(
        TapBy,
        r#"
            select
                tally.stint_id as "stint!: StintId",
                stint.place_id as "place!: PlaceId",
                tally.part_id as "part!: PartId",
                tally.person_id as "person!: PersonId"
            from stint
            join tally on tally.stint_id = stint.id and tally.late = 0
            where stint.count_id = $1
                and stint.id in (
                    select many.id
                    from stint as many
                    join tally as made on made.stint_id = many.id
                    where many.count_id = $1
                    group by many.id
                    having count(distinct made.person_id) > 1
                )
            order by tally.n
        "#,
        count
    )
    .fetch_all(db)
    .await
}

pub struct NewTally {
    pub id: TallyId,
    pub stint: StintId,
    pub part: PartId,
    pub amount: i64,
    pub shown: Option<i64>,
    pub undoes: Option<TallyId>,
    pub person: PersonId,
    pub done_at: Instant,
    pub recorded_at: Instant,
    pub late: bool,
}

pub async fn insert(db: &mut SqliteConnection, new: &NewTally) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into tally (
                id, stint_id, part_id, amount, shown, undoes, person_id, done_at, recorded_at, late
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
        "#,
        new.id,
        new.stint,
        new.part,
        new.amount,
        new.shown,
        new.undoes,
        new.person,
        new.done_at,
        new.recorded_at,
        new.late
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What stands in a line of a stint.
pub async fn standing(
    db: &mut SqliteConnection,
    stint: StintId,
    part: PartId,
) -> sqlx::Result<Standing> {
    let row = sqlx::query!(
        r#"
            select qty, doubted as "doubted: bool"
            from stint_total
            where stint_id = $1 and part_id = $2
        "#,
        stint,
        part
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map_or(Standing::default(), |row| Standing {
        total: Some(row.qty),
        doubted: row.doubted,
    }))
}

pub async fn set_standing(
    db: &mut SqliteConnection,
    stint: StintId,
    part: PartId,
    qty: i64,
    doubted: bool,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into stint_total (stint_id, part_id, qty, doubted)
            values ($1, $2, $3, $4)
            on conflict (stint_id, part_id) do update
            set qty = excluded.qty, doubted = excluded.doubted
        "#,
        stint,
        part,
        qty,
        doubted
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The line is not counted, as before its first tap.
pub async fn blank(db: &mut SqliteConnection, stint: StintId, part: PartId) -> sqlx::Result<()> {
    sqlx::query!(
        r#"delete from stint_total where stint_id = $1 and part_id = $2"#,
        stint,
        part
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What stands in every counted line of a stint.
pub async fn totals(
    db: &mut SqliteConnection,
    stint: StintId,
) -> sqlx::Result<Vec<(PartId, Standing)>> {
    let rows = sqlx::query!(
        r#"
            select part_id as "part: PartId", qty, doubted as "doubted: bool"
            from stint_total
            where stint_id = $1
        "#,
        stint
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| {
            let standing = Standing {
                total: Some(row.qty),
                doubted: row.doubted,
            };
            (row.part, standing)
        })
        .collect())
}

/// What the late taps of a stint add up to, part by part.
pub async fn late_amounts(
    db: &mut SqliteConnection,
    stint: StintId,
) -> sqlx::Result<Vec<(PartId, i64)>> {
    let rows = sqlx::query!(
        r#"
            select part_id as "part: PartId", sum(amount) as "amount!: i64"
            from tally
            where stint_id = $1 and late = 1
            group by part_id
        "#,
        stint
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.part, row.amount)).collect())
}
