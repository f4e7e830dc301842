//! The queries about people, teams, sessions and links.

pub mod accounts;
pub mod links;
pub mod members;
pub mod sign_in;
pub mod teams;

use sqlx::SqliteConnection;
use uuid::Uuid;

use super::{Membership, Role};
use crate::clock::Instant;
use crate::db::Db;
use crate::ids::{PersonId, SessionId, TeamId};

/// A session and whose it is.
pub struct SessionRow {
    pub id: SessionId,
    pub person: PersonId,
    pub name: String,
    pub coordinator: bool,
    pub seen_at: Instant,
    pub ends_at: Instant,
}

/// The team a kit, place, count, stint or team belongs to.
pub async fn subject_team(
    db: &mut SqliteConnection,
    subject: Uuid,
) -> sqlx::Result<Option<TeamId>> {
    sqlx::query_scalar!(
        r#"select team_id as "team: TeamId" from subject_team where id = $1"#,
        subject
    )
    .fetch_optional(db)
    .await
    .map(Option::flatten)
}

/// The team that answers for a thing two teams share, and the other one, which may be outside the league.
pub async fn subject_sides(
    db: &mut SqliteConnection,
    subject: Uuid,
) -> sqlx::Result<Option<(TeamId, Option<TeamId>)>> {
    let row = sqlx::query!(
        r#"
            select team_id as "team: TeamId", other_team_id as "other: TeamId"
            from subject_sides
            where id = $1
        "#,
        subject
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| (row.team, row.other)))
}

/// The teams that something of a loan was handed on to.
pub async fn subject_hands(db: &mut SqliteConnection, subject: Uuid) -> sqlx::Result<Vec<TeamId>> {
    sqlx::query_scalar!(
        r#"select team_id as "team!: TeamId" from subject_hands where id = $1"#,
        subject
    )
    .fetch_all(db)
    .await
}

pub async fn session(
    db: &mut SqliteConnection,
    token_hash: &[u8; 32],
) -> sqlx::Result<Option<SessionRow>> {
    let token_hash = token_hash.as_slice();
    sqlx::query_as!(
        SessionRow,
        r#"
            select
                session.id as "id: SessionId",
                session.person_id as "person: PersonId",
                person.name,
                person.coordinator as "coordinator: bool",
                session.seen_at as "seen_at: Instant",
                session.ends_at as "ends_at: Instant"
            from session
            join person on person.id = session.person_id
            where session.token_hash = $1 and person.erased_at is null
        "#,
        token_hash
    )
    .fetch_optional(db)
    .await
}

/// A person's teams, those they keep first, then by name.
pub async fn memberships(
    db: &mut SqliteConnection,
    person: PersonId,
) -> sqlx::Result<Vec<Membership>> {
    sqlx::query_as!(
        Membership,
        r#"
            select
                membership.team_id as "team: TeamId",
                team.name as team_name,
                team.zone,
                membership.role as "role: Role"
            from membership
            join team on team.id = membership.team_id
            where membership.person_id = $1
            order by
                case membership.role when 'keeper' then 0 when 'deputy' then 1 else 2 end,
                team.name
        "#,
        person
    )
    .fetch_all(db)
    .await
}

/// Notes that a session was used, without telling pages that anything changed.
pub async fn note_seen(db: &Db, token_hash: &[u8; 32], now: Instant) -> sqlx::Result<()> {
    let token_hash = token_hash.as_slice();
    let mut tx = db.begin_write().await?;
    sqlx::query!(
        r#"update session set seen_at = $1 where token_hash = $2"#,
        now,
        token_hash
    )
    .execute(&mut *tx)
    .await?;
    tx.commit_quietly().await
}

pub struct NewSession<'a> {
    pub token_hash: [u8; 32],
    pub id: SessionId,
    pub person: PersonId,
    pub now: Instant,
    pub ends_at: Instant,
    pub device: &'a str,
}

pub async fn insert_session(db: &mut SqliteConnection, new: NewSession<'_>) -> sqlx::Result<()> {
    let token_hash = new.token_hash.as_slice();
    sqlx::query!(
        r#"
            insert into session (token_hash, id, person_id, began_at, seen_at, ends_at, device)
            values ($1, $2, $3, $4, $4, $5, $6)
        "#,
        token_hash,
        new.id,
        new.person,
        new.now,
        new.ends_at,
        new.device
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn insert_team(
    db: &mut SqliteConnection,
    id: TeamId,
    name: &str,
    zone: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into team (id, name, zone) values ($1, $2, $3)"#,
        id,
        name,
        zone
    )
    .execute(db)
    .await?;
    Ok(())
}

pub struct NewPerson<'a> {
    pub id: PersonId,
    pub name: &'a str,
    pub email: Option<&'a str>,
    pub password_hash: Option<&'a str>,
    pub coordinator: bool,
    pub now: Instant,
}

pub async fn insert_person(db: &mut SqliteConnection, new: NewPerson<'_>) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into person (id, name, email, password_hash, coordinator, made_at)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        new.id,
        new.name,
        new.email,
        new.password_hash,
        new.coordinator,
        new.now
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn insert_membership(
    db: &mut SqliteConnection,
    person: PersonId,
    team: TeamId,
    role: Role,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into membership (person_id, team_id, role, since) values ($1, $2, $3, $4)"#,
        person,
        team,
        role,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The names of those who keep a team's kits, keepers before deputies.
pub async fn keepers(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(
        r#"
            select person.name
            from membership
            join person on person.id = membership.person_id
            where membership.team_id = $1 and membership.role in ('keeper', 'deputy')
                and person.erased_at is null
            order by case membership.role when 'keeper' then 0 else 1 end, person.name
        "#,
        team
    )
    .fetch_all(db)
    .await
}

/// The names of people; empty for those who were erased.
pub async fn names(
    db: &mut SqliteConnection,
    people: &[PersonId],
) -> sqlx::Result<Vec<(PersonId, String)>> {
    let ids: Vec<String> = people
        .iter()
        .map(|person| format!("\"{}\"", person.0.simple()))
        .collect();
    let ids = format!("[{}]", ids.join(","));
    let rows = sqlx::query!(
        r#"
            select id as "id: PersonId", name
            from person
            where id in (select unhex(value) from json_each($1))
        "#,
        ids
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}

/// A person's name as it is shown.
pub fn shown_name(name: &str) -> &str {
    if name.is_empty() {
        "a former member"
    } else {
        name
    }
}
