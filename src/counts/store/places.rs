//! The places a count goes over, and what came late.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::code::Code;
use crate::ids::{CountId, KitId, PlaceId, TeamId};
use crate::places::Kind;

/// A place that a count goes over.
#[derive(Debug, Clone)]
pub struct CountPlace {
    pub id: PlaceId,
    pub code: Code,
    pub kind: Kind,
    pub name: String,
    /// When it was counted last in the books, before this count is closed.
    pub counted_at: Option<Instant>,
}

/// The places of a count: those made for the kit, and those where it expects pieces or somebody counted.
pub async fn places(
    db: &mut SqliteConnection,
    count: CountId,
    kit: KitId,
) -> sqlx::Result<Vec<CountPlace>> {
    sqlx::query_as!(
        CountPlace,
        r#"
            select
                place.id as "id: PlaceId",
                code.code as "code: Code",
                place.kind as "kind: Kind",
                place.name,
                (
                    select max(entry.recorded_at)
                    from balance
                    join entry on entry.seq = balance.counted_seq
                    where balance.place_id = place.id and balance.kit_id = $2
                ) as "counted_at: Instant"
            from place
            join code on code.subject_id = place.id
            where place.kind <> 'outside'
                and (
                    (
                        place.kit_id = $2 and place.put_away_at is null
                        and place.id not in (
                            select place_id from count_left_out where count_id = $1
                        )
                    )
                    or place.id in (select place_id from count_line where count_id = $1)
                    or place.id in (select place_id from stint where count_id = $1)
                )
            order by place.position
        "#,
        count,
        kit
    )
    .fetch_all(db)
    .await
}

/// Whether pieces may be counted in a place: it belongs to the kit's team.
pub async fn is_place_of(
    db: &mut SqliteConnection,
    place: PlaceId,
    team: TeamId,
) -> sqlx::Result<bool> {
    sqlx::query_scalar!(
        r#"
            select exists (
                select 1 from place where id = $1 and team_id = $2 and kind <> 'outside'
            ) as "yes: bool"
        "#,
        place,
        team
    )
    .fetch_one(db)
    .await
}

/// A tap that arrived after its count was closed.
#[derive(Debug, Clone)]
pub struct LateTally {
    pub place_name: String,
    pub part_name: String,
    pub person_name: String,
    pub amount: i64,
    pub recorded_at: Instant,
}

/// The taps that arrived after a count was closed.
pub async fn late(db: &mut SqliteConnection, count: CountId) -> sqlx::Result<Vec<LateTally>> {
    sqlx::query_as!(
        LateTally,
        r#"
            select
                place.name as place_name,
                part.name as part_name,
                person.name as person_name,
                tally.amount,
                tally.recorded_at as "recorded_at: Instant"
            from stint
            join tally on tally.stint_id = stint.id and tally.late = 1
            join place on place.id = stint.place_id
            join part on part.id = tally.part_id
            join person on person.id = tally.person_id
            where stint.count_id = $1
            order by tally.n
        "#,
        count
    )
    .fetch_all(db)
    .await
}
