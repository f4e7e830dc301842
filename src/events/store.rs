//! The queries about events.

use sqlx::SqliteConnection;

use super::Kind;
use super::rules::{Details, Taken};
use crate::clock::{Day, Instant};
use crate::db::Tx;
use crate::ids::{EventId, KitId, PersonId, TeamId};

#[derive(Debug, Clone)]
pub struct Event {
    pub id: EventId,
    pub team: TeamId,
    pub team_name: String,
    pub name: String,
    pub venue: String,
    pub first_on: Day,
    pub last_on: Day,
    pub note: String,
    pub is_called_off: bool,
    pub version: i64,
    /// How many kits go.
    pub kits: i64,
}

impl Event {
    /// "6 Mar 2027 to 7 Mar 2027".
    pub fn days(&self) -> String {
        super::rules::span(self.first_on, self.last_on)
    }

    pub(super) fn details(&self) -> Details {
        Details {
            name: self.name.clone(),
            venue: self.venue.clone(),
            first_on: self.first_on,
            last_on: self.last_on,
            note: self.note.clone(),
        }
    }
}

/// Events with the name of their team, narrowed and ordered by the rest of the query.
macro_rules! events {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Event,
            r#"
            select
                event.id as "id: EventId",
                event.team_id as "team: TeamId",
                team.name as team_name,
                event.name,
                event.venue,
                event.first_on as "first_on: Day",
                event.last_on as "last_on: Day",
                event.note,
                event.called_off_at is not null as "is_called_off: bool",
                event.version,
                (select count(*) from event_kit where event_id = event.id) as "kits: i64"
            from event
            join team on team.id = event.team_id
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn find(db: &mut SqliteConnection, event: EventId) -> sqlx::Result<Option<Event>> {
    events!(
        r#"
            where event.id = $1
        "#,
        event
    )
    .fetch_optional(db)
    .await
}

/// The events of which at least one day lies between two days, both included, the earliest first.
pub async fn between(db: &mut SqliteConnection, from: Day, to: Day) -> sqlx::Result<Vec<Event>> {
    events!(
        r#"
            where event.last_on >= $1 and event.first_on <= $2
            order by event.first_on, event.last_on, event.name, event.id
        "#,
        from,
        to
    )
    .fetch_all(db)
    .await
}

/// A kit and the days an event takes of it.
#[derive(Debug, Clone)]
pub struct KitDays {
    pub event: EventId,
    pub event_name: String,
    pub kit: KitId,
    pub kit_name: String,
    pub team: TeamId,
    pub team_name: String,
    pub first_on: Day,
    pub last_on: Day,
}

impl KitDays {
    /// "6 Mar 2027 to 7 Mar 2027".
    pub fn days(&self) -> String {
        super::rules::span(self.first_on, self.last_on)
    }
}

/// Kits with the days an event takes of them, narrowed and ordered by the rest of the query.
macro_rules! kit_days {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            KitDays,
            r#"
            select
                event.id as "event: EventId",
                event.name as event_name,
                kit.id as "kit: KitId",
                kit.name as kit_name,
                kit.team_id as "team: TeamId",
                team.name as team_name,
                event.first_on as "first_on: Day",
                event.last_on as "last_on: Day"
            from kit
            join event_kit on event_kit.kit_id = kit.id
            join event on event.id = event_kit.event_id
            join team on team.id = kit.team_id
            "# + $rest
            $(, $value)*
        )
    };
}

/// The kits that go to an event.
pub async fn kits_of(db: &mut SqliteConnection, event: EventId) -> sqlx::Result<Vec<KitDays>> {
    kit_days!(
        r#"
            where event_kit.event_id = $1
            order by team.name, kit.name, kit.id
        "#,
        event
    )
    .fetch_all(db)
    .await
}

/// The days that events take of a team's kits from a day on, events called off left out.
pub async fn of_team(
    db: &mut SqliteConnection,
    team: TeamId,
    from: Day,
) -> sqlx::Result<Vec<KitDays>> {
    kit_days!(
        r#"
            where kit.team_id = $1 and event.last_on >= $2 and event.called_off_at is null
            order by event.first_on, event.id, kit.name, kit.id
        "#,
        team,
        from
    )
    .fetch_all(db)
    .await
}

