//! The queries about who belongs to a team.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{PersonId, TeamId};
use crate::people::Role;
use crate::people::rules::Reach;

/// A member of a team.
#[derive(Debug, Clone)]
pub struct Member {
    pub person: PersonId,
    pub name: String,
    pub email: Option<String>,
    pub role: Role,
    pub since: Instant,
}

/// A team's members: keepers, deputies, crew, each by name.
pub async fn members(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Member>> {
    sqlx::query_as!(
        Member,
        r#"
            select
                person.id as "person: PersonId",
                person.name,
                person.email,
                membership.role as "role: Role",
                membership.since as "since: Instant"
            from membership
            join person on person.id = membership.person_id
            where membership.team_id = $1
            order by
                case membership.role when 'keeper' then 0 when 'deputy' then 1 else 2 end,
                person.name,
                person.id
        "#,
        team
    )
    .fetch_all(db)
    .await
}

pub async fn role(
    db: &mut SqliteConnection,
    person: PersonId,
    team: TeamId,
) -> sqlx::Result<Option<Role>> {
    sqlx::query_scalar!(
        r#"
            select role as "role: Role"
            from membership
            where person_id = $1 and team_id = $2
        "#,
        person,
        team
    )
    .fetch_optional(db)
    .await
}

pub async fn keepers(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            select count(*)
            from membership
            where team_id = $1 and role = 'keeper'
        "#,
        team
    )
    .fetch_one(db)
    .await
}

pub async fn set_role(
    db: &mut SqliteConnection,
    person: PersonId,
    team: TeamId,
    role: Role,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update membership set role = $1 where person_id = $2 and team_id = $3"#,
        role,
        person,
        team
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn delete(db: &mut SqliteConnection, person: PersonId, team: TeamId) -> sqlx::Result<()> {
    sqlx::query!(
        r#"delete from membership where person_id = $1 and team_id = $2"#,
        person,
        team
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What a person answers for; `None` if there is no such account.
pub async fn reach(db: &mut SqliteConnection, person: PersonId) -> sqlx::Result<Option<Reach>> {
    let Some(coordinator) = sqlx::query_scalar!(
        r#"
            select coordinator as "coordinator: bool"
            from person
            where id = $1 and erased_at is null
        "#,
        person
    )
    .fetch_optional(&mut *db)
    .await?
    else {
        return Ok(None);
    };
    let rows = sqlx::query!(
        r#"
            select
                team_id as "team: TeamId",
                role as "role: Role"
            from membership
            where person_id = $1
        "#,
        person
    )
    .fetch_all(db)
    .await?;
    Ok(Some(Reach {
        coordinator,
        teams: rows.into_iter().map(|row| (row.team, row.role)).collect(),
    }))
}
