//! The queries about links that work once.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{PersonId, TeamId, TokenId};
use crate::people::Role;

/// What a link is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Purpose {
    Start,
    Invite,
    Reset,
}

pub struct NewLink {
    pub token_hash: [u8; 32],
    pub purpose: Purpose,
    pub person: Option<PersonId>,
    pub team: Option<TeamId>,
    pub role: Option<Role>,
    pub coordinator: bool,
    pub made_by: Option<PersonId>,
    pub made_at: Instant,
    pub ends_at: Instant,
}

pub async fn insert(db: &mut SqliteConnection, new: &NewLink) -> sqlx::Result<()> {
    let id = TokenId::new();
    let token_hash = new.token_hash.as_slice();
    sqlx::query!(
        r#"
            insert into token (
                token_hash,
                id,
                purpose,
                person_id,
                team_id,
                role,
                coordinator,
                made_by,
                made_at,
                ends_at
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10)
        "#,
        token_hash,
        id,
        new.purpose,
        new.person,
        new.team,
        new.role,
        new.coordinator,
        new.made_by,
        new.made_at,
        new.ends_at
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A link as it is stored.
#[derive(Debug, Clone)]
pub struct Link {
    pub id: TokenId,
    pub purpose: Purpose,
    pub person: Option<PersonId>,
    pub team: Option<TeamId>,
    pub role: Option<Role>,
    pub coordinator: bool,
    pub made_by: Option<PersonId>,
    pub ends_at: Instant,
    pub used_at: Option<Instant>,
}

pub async fn find(db: &mut SqliteConnection, token_hash: &[u8; 32]) -> sqlx::Result<Option<Link>> {
    let token_hash = token_hash.as_slice();
    sqlx::query_as!(
        Link,
        r#"
            select
                id as "id: TokenId",
                purpose as "purpose: Purpose",
                person_id as "person: PersonId",
                team_id as "team: TeamId",
                role as "role: Role",
                coordinator as "coordinator: bool",
                made_by as "made_by: PersonId",
                ends_at as "ends_at: Instant",
                used_at as "used_at: Instant"
            from token
            where token_hash = $1
        "#,
        token_hash
    )
    .fetch_optional(db)
    .await
}

pub async fn use_up(db: &mut SqliteConnection, link: TokenId, now: Instant) -> sqlx::Result<()> {
    sqlx::query!(r#"update token set used_at = $1 where id = $2"#, now, link)
        .execute(db)
        .await?;
    Ok(())
}

/// Takes back every unused link for a person's password.
pub async fn delete_resets(db: &mut SqliteConnection, person: PersonId) -> sqlx::Result<()> {
    sqlx::query!(
        r#"delete from token where purpose = 'reset' and person_id = $1 and used_at is null"#,
        person
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Takes back every code for the first start.
pub async fn delete_starts(db: &mut SqliteConnection) -> sqlx::Result<()> {
    sqlx::query!(r#"delete from token where purpose = 'start' and used_at is null"#)
        .execute(db)
        .await?;
    Ok(())
}

/// An invitation that nobody has accepted yet.
#[derive(Debug, Clone)]
pub struct OpenInvite {
    pub id: TokenId,
    pub role: Role,
    pub made_by: Option<String>,
    pub ends_at: Instant,
}

pub async fn open_invites(
    db: &mut SqliteConnection,
    team: TeamId,
    now: Instant,
) -> sqlx::Result<Vec<OpenInvite>> {
    sqlx::query_as!(
        OpenInvite,
        r#"
            select
                token.id as "id: TokenId",
                token.role as "role!: Role",
                person.name as "made_by?",
                token.ends_at as "ends_at: Instant"
            from token
            left join person on person.id = token.made_by
            where token.purpose = 'invite'
                and token.team_id = $1
                and token.used_at is null
                and token.ends_at > $2
            order by token.made_at
        "#,
        team,
        now
    )
    .fetch_all(db)
    .await
}

/// Takes an invitation back. Answers whether there was one to take back.
pub async fn delete_invite(
    db: &mut SqliteConnection,
    team: TeamId,
    invite: TokenId,
) -> sqlx::Result<bool> {
    let deleted = sqlx::query!(
        r#"
            delete from token
            where id = $1 and team_id = $2 and purpose = 'invite' and used_at is null
        "#,
        invite,
        team
    )
    .execute(db)
    .await?
    .rows_affected();
    Ok(deleted > 0)
}
