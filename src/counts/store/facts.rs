//! Reads everything that is known about a count, for comparing and closing it.

use sqlx::SqliteConnection;

use super::super::rules::facts::{CountFacts, Due, StintFacts, Touch};
use super::super::rules::tally::Standing;
use super::stints::Stint;
use crate::ids::{CountId, KitId, PartId, PlaceId, StintId};
use crate::ledger::Seq;

/// The facts of a count, given its stints.
pub async fn facts(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
    stints: &[Stint],
) -> sqlx::Result<CountFacts> {
    let mut facts = CountFacts {
        stints: stints
            .iter()
            .map(|stint| StintFacts {
                id: stint.id,
                place: stint.place,
                state: stint.state,
                began: stint.began_seq,
                ended: stint.done_seq,
            })
            .collect(),
        ..CountFacts::default()
    };
    due(db, count, &mut facts).await?;
    totals(db, count, &mut facts).await?;
    chosen(db, count, &mut facts).await?;
    if let Some(first) = facts.stints.iter().map(|stint| stint.began).min() {
        touches(db, count, kit, first, &mut facts).await?;
    }
    Ok(facts)
}

async fn due(
    db: &mut SqliteConnection,
    count: CountId,
    facts: &mut CountFacts,
) -> sqlx::Result<()> {
    let rows = sqlx::query!(
        r#"
            select place_id as "place: PlaceId", part_id as "part: PartId", position, due
            from count_line
            where count_id = $1
        "#,
        count
    )
    .fetch_all(db)
    .await?;
    facts.due = rows
        .into_iter()
        .map(|row| {
            let due = Due {
                position: row.position,
                qty: row.due,
            };
            ((row.place, row.part), due)
        })
        .collect();
    Ok(())
}

async fn totals(
    db: &mut SqliteConnection,
    count: CountId,
    facts: &mut CountFacts,
) -> sqlx::Result<()> {
    let rows = sqlx::query!(
        r#"
            select
                stint_total.stint_id as "stint: StintId",
                stint_total.part_id as "part: PartId",
                stint_total.qty,
                stint_total.doubted as "doubted: bool"
            from stint
            join stint_total on stint_total.stint_id = stint.id
            where stint.count_id = $1
        "#,
        count
    )
    .fetch_all(db)
    .await?;
    facts.totals = rows
        .into_iter()
        .map(|row| {
            let standing = Standing {
                total: Some(row.qty),
                doubted: row.doubted,
            };
            ((row.stint, row.part), standing)
        })
        .collect();
    Ok(())
}

async fn chosen(
    db: &mut SqliteConnection,
    count: CountId,
    facts: &mut CountFacts,
) -> sqlx::Result<()> {
    let rows = sqlx::query!(
        r#"
            select
                place_id as "place: PlaceId",
                part_id as "part: PartId",
                stint_id as "stint: StintId"
            from settlement
            where count_id = $1
        "#,
        count
    )
    .fetch_all(db)
    .await?;
    facts.chosen = rows
        .into_iter()
        .map(|row| ((row.place, row.part), row.stint))
        .collect();
    Ok(())
}

/// What entered and left the counted places after the first stint began. Going from one state to another
/// in the same place is neither.
async fn touches(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
    after: Seq,
    facts: &mut CountFacts,
) -> sqlx::Result<()> {
    let rows = sqlx::query!(
        r#"
            with counted (id) as (select distinct place_id from stint where count_id = $1)
            select
                counted.id as "place!: PlaceId",
                move.part_id as "part!: PartId",
                move.entry_seq as "seq!: i64",
                entry.corrects_seq as "corrects?: i64",
                -move.qty as "delta!: i64"
            from counted
            join move on move.from_place_id = counted.id and move.entry_seq > $2
            join entry on entry.seq = move.entry_seq
            where move.from_kit_id = $3
                and not (move.to_place_id = move.from_place_id and move.to_kit_id = move.from_kit_id)
            union all
            select
                counted.id,
                move.part_id,
                move.entry_seq,
                entry.corrects_seq,
                move.qty
            from counted
            join move on move.to_place_id = counted.id and move.entry_seq > $2
            join entry on entry.seq = move.entry_seq
            where move.to_kit_id = $3
                and not (move.to_place_id = move.from_place_id and move.to_kit_id = move.from_kit_id)
        "#,
        count,
        after,
        kit
    )
    .fetch_all(db)
    .await?;
    for row in rows {
        facts
            .touches
            .entry((row.place, row.part))
            .or_default()
            .push(Touch {
                seq: row.seq,
                corrects: row.corrects,
                delta: row.delta,
            });
    }
    Ok(())
}
