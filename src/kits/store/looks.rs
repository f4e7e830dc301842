//! The queries about parts that are only looked at.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{KitId, PartId, PersonId, PlaceId};
use crate::kits::rules::looks::{Look, LookedAt, Said};

/// The parts of a kit that are only looked at: those of its list in its order, then those seen in it.
pub async fn looked_at(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<LookedAt>> {
    let rows = sqlx::query!(
        r#"
            with wanted (part_id, position, qty) as (
                select need.part_id, need.position, need.qty
                from kit
                join need on need.revision_id = kit.revision_id and need.size_id = kit.size_id
                where kit.id = $1
                union
                select look.part_id, 1000000, 0
                from look
                where look.kit_id = $1
                union
                select packing_line.part_id, 1000000, 0
                from place
                join packing_line on packing_line.place_id = place.id
                where place.kit_id = $1 and place.put_away_at is null
            )
            select
                part.id as "part!: PartId",
                part.number as "number!",
                part.name as "name!",
                part.colour as "colour!",
                part.essential as "essential!: bool",
                sum(wanted.qty) as "need!: i64"
            from wanted
            join part on part.id = wanted.part_id
            where part.counted_by = 'look'
            group by part.id
            order by min(wanted.position), part.name
        "#,
        kit
    )
    .fetch_all(&mut *db)
    .await?;
    // Most kits have none: nothing more is asked for them.
    if rows.is_empty() {
        return Ok(Vec::new());
    }
    let mut looks: HashMap<PartId, Vec<Look>> = HashMap::new();
    for (part, look) in latest(db, kit).await? {
        looks.entry(part).or_default().push(look);
    }
    let mut planned: HashMap<PartId, Vec<PlaceId>> = HashMap::new();
    for (part, place) in planned_places(db, kit).await? {
        planned.entry(part).or_default().push(place);
    }
    Ok(rows
        .into_iter()
        .map(|row| LookedAt {
            part: row.part,
            number: row.number,
            name: row.name,
            colour: row.colour,
            need: row.need,
            essential: row.essential,
            looks: looks.remove(&row.part).unwrap_or_default(),
            planned: planned.remove(&row.part).unwrap_or_default(),
        })
        .collect())
}

/// A look as it was written down.
struct LookRow {
    part: PartId,
    part_name: String,
    place: PlaceId,
    place_name: String,
    said: Said,
    by: String,
    at: Instant,
}

impl LookRow {
    fn look(self) -> Look {
        Look {
            place: self.place,
            place_name: self.place_name,
            said: self.said,
            by: self.by,
            at: self.at,
        }
    }
}

/// Looks with their part, place and person, narrowed and ordered by the rest of the query.
macro_rules! looks {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            LookRow,
            r#"
            select
                look.part_id as "part!: PartId",
                part.name as "part_name!",
                look.place_id as "place!: PlaceId",
                place.name as "place_name!",
                look.said as "said!: Said",
                person.name as "by!",
                look.at as "at!: Instant"
            from look
            join part on part.id = look.part_id
            join place on place.id = look.place_id
            join person on person.id = look.person_id
            "# + $rest
            $(, $value)*
        )
    };
}

/// The last look at each part in each place that is not put away.
async fn latest(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<(PartId, Look)>> {
    let rows = looks!(
        r#"
            where look.kit_id = $1
                and place.put_away_at is null
                and look.n in (
                    select max(n) from look where kit_id = $1 group by part_id, place_id
                )
            order by place.position, place.name
        "#,
        kit
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.part, row.look())).collect())
}

/// Every look at a kit's parts, the newest first, at most `limit`: part, look.
pub async fn earlier(
    db: &mut SqliteConnection,
    kit: KitId,
    limit: i64,
) -> sqlx::Result<Vec<(String, Look)>> {
    let rows = looks!(
        r#"
            where look.kit_id = $1
            order by look.n desc
            limit $2
        "#,
        kit,
        limit
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.part_name.clone(), row.look()))
        .collect())
}

async fn planned_places(
    db: &mut SqliteConnection,
    kit: KitId,
) -> sqlx::Result<Vec<(PartId, PlaceId)>> {
    let rows = sqlx::query!(
        r#"
            select
                packing_line.part_id as "part: PartId",
                packing_line.place_id as "place: PlaceId"
            from place
            join packing_line on packing_line.place_id = place.id
            where place.kit_id = $1 and place.put_away_at is null
            order by place.position, place.name
        "#,
        kit
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.part, row.place)).collect())
}

/// The crates and bags of a kit that are in use, in their order.
pub async fn places_to_look(
    db: &mut SqliteConnection,
    kit: KitId,
) -> sqlx::Result<Vec<(PlaceId, String)>> {
    let rows = sqlx::query!(
        r#"
            select id as "id: PlaceId", name
            from place
            where kit_id = $1 and put_away_at is null
            order by position
        "#,
        kit
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}

/// Whether a part is only looked at; `None` if there is no such part.
pub async fn is_looked_at(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Option<bool>> {
    sqlx::query_scalar!(
        r#"select counted_by = 'look' as "is!: bool" from part where id = $1"#,
        part
    )
    .fetch_optional(db)
    .await
}

/// Whether a place belongs to the kit's team and is in use, so that pieces of the kit may be there.
pub async fn may_hold(db: &mut SqliteConnection, kit: KitId, place: PlaceId) -> sqlx::Result<bool> {
    sqlx::query_scalar!(
        r#"
            select exists (
                select 1
                from kit
                join place on place.team_id = kit.team_id
                where kit.id = $1 and place.id = $2 and place.put_away_at is null
            ) as "is!: bool"
        "#,
        kit,
        place
    )
    .fetch_one(db)
    .await
}

pub async fn insert_look(
    db: &mut SqliteConnection,
    (kit, part, place): (KitId, PartId, PlaceId),
    said: Said,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into look (kit_id, part_id, place_id, said, person_id, at)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        kit,
        part,
        place,
        said,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}
