//! Other kits: those of other teams, those put away, those of the same team that have too many.

use sqlx::SqliteConnection;

use crate::ids::{KitId, PartId, TeamId};

/// What another team's kit shows: its name, size, and how many good pieces are in it.
#[derive(Debug, Clone)]
pub struct OtherKit {
    pub id: KitId,
    pub name: String,
    pub team: TeamId,
    pub team_name: String,
    pub guide_name: Option<String>,
    pub size_name: Option<String>,
    pub good: i64,
}

/// Kits whose team or own name holds `wanted`, by team and name; at most `most`. The viewer's own teams
/// are among them.
pub async fn of_others(
    db: &mut SqliteConnection,
    wanted: &str,
    most: i64,
) -> sqlx::Result<Vec<OtherKit>> {
    // In the order of two unique indexes, so that it stops after `most`.
    sqlx::query_as!(
        OtherKit,
        r#"
            select
                kit.id as "id!: KitId",
                kit.name as "name!",
                team.id as "team!: TeamId",
                team.name as "team_name!",
                guide.name as "guide_name?",
                size.name as "size_name?",
                coalesce((
                    select sum(balance.qty)
                    from balance
                    where balance.kit_id = kit.id and balance.outside = 0 and balance.state = 'good'
                ), 0) as "good!: i64"
            from team
            cross join kit on kit.team_id = team.id
            left join revision on revision.id = kit.revision_id
            left join guide on guide.id = revision.guide_id
            left join size on size.id = kit.size_id
            where kit.put_away_at is null
                and ($1 = '' or instr(lower(team.name || ' ' || kit.name), lower($1)) > 0)
            order by team.name, kit.name
            limit $2
        "#,
        wanted,
        most
    )
    .fetch_all(db)
    .await
}

/// The kits of a team that are put away, by name.
pub async fn put_away_of(
    db: &mut SqliteConnection,
    team: TeamId,
) -> sqlx::Result<Vec<(KitId, String)>> {
    let rows = sqlx::query!(
        r#"
            select id as "id: KitId", name
            from kit
            where team_id = $1 and put_away_at is not null
            order by name
        "#,
        team
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}

/// What other kits of the same team have more of than they need: kit, its name, part, by how many.
pub async fn overs_elsewhere(
    db: &mut SqliteConnection,
    kit: KitId,
) -> sqlx::Result<Vec<(KitId, String, PartId, i64)>> {
    let rows = sqlx::query!(
        r#"
            with held as (
                select
                    other.id as kit_id,
                    other.name,
                    other.revision_id,
                    other.size_id,
                    balance.part_id,
                    sum(balance.qty) as here
                from kit
                join kit as other on other.team_id = kit.team_id and other.id <> kit.id
                join balance on balance.kit_id = other.id
                where kit.id = $1
                    and other.put_away_at is null
                    and balance.outside = 0
                    and balance.state in ('good', 'doubtful')
                group by other.id, balance.part_id
            )
            select
                held.kit_id as "kit!: KitId",
                held.name as "name!",
                held.part_id as "part!: PartId",
                held.here - coalesce(need.qty, 0) as "over!: i64"
            from held
            left join need on need.revision_id = held.revision_id
                and need.size_id = held.size_id
                and need.part_id = held.part_id
            where held.here > coalesce(need.qty, 0)
            order by held.name
        "#,
        kit
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.kit, row.name, row.part, row.over))
        .collect())
}
