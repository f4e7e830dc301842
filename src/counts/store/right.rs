//! The lines that were counted again, with what counting changed.

use sqlx::SqliteConnection;

use super::super::rules::right::Line;
use crate::clock::Instant;
use crate::ids::{CountId, PartId, PlaceId, TeamId};

/// Every line of a team's closed counts of kits that were in the books before, counts that were taken back
/// left out. Pieces that counting moved from one place to another changed both places.
pub async fn counted_again(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Line>> {
    sqlx::query_as!(
        Line,
        r#"
            select
                count_sheet.id as "count: CountId",
                kit.name as kit_name,
                count_sheet.closed_at as "closed_at!: Instant",
                part.id as "part: PartId",
                trim(part.name || ', ' || part.colour, ', ') as "part_name!: String",
                place.id as "place: PlaceId",
                place.name as place_name,
                count_mark.qty as counted,
                (
                    select coalesce(sum(
                        case
                            when move.to_place_id = count_mark.place_id
                                and move.to_kit_id = count_mark.kit_id then move.qty
                            else 0
                        end
                        - case
                            when move.from_place_id = count_mark.place_id
                                and move.from_kit_id = count_mark.kit_id then move.qty
                            else 0
                        end
                    ), 0)
                    from move
                    where move.entry_seq = count_mark.entry_seq
                        and move.part_id = count_mark.part_id
                ) as "change!: i64"
            from kit
            join count_sheet on count_sheet.kit_id = kit.id
            join count_mark on count_mark.entry_seq = count_sheet.closing_seq
            join part on part.id = count_mark.part_id
            join place on place.id = count_mark.place_id
            where kit.team_id = $1
                and count_sheet.purpose = 'recount'
                and count_sheet.reopened_as is null
            order by count_sheet.closed_at desc, kit.name, place.name, part.name, part.id
        "#,
        team
    )
    .fetch_all(db)
    .await
}
