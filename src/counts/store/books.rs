//! What the books say, as far as counting asks.

use sqlx::SqliteConnection;

use super::super::rules::close::Held;
use super::super::rules::facts::StintState;
use super::super::rules::total::Counted;
use crate::ids::{CountId, KitId, PartId, PlaceId, StintId};
use crate::ledger::State;

/// What each stint of a count counted of one part, and what the books hold of it place by place.
/// Asked at every tap, so it reads the rows of this part only.
pub async fn part_counted(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
    part: PartId,
) -> sqlx::Result<(Vec<Counted>, Vec<(PlaceId, i64)>)> {
    let counted = sqlx::query_as!(
        Counted,
        r#"
            select
                stint.id as "stint: StintId",
                stint.place_id as "place: PlaceId",
                stint.state as "state: StintState",
                stint_total.qty,
                exists (
                    select 1 from settlement
                    where settlement.count_id = stint.count_id
                        and settlement.place_id = stint.place_id
                        and settlement.part_id = stint_total.part_id
                        and settlement.stint_id = stint.id
                ) as "chosen: bool"
            from stint
            join stint_total on stint_total.stint_id = stint.id and stint_total.part_id = $2
            where stint.count_id = $1
            order by stint.began_at, stint.id
        "#,
        count,
        part
    )
    .fetch_all(&mut *db)
    .await?;
    let book = sqlx::query!(
        r#"
            select place_id as "place: PlaceId", qty
            from balance
            where kit_id = $1 and part_id = $2 and outside = 0 and qty > 0
        "#,
        kit,
        part
    )
    .fetch_all(db)
    .await?;
    let book = book.into_iter().map(|row| (row.place, row.qty)).collect();
    Ok((counted, book))
}

/// What the books hold of a kit in the places of a count, by state.
pub async fn held(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Held> {
    let rows = sqlx::query!(
        r#"
            select
                place_id as "place: PlaceId",
                part_id as "part: PartId",
                state as "state: State",
                qty
            from balance
            where kit_id = $1 and outside = 0 and qty > 0
        "#,
        kit
    )
    .fetch_all(db)
    .await?;
    let mut held = Held::new();
    for row in rows {
        held.entry((row.place, row.part))
            .or_default()
            .insert(row.state, row.qty);
    }
    Ok(held)
}
