//! Where the pieces of a kit are and should be, and when they were counted.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::code::Code;
use crate::ids::{CountId, KitId, PartId, PlaceId};
use crate::kits::rules::Spot;

/// The last count of a kit that was closed and not taken back.
#[derive(Debug, Clone)]
pub struct LastCount {
    pub id: CountId,
    pub closed_at: Instant,
    pub is_arrival: bool,
    pub more_to_come: bool,
}

pub async fn last_count(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Option<LastCount>> {
    sqlx::query_as!(
        LastCount,
        r#"
            select
                id as "id: CountId",
                closed_at as "closed_at!: Instant",
                purpose = 'arrival' as "is_arrival!: bool",
                coalesce(more_to_come, 0) as "more_to_come!: bool"
            from count_sheet
            where kit_id = $1 and closed_at is not null and reopened_as is null
            order by closed_at desc
            limit 1
        "#,
        kit
    )
    .fetch_optional(db)
    .await
}

/// Every place in which a part of the kit is, was counted, or should be by the packing slip. Counts that
/// were taken back do not count.
pub async fn spots(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Spot>> {
    sqlx::query_as!(
        Spot,
        r#"
            with planned as (
                select packing_line.place_id, packing_line.part_id, packing_line.qty
                from place
                join packing_line on packing_line.place_id = place.id
                where place.kit_id = $1 and place.put_away_at is null
            ),
            held as (
                select
                    place_id,
                    part_id,
                    sum(case when state = 'good' then qty else 0 end) as good,
                    sum(case when state = 'doubtful' then qty else 0 end) as doubtful,
                    sum(case when state = 'practice only' then qty else 0 end) as practice_only,
                    sum(case when state = 'broken' then qty else 0 end) as broken
                from balance
                where kit_id = $1 and outside = 0 and qty > 0
                group by place_id, part_id
            ),
            marked as (
                select
                    count_mark.place_id,
                    count_mark.part_id,
                    max(count_mark.entry_seq) as entry_seq
                from count_sheet
                join count_mark on count_mark.entry_seq = count_sheet.closing_seq
                where count_sheet.kit_id = $1 and count_sheet.reopened_as is null
                group by count_mark.place_id, count_mark.part_id
            ),
            spot as (
                select place_id, part_id from planned
                union
                select place_id, part_id from held
                union
                select place_id, part_id from marked
            )
            select
                place.id as "place!: PlaceId",
                code.code as "code!: Code",
                place.name as "name!",
                spot.part_id as "part!: PartId",
                coalesce(planned.qty, 0) as "planned!: i64",
                coalesce(held.good, 0) as "good!: i64",
                coalesce(held.doubtful, 0) as "doubtful!: i64",
                coalesce(held.practice_only, 0) as "practice_only!: i64",
                coalesce(held.broken, 0) as "broken!: i64",
                entry.done_at as "counted_at?: Instant"
            from spot
            join place on place.id = spot.place_id
            join code on code.subject_id = place.id
            left join planned on planned.place_id = spot.place_id and planned.part_id = spot.part_id
            left join held on held.place_id = spot.place_id and held.part_id = spot.part_id
            left join marked on marked.place_id = spot.place_id and marked.part_id = spot.part_id
            left join entry on entry.seq = marked.entry_seq
            order by place.position, place.name
        "#,
        kit
    )
    .fetch_all(db)
    .await
}
