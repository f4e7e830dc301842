//! The queries about the pieces that lie in places.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{KitId, PartId, PlaceId, TeamId};
use crate::ledger::State;

/// So many pieces of a part of a kit in one state in one place.
#[derive(Debug, Clone)]
pub struct Pieces {
    pub place: PlaceId,
    pub part: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
    pub mass_g: Option<f64>,
    pub kit: KitId,
    pub kit_name: String,
    pub state: State,
    pub qty: i64,
    pub counted_at: Option<Instant>,
    /// Who closed that count; empty for somebody who was erased.
    pub counted_by: Option<String>,
}

/// The pieces in a place, and with `deep` in all that stands in it.
pub async fn pieces(
    db: &mut SqliteConnection,
    place: PlaceId,
    deep: bool,
) -> sqlx::Result<Vec<Pieces>> {
    sqlx::query_as!(
        Pieces,
        r#"
            with recursive inside (id) as (
                select $1
                union
                select place.id
                from inside
                join place on place.parent_id = inside.id
                where $2
            )
            select
                balance.place_id as "place!: PlaceId",
                balance.part_id as "part!: PartId",
                part.number as "number!",
                part.name as "name!",
                part.colour as "colour!",
                part.mass_g,
                balance.kit_id as "kit!: KitId",
                kit.name as "kit_name!",
                balance.state as "state!: State",
                balance.qty as "qty!",
                entry.done_at as "counted_at?: Instant",
                person.name as "counted_by?"
            from inside
            join balance on balance.place_id = inside.id and balance.qty > 0
            join part on part.id = balance.part_id
            join kit on kit.id = balance.kit_id
            left join entry on entry.seq = balance.counted_seq
            left join person on person.id = entry.actor_id
            order by part.name, part.colour, part.number, balance.state
        "#,
        place,
        deep
    )
    .fetch_all(db)
    .await
}

/// What one place weighs in pieces, and whether some of them have no mass.
#[derive(Debug, Clone)]
pub struct Load {
    pub place: PlaceId,
    pub pieces: i64,
    pub known_g: f64,
    pub has_unknown: bool,
}

/// What lies in each place of a team, that which stands in it not counted.
pub async fn loads(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Load>> {
    sqlx::query_as!(
        Load,
        r#"
            select
                place.id as "place!: PlaceId",
                sum(balance.qty) as "pieces!: i64",
                total(balance.qty * part.mass_g) as "known_g!: f64",
                max(part.mass_g is null) as "has_unknown!: bool"
            from place
            join balance on balance.place_id = place.id and balance.qty > 0
            join part on part.id = balance.part_id
            where place.team_id = $1 and place.put_away_at is null
            group by place.id
        "#,
        team
    )
    .fetch_all(db)
    .await
}

/// What a bag holds in a word, and what the packing slip says of it.
#[derive(Debug, Clone)]
pub struct Holding {
    pub place: PlaceId,
    pub pieces: i64,
    pub kinds: i64,
    pub lines_on_the_slip: i64,
}

/// The same for every place of a kit.
pub async fn holdings(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Holding>> {
    sqlx::query_as!(
        Holding,
        r#"
            select
                place.id as "place!: PlaceId",
                coalesce(sum(balance.qty), 0) as "pieces!: i64",
                count(distinct balance.part_id) as "kinds!: i64",
                (select count(*) from packing_line where packing_line.place_id = place.id)
                    as "lines_on_the_slip!: i64"
            from place
            left join balance on balance.place_id = place.id and balance.qty > 0
            where place.kit_id = $1 and place.put_away_at is null
            group by place.id
        "#,
        kit
    )
    .fetch_all(db)
    .await
}
