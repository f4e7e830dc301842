//! The queries about helper passes.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::rules::{Terms, holds};
use crate::clock::{Day, Instant};
use crate::code::Code;
use crate::ids::{CountId, EventId, HelperId, PassId, PersonId, PlaceId, StintId, TeamId};

/// A pass with what it depends on.
#[derive(Debug, Clone)]
pub struct Pass {
    pub id: PassId,
    pub event: EventId,
    pub event_name: String,
    pub team: TeamId,
    pub team_name: String,
    /// The time zone in which the event's last day ends.
    pub zone: String,
    pub code: Code,
    pub made_by: PersonId,
    pub made_at: Instant,
    pub ended_at: Option<Instant>,
    pub is_called_off: bool,
    pub last_on: Day,
    /// Phones on which it was opened.
    pub helpers: i64,
}

impl Pass {
    pub fn holds(&self, now: Instant) -> bool {
        let terms = Terms {
            is_ended: self.ended_at.is_some(),
            is_called_off: self.is_called_off,
            last_on: self.last_on,
        };
        holds(terms, now.day(&self.zone))
    }
}

/// A phone on which a pass was opened.
#[derive(Debug, Clone)]
pub struct Helper {
    pub id: HelperId,
    pub first_name: String,
    /// Under whom they count, once they did.
    pub person: Option<PersonId>,
    pub pass: Pass,
}

macro_rules! passes {
    ($rest:literal, $($value:expr),+) => {
        sqlx::query_as!(
            Pass,
            r#"
            select
                pass.id as "id!: PassId",
                pass.event_id as "event!: EventId",
                event.name as "event_name!",
                pass.team_id as "team!: TeamId",
                team.name as "team_name!",
                team.zone as "zone!",
                pass.code as "code!: Code",
                pass.made_by as "made_by!: PersonId",
                pass.made_at as "made_at!: Instant",
                pass.ended_at as "ended_at?: Instant",
                event.called_off_at is not null as "is_called_off!: bool",
                event.last_on as "last_on!: Day",
                (select count(*) from helper where helper.pass_id = pass.id) as "helpers!: i64"
            from pass
            join event on event.id = pass.event_id
            join team on team.id = pass.team_id
            "# + $rest,
            $($value),+
        )
    };
}

/// The passes of an event, the latest first.
pub async fn of_event(db: &mut SqliteConnection, event: EventId) -> sqlx::Result<Vec<Pass>> {
    passes!(
        "where pass.event_id = $1 order by pass.made_at desc, pass.id",
        event
    )
    .fetch_all(db)
    .await
}

pub async fn find(db: &mut SqliteConnection, code: &Code) -> sqlx::Result<Option<Pass>> {
    passes!("where pass.code = $1", code)
        .fetch_optional(db)
        .await
}

/// The pass of a code, if it holds now.
pub async fn in_force(
    db: &mut SqliteConnection,
    code: &Code,
    now: Instant,
) -> sqlx::Result<Option<Pass>> {
    Ok(find(db, code).await?.filter(|pass| pass.holds(now)))
}

/// Adds a pass unless its code is another one's.
pub async fn insert(
    db: &mut SqliteConnection,
    pass: PassId,
    event: EventId,
    team: TeamId,
    code: &Code,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<bool> {
    let added = sqlx::query!(
        r#"
            insert into pass (id, event_id, team_id, code, made_by, made_at)
            values ($1, $2, $3, $4, $5, $6)
            on conflict (code) do nothing
        "#,
        pass,
        event,
        team,
        code,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(added.rows_affected() == 1)
}

/// Ends a pass; answers whether it held.
pub async fn end(
    db: &mut SqliteConnection,
    pass: PassId,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<bool> {
    let ended = sqlx::query!(
        r#"
            update pass
            set ended_by = $2, ended_at = $3
            where id = $1 and ended_at is null
        "#,
        pass,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(ended.rows_affected() == 1)
}

pub async fn insert_helper(
    db: &mut SqliteConnection,
    helper: HelperId,
    pass: PassId,
    first_name: &str,
    hash: &[u8; 32],
    now: Instant,
) -> sqlx::Result<()> {
    let hash = hash.as_slice();
    sqlx::query!(
        r#"
            insert into helper (id, pass_id, first_name, token_hash, began_at)
            values ($1, $2, $3, $4, $5)
        "#,
        helper,
        pass,
        first_name,
        hash,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The helper with this secret, whether or not the pass still holds.
pub async fn helper(db: &mut SqliteConnection, hash: &[u8; 32]) -> sqlx::Result<Option<Helper>> {
    let hash = hash.as_slice();
    let Some(row) = sqlx::query!(
        r#"
            select
                helper.id as "id!: HelperId",
                helper.first_name,
                helper.person_id as "person?: PersonId",
                pass.code as "code!: Code"
            from helper
            join pass on pass.id = helper.pass_id
            where helper.token_hash = $1
        "#,
        hash
    )
    .fetch_optional(&mut *db)
    .await?
    else {
        return Ok(None);
    };
    Ok(find(db, &row.code).await?.map(|pass| Helper {
        id: row.id,
        first_name: row.first_name,
        person: row.person,
        pass,
    }))
}

/// Under whom a helper counts, if they did.
pub async fn person(db: &mut SqliteConnection, helper: HelperId) -> sqlx::Result<Option<PersonId>> {
    let found = sqlx::query_scalar!(
        r#"select person_id as "person?: PersonId" from helper where id = $1"#,
        helper
    )
    .fetch_optional(db)
    .await?;
    Ok(found.flatten())
}

pub async fn set_person(
    db: &mut SqliteConnection,
    helper: HelperId,
    person: PersonId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update helper set person_id = $2 where id = $1"#,
        helper,
        person
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What a helper began to count and was not set aside: by count and place, the stint and whether it is done.
pub async fn begun(
    db: &mut SqliteConnection,
    person: PersonId,
) -> sqlx::Result<HashMap<(CountId, PlaceId), (StintId, bool)>> {
    let rows = sqlx::query!(
        r#"
            select
                stint.id as "stint!: StintId",
                stint.count_id as "count!: CountId",
                stint.place_id as "place!: PlaceId",
                stint.state = 'done' as "is_done!: bool"
            from stint
            where stint.person_id = $1 and stint.state <> 'set aside'
            order by stint.began_at
        "#,
        person
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| ((row.count, row.place), (row.stint, row.is_done)))
        .collect())
}

/// Who opened a pass, and when, in order.
pub async fn helpers(
    db: &mut SqliteConnection,
    pass: PassId,
) -> sqlx::Result<Vec<(String, Instant)>> {
    let rows = sqlx::query!(
        r#"
            select first_name, began_at as "began_at!: Instant"
            from helper
            where pass_id = $1
            order by began_at, id
        "#,
        pass
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.first_name, row.began_at))
        .collect())
}
