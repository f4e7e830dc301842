//! Forms sent twice are recorded once.
//!
//! Every form carries an id that was drawn when it was shown. The first time it arrives, its result is
//! kept under that id, in the same transaction. Sent again, it answers with that result; sent again with
//! other content, it is refused. Ids are kept for ever, so a phone may be away for a season.

use sqlx::SqliteConnection;

use crate::app::App;
use crate::clock::Instant;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PersonId};

/// A form as it arrived: its id, and the SHA-256 of what it said and where it was sent.
#[derive(Debug, Clone, Copy)]
pub struct Sent {
    pub id: FormId,
    pub hash: [u8; 32],
}

/// What became of a form.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Outcome {
    /// Recorded now. The page that shows the result.
    Done { location: String },
    /// It was recorded before, then.
    Again {
        location: String,
        recorded_at: Instant,
    },
}

impl Outcome {
    pub fn location(&self) -> &str {
        match self {
            Outcome::Done { location } | Outcome::Again { location, .. } => location,
        }
    }
}

/// Runs `act` in one write transaction, unless this form was recorded before. `act` answers the page
/// that shows the result.
pub async fn once<R>(
    app: &App,
    sent: &Sent,
    person: Option<PersonId>,
    act: impl AsyncFnOnce(&mut Tx) -> Result<String, NotDone<R>>,
) -> Result<Outcome, NotDone<R>> {
    let mut tx = app.db.begin_write().await?;
    if let Some(outcome) = again(&mut tx, sent).await? {
        return Ok(outcome);
    }
    let location = act(&mut tx).await?;
    keep(&mut tx, sent, person, app.clock.now(), &location).await?;
    tx.commit().await?;
    Ok(Outcome::Done { location })
}

/// Whether this form was recorded before. The same id with other content is an error.
pub async fn again(db: &mut SqliteConnection, sent: &Sent) -> Result<Option<Outcome>, AppError> {
    let Some(row) = sqlx::query!(
        r#"
            select
                content_hash,
                recorded_at as "recorded_at: Instant",
                location
            from receipt
            where form_id = $1
        "#,
        sent.id
    )
    .fetch_optional(db)
    .await?
    else {
        return Ok(None);
    };
    if row.content_hash != sent.hash {
        return Err(AppError::Conflict(
            "This form was sent before with other words in it. What it said then is recorded; \
             open the page anew to record something else."
                .into(),
        ));
    }
    Ok(Some(Outcome::Again {
        location: row.location,
        recorded_at: row.recorded_at,
    }))
}

/// Remembers that a form was recorded.
pub async fn keep(
    db: &mut SqliteConnection,
    sent: &Sent,
    person: Option<PersonId>,
    now: Instant,
    location: &str,
) -> sqlx::Result<()> {
    let hash = sent.hash.as_slice();
    sqlx::query!(
        r#"
            insert into receipt (form_id, content_hash, person_id, recorded_at, location)
            values ($1, $2, $3, $4, $5)
        "#,
        sent.id,
        hash,
        person,
        now,
        location
    )
    .execute(db)
    .await?;
    Ok(())
}
