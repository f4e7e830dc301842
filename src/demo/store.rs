//! The few questions that only filling the demo asks.

use sqlx::SqliteConnection;

use crate::ids::{KitId, PartId, PlaceId};

/// The parts with this number.
pub async fn with_number(db: &mut SqliteConnection, number: &str) -> sqlx::Result<Vec<PartId>> {
    sqlx::query_scalar!(
        r#"select id as "id: PartId" from part where number = $1"#,
        number
    )
    .fetch_all(db)
    .await
}

/// What the packing slip says a bag holds, in its order.
pub async fn slip_of(
    db: &mut SqliteConnection,
    place: PlaceId,
) -> sqlx::Result<Vec<(PartId, i64)>> {
    let rows = sqlx::query!(
        r#"
            select part_id as "part: PartId", qty
            from packing_line
            where place_id = $1
            order by position
        "#,
        place
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.part, row.qty)).collect())
}

/// The assembly, part and quantity of each line of a kit's list, for its size. Every assembly of last
/// season's field stands in it once.
pub async fn need_by_assembly(
    db: &mut SqliteConnection,
    kit: KitId,
) -> sqlx::Result<Vec<(String, PartId, i64)>> {
    let rows = sqlx::query!(
        r#"
            select
                assembly.name as "assembly!",
                list_line.part_id as "part!: PartId",
                list_quantity.qty as "qty!"
            from kit
            join list_line on list_line.revision_id = kit.revision_id
            join list_quantity
                on list_quantity.line_id = list_line.id and list_quantity.size_id = kit.size_id
            join assembly on assembly.id = list_line.assembly_id
            where kit.id = $1 and list_line.part_id is not null
            order by list_line.position
        "#,
        kit
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.assembly, row.part, row.qty))
        .collect())
}
