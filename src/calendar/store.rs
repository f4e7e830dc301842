//! The queries about links to calendars.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::db::Tx;
use crate::ids::{FeedId, PersonId, TeamId};

/// A link, as its owner sees it.
#[derive(Debug, Clone)]
pub struct FeedLink {
    pub id: FeedId,
    pub name: String,
    pub team_name: String,
    pub made_at: Instant,
    pub asked_at: Option<Instant>,
}

/// A person's links that were not withdrawn, the latest first.
pub async fn links(db: &mut SqliteConnection, person: PersonId) -> sqlx::Result<Vec<FeedLink>> {
    sqlx::query_as!(
        FeedLink,
        r#"
            select
                calendar_link.id as "id: FeedId",
                calendar_link.name,
                team.name as team_name,
                calendar_link.made_at as "made_at: Instant",
                calendar_link.asked_at as "asked_at: Instant"
            from calendar_link
            join team on team.id = calendar_link.team_id
            where calendar_link.person_id = $1 and calendar_link.withdrawn_at is null
            order by calendar_link.made_at desc, calendar_link.id desc
        "#,
        person
    )
    .fetch_all(db)
    .await
}

pub struct NewLink<'a> {
    pub id: FeedId,
    pub token_hash: [u8; 32],
    pub team: TeamId,
    pub person: PersonId,
    pub name: &'a str,
    pub made_at: Instant,
}

pub async fn insert(tx: &mut Tx, new: &NewLink<'_>) -> sqlx::Result<()> {
    let hash = new.token_hash.as_slice();
    sqlx::query!(
        r#"
            insert into calendar_link (id, token_hash, team_id, person_id, name, made_at)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        new.id,
        hash,
        new.team,
        new.person,
        new.name,
        new.made_at
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Whether it was there to be withdrawn.
pub async fn withdraw(
    tx: &mut Tx,
    link: FeedId,
    person: PersonId,
    now: Instant,
) -> sqlx::Result<bool> {
    let done = sqlx::query!(
        r#"
            update calendar_link
            set withdrawn_at = $3
            where id = $1 and person_id = $2 and withdrawn_at is null
        "#,
        link,
        person,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(done.rows_affected() > 0)
}

/// What a link leads to.
#[derive(Debug, Clone)]
pub struct Led {
    pub id: FeedId,
    pub team: TeamId,
    pub team_name: String,
    pub zone: String,
    pub asked_at: Option<Instant>,
}

/// The team whose days a link shows, if it was not withdrawn and its owner still belongs to that team.
pub async fn feed(db: &mut SqliteConnection, token_hash: [u8; 32]) -> sqlx::Result<Option<Led>> {
    let hash = token_hash.as_slice();
    sqlx::query_as!(
        Led,
        r#"
            select
                calendar_link.id as "id: FeedId",
                team.id as "team: TeamId",
                team.name as team_name,
                team.zone,
                calendar_link.asked_at as "asked_at: Instant"
            from calendar_link
            join team on team.id = calendar_link.team_id
            join membership on membership.team_id = calendar_link.team_id
                and membership.person_id = calendar_link.person_id
            join person on person.id = calendar_link.person_id
            where calendar_link.token_hash = $1
                and calendar_link.withdrawn_at is null
                and person.erased_at is null
        "#,
        hash
    )
    .fetch_optional(db)
    .await
}

/// Notes when a link was last asked for.
pub async fn asked(tx: &mut Tx, link: FeedId, now: Instant) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update calendar_link set asked_at = $2 where id = $1"#,
        link,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}
