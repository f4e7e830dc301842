//! The lines of the packing slip.

use sqlx::SqliteConnection;

use crate::ids::{KitId, PartId, PlaceId};

/// Whether anything was counted in a place of the kit, is in one, or a count that is open goes by what
/// its slip says.
pub async fn started(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<bool> {
    sqlx::query_scalar!(
        r#"
            select exists (
                select 1 from place
                where place.kit_id = $1 and (
                    exists (select 1 from count_mark where count_mark.place_id = place.id)
                    or exists (
                        select 1 from balance
                        where balance.place_id = place.id and balance.qty <> 0
                    )
                    or exists (
                        select 1
                        from stint
                        join stint_total on stint_total.stint_id = stint.id
                        where stint.place_id = place.id
                    )
                )
            ) or exists (
                select 1
                from count_sheet
                join count_line on count_line.count_id = count_sheet.id
                where count_sheet.kit_id = $1 and count_sheet.closed_at is null
            ) as "yes!: bool"
        "#,
        kit
    )
    .fetch_one(db)
    .await
}

/// Takes the slip's lines off every place of a kit.
pub async fn clear_lines(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<()> {
    sqlx::query!(
        r#"delete from packing_line where place_id in (select id from place where kit_id = $1)"#,
        kit
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn insert_line(
    db: &mut SqliteConnection,
    place: PlaceId,
    part: PartId,
    qty: i64,
    position: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into packing_line (place_id, part_id, qty, position) values ($1, $2, $3, $4)"#,
        place,
        part,
        qty,
        position
    )
    .execute(db)
    .await?;
    Ok(())
}
