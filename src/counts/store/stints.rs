//! Stints, and which of them stands where several differ.

use sqlx::SqliteConnection;

use super::super::rules::facts::StintState;
use crate::clock::Instant;
use crate::ids::{CountId, PartId, PersonId, PlaceId, StintId};
use crate::ledger::Seq;

/// One person's counting of one place.
#[derive(Debug, Clone)]
pub struct Stint {
    pub id: StintId,
    pub count: CountId,
    pub place: PlaceId,
    pub person: PersonId,
    pub person_name: String,
    pub began_seq: Seq,
    pub began_at: Instant,
    pub last_at: Instant,
    pub state: StintState,
    pub done_at: Option<Instant>,
    pub done_seq: Option<Seq>,
    pub blind: bool,
    pub set_aside_by: Option<String>,
    pub set_aside_reason: String,
}

impl Stint {
    pub fn is_open(&self) -> bool {
        self.state == StintState::Open
    }

    pub fn is_done(&self) -> bool {
        self.state == StintState::Done
    }

    pub fn is_set_aside(&self) -> bool {
        self.state == StintState::SetAside
    }
}

/// Stints with the names of their people, narrowed and ordered by the rest of the query.
macro_rules! stints {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Stint,
            r#"
            select
                stint.id as "id: StintId",
                stint.count_id as "count: CountId",
                stint.place_id as "place: PlaceId",
                stint.person_id as "person: PersonId",
                person.name as person_name,
                stint.began_seq,
                stint.began_at as "began_at: Instant",
                stint.last_at as "last_at: Instant",
                stint.state as "state: StintState",
                stint.done_at as "done_at: Instant",
                stint.done_seq,
                stint.blind as "blind: bool",
                aside.name as "set_aside_by?",
                stint.set_aside_reason
            from stint
            join person on person.id = stint.person_id
            left join person as aside on aside.id = stint.set_aside_by
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn stint(db: &mut SqliteConnection, stint: StintId) -> sqlx::Result<Option<Stint>> {
    stints!(
        r#"
            where stint.id = $1
        "#,
        stint
    )
    .fetch_optional(db)
    .await
}

/// All stints of a count, in the order in which they began.
pub async fn of_count(db: &mut SqliteConnection, count: CountId) -> sqlx::Result<Vec<Stint>> {
    stints!(
        r#"
            where stint.count_id = $1
            order by stint.began_at, stint.id
        "#,
        count
    )
    .fetch_all(db)
    .await
}

pub struct NewStint {
    pub id: StintId,
    pub count: CountId,
    pub place: PlaceId,
    pub person: PersonId,
    pub began_seq: Seq,
    pub began_at: Instant,
    pub last_at: Instant,
    pub state: StintState,
    pub done_at: Option<Instant>,
    pub done_seq: Option<Seq>,
    pub blind: bool,
    pub copied_from: Option<StintId>,
}

pub async fn insert(db: &mut SqliteConnection, new: &NewStint) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into stint (
                id, count_id, place_id, person_id, began_seq, began_at, last_at, state,
                done_at, done_seq, blind, copied_from
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
        "#,
        new.id,
        new.count,
        new.place,
        new.person,
        new.began_seq,
        new.began_at,
        new.last_at,
        new.state,
        new.done_at,
        new.done_seq,
        new.blind,
        new.copied_from
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The stint that carries a stint's numbers on, through every reopening; itself if there was none.
pub async fn latest_of(db: &mut SqliteConnection, stint: StintId) -> sqlx::Result<StintId> {
    let mut at = stint;
    while let Some(next) = sqlx::query_scalar!(
        r#"select id as "id: StintId" from stint where copied_from = $1"#,
        at
    )
    .fetch_optional(&mut *db)
    .await?
    {
        at = next;
    }
    Ok(at)
}

/// Notes that something was counted. In a finished stint the counting then went on until now.
pub async fn touch(
    db: &mut SqliteConnection,
    stint: StintId,
    now: Instant,
    head: Seq,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update stint
            set last_at = $1,
                done_seq = case when state = 'done' then $2 else done_seq end
            where id = $3
        "#,
        now,
        head,
        stint
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn finish(
    db: &mut SqliteConnection,
    stint: StintId,
    now: Instant,
    head: Seq,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update stint
            set state = 'done', done_at = $1, done_seq = $2
            where id = $3 and state = 'open'
        "#,
        now,
        head,
        stint
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A finished stint is open again.
pub async fn take_up(db: &mut SqliteConnection, stint: StintId) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update stint
            set state = 'open', done_at = null, done_seq = null
            where id = $1 and state = 'done'
        "#,
        stint
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn set_aside(
    db: &mut SqliteConnection,
    stint: StintId,
    by: PersonId,
    reason: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update stint
            set state = 'set aside', set_aside_by = $1, set_aside_reason = $2
            where id = $3
        "#,
        by,
        reason,
        stint
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Notes which stint stands for a line.
pub async fn choose(
    db: &mut SqliteConnection,
    count: CountId,
    line: (PlaceId, PartId),
    stint: StintId,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    let (place, part) = line;
    sqlx::query!(
        r#"
            insert into settlement (count_id, place_id, part_id, stint_id, settled_by, settled_at)
            values ($1, $2, $3, $4, $5, $6)
            on conflict (count_id, place_id, part_id) do update
            set stint_id = excluded.stint_id,
                settled_by = excluded.settled_by,
                settled_at = excluded.settled_at
        "#,
        count,
        place,
        part,
        stint,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What was chosen in a count is chosen in the one it was reopened as.
pub async fn copy_settlements(
    db: &mut SqliteConnection,
    from: CountId,
    to: CountId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into settlement (count_id, place_id, part_id, stint_id, settled_by, settled_at)
            select $1, settlement.place_id, settlement.part_id, stint.id, settled_by, settled_at
            from settlement
            join stint on stint.copied_from = settlement.stint_id
            where settlement.count_id = $2
        "#,
        to,
        from
    )
    .execute(db)
    .await?;
    Ok(())
}
