//! The queries of the search.

use sqlx::SqliteConnection;
use uuid::Uuid;

use super::rules::SHOWN;
use crate::clock::Instant;
use crate::ids::{KitId, PartId, PlaceId, TeamId};
use crate::ledger::State;

#[derive(Debug, Clone)]
pub struct PartRow {
    pub part: PartId,
    pub number: String,
    pub name: String,
    pub colour: String,
}

/// The parts that an expression finds, one more than are shown.
pub async fn parts(
    db: &mut SqliteConnection,
    expression: &str,
    skip: i64,
) -> sqlx::Result<Vec<PartRow>> {
    let limit = SHOWN + 1;
    sqlx::query_as!(
        PartRow,
        r#"
            select
                part.id as "part!: PartId",
                part.number as "number!",
                part.name as "name!",
                part.colour as "colour!"
            from finding_words
            join finding on finding.n = finding_words.rowid
            join part on part.id = finding.subject_id
            where finding_words match $1 and finding.kind = 'part'
            order by part.name, part.colour, part.number
            limit $2 offset $3
        "#,
        expression,
        limit,
        skip
    )
    .fetch_all(db)
    .await
}

/// The kits that an expression finds, those put away last. A team narrows it once more: the word of the
/// team in the expression is only the quick way.
pub async fn kits(
    db: &mut SqliteConnection,
    expression: &str,
    team: Option<TeamId>,
    skip: i64,
) -> sqlx::Result<Vec<KitId>> {
    let limit = SHOWN + 1;
    sqlx::query_scalar!(
        r#"
            select kit.id as "id!: KitId"
            from finding_words
            join finding on finding.n = finding_words.rowid
            join kit on kit.id = finding.subject_id
            where finding_words match $1 and finding.kind = 'kit'
                and ($2 is null or kit.team_id = $2)
            order by kit.put_away_at is not null, kit.name
            limit $3 offset $4
        "#,
        expression,
        team,
        limit,
        skip
    )
    .fetch_all(db)
    .await
}

/// The places that an expression finds and that are not put away.
pub async fn places(
    db: &mut SqliteConnection,
    expression: &str,
    team: Option<TeamId>,
    skip: i64,
) -> sqlx::Result<Vec<PlaceId>> {
    let limit = SHOWN + 1;
    sqlx::query_scalar!(
        r#"
            select place.id as "id!: PlaceId"
            from finding_words
            join finding on finding.n = finding_words.rowid
            join place on place.id = finding.subject_id
            where finding_words match $1 and finding.kind = 'place'
                and ($2 is null or place.team_id = $2)
                and place.put_away_at is null
            order by place.position
            limit $3 offset $4
        "#,
        expression,
        team,
        limit,
        skip
    )
    .fetch_all(db)
    .await
}

/// So many pieces of a part in a place.
#[derive(Debug, Clone)]
pub struct AtRow {
    pub part: PartId,
    pub place: PlaceId,
    pub kit: KitId,
    pub kit_name: String,
    pub state: State,
    pub qty: i64,
    pub counted_at: Option<Instant>,
    pub counted_by: Option<String>,
}

/// Where a team's pieces of some parts are, most first.
pub async fn at(
    db: &mut SqliteConnection,
    team: TeamId,
    parts: &[PartId],
) -> sqlx::Result<Vec<AtRow>> {
    let parts = hex_list(parts.iter().map(|part| part.0));
    // `cross join` keeps the order: from the team's few kits, never from all balances of a part.
    sqlx::query_as!(
        AtRow,
        r#"
            select
                balance.part_id as "part!: PartId",
                balance.place_id as "place!: PlaceId",
                balance.kit_id as "kit!: KitId",
                kit.name as "kit_name!",
                balance.state as "state!: State",
                balance.qty as "qty!",
                entry.done_at as "counted_at?: Instant",
                person.name as "counted_by?"
            from kit
            cross join balance on balance.kit_id = kit.id
            left join entry on entry.seq = balance.counted_seq
            left join person on person.id = entry.actor_id
            where kit.team_id = $1
                and balance.part_id in (select unhex(value) from json_each($2))
                and balance.outside = 0 and balance.qty > 0
            order by balance.qty desc, kit.name
        "#,
        team,
        parts
    )
    .fetch_all(db)
    .await
}

fn hex_list(ids: impl Iterator<Item = Uuid>) -> String {
    let ids: Vec<String> = ids.map(|id| format!("\"{}\"", id.simple())).collect();
    format!("[{}]", ids.join(","))
}

#[derive(Debug, Clone)]
pub struct SpareRow {
    pub team: TeamId,
    pub team_name: String,
    pub qty: i64,
}

/// How many good pieces of a part each team has over what its kits need, most first.
pub async fn spares(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Vec<SpareRow>> {
    let limit = SHOWN;
    sqlx::query_as!(
        SpareRow,
        r#"
            with line as (
                select kit.team_id, balance.qty
                from balance
                cross join kit on kit.id = balance.kit_id
                where balance.part_id = $1 and balance.outside = 0 and balance.qty > 0
                    and balance.state = 'good' and kit.put_away_at is null
                union all
                select kit.team_id, -need.qty
                from kit
                join need on need.revision_id = kit.revision_id and need.size_id = kit.size_id
                    and need.part_id = $1
                where kit.put_away_at is null
            )
            select
                team.id as "team!: TeamId",
                team.name as "team_name!",
                sum(line.qty) as "qty!: i64"
            from line
            join team on team.id = line.team_id
            group by team.id
            having sum(line.qty) > 0
            order by sum(line.qty) desc, team.name
            limit $2
        "#,
        part,
        limit
    )
    .fetch_all(db)
    .await
}
