//! The queries about sessions and failed sign-ins.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{PersonId, SessionId};
use crate::people::rules::Failures;

/// One browser in which a person is signed in.
#[derive(Debug, Clone)]
pub struct OpenSession {
    pub id: SessionId,
    pub began_at: Instant,
    pub seen_at: Instant,
    pub device: String,
}

/// A person's sessions that still hold, the one used last first.
pub async fn sessions(
    db: &mut SqliteConnection,
    person: PersonId,
    now: Instant,
    idle_since: Instant,
) -> sqlx::Result<Vec<OpenSession>> {
    sqlx::query_as!(
        OpenSession,
        r#"
            select
                id as "id: SessionId",
                began_at as "began_at: Instant",
                seen_at as "seen_at: Instant",
                device
            from session
            where person_id = $1 and ends_at > $2 and seen_at > $3
            order by seen_at desc, began_at desc
        "#,
        person,
        now,
        idle_since
    )
    .fetch_all(db)
    .await
}

/// Ends one session of a person. Answers whether there was one.
pub async fn end_session(
    db: &mut SqliteConnection,
    person: PersonId,
    session: SessionId,
) -> sqlx::Result<bool> {
    let ended = sqlx::query!(
        r#"delete from session where id = $1 and person_id = $2"#,
        session,
        person
    )
    .execute(db)
    .await?
    .rows_affected();
    Ok(ended > 0)
}

/// Ends all sessions of a person, except one.
pub async fn end_sessions_except(
    db: &mut SqliteConnection,
    person: PersonId,
    kept: Option<SessionId>,
) -> sqlx::Result<u64> {
    let ended = sqlx::query!(
        r#"delete from session where person_id = $1 and id is not $2"#,
        person,
        kept
    )
    .execute(db)
    .await?
    .rows_affected();
    Ok(ended)
}

/// Ends a person's oldest sessions, so that at most `most` remain.
pub async fn end_oldest_sessions(
    db: &mut SqliteConnection,
    person: PersonId,
    most: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            delete from session
            where token_hash in (
                select token_hash
                from session
                where person_id = $1
                order by began_at desc, id desc
                limit -1 offset $2
            )
        "#,
        person,
        most
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Forgets sessions that no longer hold, whoever's they are.
pub async fn sweep_sessions(
    db: &mut SqliteConnection,
    now: Instant,
    idle_since: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"delete from session where ends_at <= $1 or seen_at <= $2"#,
        now,
        idle_since
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Ends every session and takes back every link that was not used yet, whoever's they are.
pub async fn end_all(db: &mut SqliteConnection) -> sqlx::Result<()> {
    sqlx::query!(r#"delete from session"#)
        .execute(&mut *db)
        .await?;
    sqlx::query!(r#"delete from token where used_at is null"#)
        .execute(db)
        .await?;
    Ok(())
}

pub async fn failures(
    db: &mut SqliteConnection,
    account_hash: &[u8; 32],
) -> sqlx::Result<Option<Failures>> {
    let account_hash = account_hash.as_slice();
    sqlx::query_as!(
        Failures,
        r#"
            select
                consecutive,
                window_began_at as "window_began_at: Instant",
                in_window,
                blocked_until as "blocked_until: Instant"
            from sign_in_failure
            where account_hash = $1
        "#,
        account_hash
    )
    .fetch_optional(db)
    .await
}

pub async fn set_failures(
    db: &mut SqliteConnection,
    account_hash: &[u8; 32],
    failures: &Failures,
) -> sqlx::Result<()> {
    let account_hash = account_hash.as_slice();
    sqlx::query!(
        r#"
            insert into sign_in_failure (
                account_hash,
                consecutive,
                window_began_at,
                in_window,
                blocked_until
            )
            values ($1, $2, $3, $4, $5)
            on conflict (account_hash) do update set
                consecutive = excluded.consecutive,
                window_began_at = excluded.window_began_at,
                in_window = excluded.in_window,
                blocked_until = excluded.blocked_until
        "#,
        account_hash,
        failures.consecutive,
        failures.window_began_at,
        failures.in_window,
        failures.blocked_until
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn forget_failures(
    db: &mut SqliteConnection,
    account_hash: &[u8; 32],
) -> sqlx::Result<()> {
    let account_hash = account_hash.as_slice();
    sqlx::query!(
        r#"delete from sign_in_failure where account_hash = $1"#,
        account_hash
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Forgets failures nobody added to for a long time, so that tried addresses do not fill the table.
/// Blocked accounts stay blocked.
pub async fn sweep_failures(db: &mut SqliteConnection, before: Instant) -> sqlx::Result<()> {
    sqlx::query!(
        r#"delete from sign_in_failure where window_began_at < $1 and consecutive < 100"#,
        before
    )
    .execute(db)
    .await?;
    Ok(())
}
