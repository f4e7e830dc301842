//! The query about what counts found.

use sqlx::SqliteConnection;

use super::rules::Counted;
use crate::clock::Instant;
use crate::ids::{CountId, PartId, TeamId};

/// The lines of a team's later counts that were closed and not opened again, the newest counts first.
pub async fn counted(
    db: &mut SqliteConnection,
    team: TeamId,
    counts: i64,
) -> sqlx::Result<Vec<Counted>> {
    sqlx::query_as!(
        Counted,
        r#"
            with closed as (
                select
                    count_sheet.id,
                    count_sheet.closing_seq,
                    count_sheet.closed_at,
                    kit.name as kit_name
                from kit
                join count_sheet on count_sheet.kit_id = kit.id
                where kit.team_id = $1
                    and count_sheet.purpose = 'recount'
                    and count_sheet.closing_seq is not null
                    and count_sheet.reopened_as is null
                order by count_sheet.closed_at desc, count_sheet.id
                limit $2
            )
            select
                closed.id as "count!: CountId",
                closed.kit_name as "kit_name!",
                closed.closed_at as "closed_at!: Instant",
                mark.part_id as "part!: PartId",
                trim(part.number || ' ' || part.name)
                    || case when part.colour = '' then '' else ', ' || part.colour end
                    as "part_words!: String",
                mark.qty as "counted!: i64",
                mark.qty - coalesce(
                    (
                        select sum(
                            case
                                when move.to_place_id = mark.place_id
                                    and move.to_kit_id = mark.kit_id then move.qty
                                else 0
                            end
                            - case
                                when move.from_place_id = mark.place_id
                                    and move.from_kit_id = mark.kit_id then move.qty
                                else 0
                            end
                        )
                        from move
                        where move.entry_seq = mark.entry_seq and move.part_id = mark.part_id
                    ),
                    0
                ) as "book!: i64"
            from closed
            cross join count_mark mark on mark.entry_seq = closed.closing_seq
            join part on part.id = mark.part_id
            order by closed.closed_at desc, closed.id, mark.line
        "#,
        team,
        counts
    )
    .fetch_all(db)
    .await
}