/// The days that events take of one kit from a day on, events called off left out.
pub async fn of_kit(
    db: &mut SqliteConnection,
    kit: KitId,
    from: Day,
) -> sqlx::Result<Vec<KitDays>> {
    kit_days!(
        r#"
            where event_kit.kit_id = $1 and event.last_on >= $2 and event.called_off_at is null
            order by event.first_on, event.id
        "#,
        kit,
        from
    )
    .fetch_all(db)
    .await
}

/// The days that other events take of a kit.
pub async fn taken(
    db: &mut SqliteConnection,
    kit: KitId,
    besides: EventId,
) -> sqlx::Result<Vec<Taken>> {
    sqlx::query_as!(
        Taken,
        r#"
            select
                event.name,
                event.first_on as "first_on: Day",
                event.last_on as "last_on: Day"
            from event_kit
            join event on event.id = event_kit.event_id
            where event_kit.kit_id = $1 and event.id <> $2 and event.called_off_at is null
            order by event.first_on, event.id
        "#,
        kit,
        besides
    )
    .fetch_all(db)
    .await
}

/// One thing done about an event, as it is shown.
#[derive(Debug, Clone)]
pub struct Done {
    pub kind: Kind,
    pub words: String,
    pub kit_name: Option<String>,
    /// Whose the kit is that goes or stays.
    pub kit_team: Option<TeamId>,
    pub by: PersonId,
    pub at: Instant,
}

/// What was done about an event, in order.
pub async fn steps(db: &mut SqliteConnection, event: EventId) -> sqlx::Result<Vec<Done>> {
    sqlx::query_as!(
        Done,
        r#"
            select
                event_step.kind as "kind: Kind",
                event_step.words,
                kit.name as "kit_name?",
                kit.team_id as "kit_team?: TeamId",
                event_step.person_id as "by: PersonId",
                event_step.done_at as "at: Instant"
            from event_step
            left join kit on kit.id = event_step.kit_id
            where event_step.event_id = $1
            order by event_step.line
        "#,
        event
    )
    .fetch_all(db)
    .await
}

/// Something done about an event, as it is to be kept.
pub struct Step {
    kind: Kind,
    words: String,
    kit: Option<KitId>,
}

impl Step {
    pub fn new(kind: Kind, words: String) -> Self {
        Self {
            kind,
            words,
            kit: None,
        }
    }

    pub fn of_kit(kind: Kind, words: String, kit: KitId) -> Self {
        Self {
            kit: Some(kit),
            ..Self::new(kind, words)
        }
    }
}

pub async fn add_step(
    tx: &mut Tx,
    event: EventId,
    step: &Step,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into event_step (event_id, line, kind, words, kit_id, person_id, done_at)
            values (
                $1,
                (select coalesce(max(line), 0) + 1 from event_step where event_id = $1),
                $2, $3, $4, $5, $6
            )
        "#,
        event,
        step.kind,
        step.words,
        step.kit,
        by,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub async fn insert(
    tx: &mut Tx,
    id: EventId,
    team: TeamId,
    details: &Details,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into event (id, team_id, name, venue, first_on, last_on, note, made_at)
            values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        id,
        team,
        details.name,
        details.venue,
        details.first_on,
        details.last_on,
        details.note,
        now
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub async fn update(tx: &mut Tx, id: EventId, details: &Details) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update event
            set
                name = $2,
                venue = $3,
                first_on = $4,
                last_on = $5,
                note = $6,
                version = version + 1
            where id = $1
        "#,
        id,
        details.name,
        details.venue,
        details.first_on,
        details.last_on,
        details.note
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub async fn set_called_off(
    tx: &mut Tx,
    id: EventId,
    called_off_at: Option<Instant>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update event set called_off_at = $2, version = version + 1 where id = $1"#,
        id,
        called_off_at
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

pub async fn add_kit(tx: &mut Tx, event: EventId, kit: KitId) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into event_kit (event_id, kit_id) values ($1, $2)"#,
        event,
        kit
    )
    .execute(&mut **tx)
    .await?;
    Ok(())
}

/// Whether the kit went.
pub async fn take_kit_away(tx: &mut Tx, event: EventId, kit: KitId) -> sqlx::Result<bool> {
    let gone = sqlx::query!(
        r#"delete from event_kit where event_id = $1 and kit_id = $2"#,
        event,
        kit
    )
    .execute(&mut **tx)
    .await?;
    Ok(gone.rows_affected() > 0)
}
