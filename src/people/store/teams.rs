//! The queries about teams and the league.

use sqlx::SqliteConnection;

use crate::ids::TeamId;

#[derive(Debug, Clone)]
pub struct Team {
    pub id: TeamId,
    pub name: String,
    pub zone: String,
    pub version: i64,
}

/// A team and how many belong to it.
#[derive(Debug, Clone)]
pub struct TeamLine {
    pub id: TeamId,
    pub name: String,
    pub members: i64,
    pub keepers: i64,
}

pub async fn lines(db: &mut SqliteConnection) -> sqlx::Result<Vec<TeamLine>> {
    sqlx::query_as!(
        TeamLine,
        r#"
            select
                team.id as "id: TeamId",
                team.name,
                count(membership.person_id) as members,
                count(*) filter (where membership.role = 'keeper') as keepers
            from team
            left join membership on membership.team_id = team.id
            group by team.id, team.name
            order by team.name
        "#
    )
    .fetch_all(db)
    .await
}

/// Every team's name except one's.
pub async fn names_except(
    db: &mut SqliteConnection,
    except: Option<TeamId>,
) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(r#"select name from team where id is not $1"#, except)
        .fetch_all(db)
        .await
}

pub async fn find(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Option<Team>> {
    sqlx::query_as!(
        Team,
        r#"
            select
                id as "id: TeamId",
                name,
                zone,
                version
            from team
            where id = $1
        "#,
        team
    )
    .fetch_optional(db)
    .await
}

pub async fn update(
    db: &mut SqliteConnection,
    team: TeamId,
    name: &str,
    zone: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update team set name = $1, zone = $2, version = version + 1 where id = $3"#,
        name,
        zone,
        team
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The league's name, if it was given one.
pub async fn league(db: &mut SqliteConnection) -> sqlx::Result<Option<String>> {
    sqlx::query_scalar!(r#"select value from setting where key = 'league'"#)
        .fetch_optional(db)
        .await
}

pub async fn set_league(db: &mut SqliteConnection, name: &str) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into setting (key, value)
            values ('league', $1)
            on conflict (key) do update set value = excluded.value
        "#,
        name
    )
    .execute(db)
    .await?;
    Ok(())
}
