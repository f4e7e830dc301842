//! Gives codes out and finds what they are on. Codes are never given twice.

use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::clock::Instant;
use crate::code::Code;
use crate::secret;

/// What a code is on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum CodeKind {
    Kit,
    Place,
    Count,
    /// A numbered piece.
    Piece,
}

/// Gives a thing its code.
pub async fn give(
    db: &mut SqliteConnection,
    kind: CodeKind,
    subject: Uuid,
    now: Instant,
) -> sqlx::Result<Code> {
    // 28.6 million codes: even with a million in use a free one is found at once.
    loop {
        let code = Code::from_random(u64::from_le_bytes(secret::random()));
        let given = sqlx::query!(
            r#"
                insert into code (code, kind, subject_id, made_at)
                values ($1, $2, $3, $4)
                on conflict (code) do nothing
            "#,
            code,
            kind,
            subject,
            now
        )
        .execute(&mut *db)
        .await?
        .rows_affected();
        if given == 1 {
            return Ok(code);
        }
    }
}

/// What a code is on, if it was ever given.
pub async fn find(
    db: &mut SqliteConnection,
    code: &Code,
) -> sqlx::Result<Option<(CodeKind, Uuid)>> {
    let row = sqlx::query!(
        r#"select kind as "kind: CodeKind", subject_id as "subject: Uuid" from code where code = $1"#,
        code
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| (row.kind, row.subject)))
}

/// The code on a thing.
pub async fn of(db: &mut SqliteConnection, subject: Uuid) -> sqlx::Result<Option<Code>> {
    sqlx::query_scalar!(
        r#"select code as "code: Code" from code where subject_id = $1"#,
        subject
    )
    .fetch_optional(db)
    .await
}
