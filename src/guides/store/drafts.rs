//! The queries about files on their way into a list, and what is known before they are read.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{GuideId, ImportDraftId, PersonId, RevisionId};

/// A file on its way into a list.
#[derive(Debug, Clone)]
pub struct Draft {
    pub id: ImportDraftId,
    pub revision: RevisionId,
    pub made_by: PersonId,
    pub file_name: String,
    pub bytes: Vec<u8>,
    pub mapping: Option<String>,
    pub is_taken: bool,
}

pub struct NewDraft<'a> {
    pub id: ImportDraftId,
    pub revision: RevisionId,
    pub made_by: PersonId,
    pub now: Instant,
    pub ends_at: Instant,
    pub file_name: &'a str,
    pub bytes: &'a [u8],
    pub mapping: &'a str,
}

pub async fn insert_draft(db: &mut SqliteConnection, new: NewDraft<'_>) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into import_draft (
                id, revision_id, made_by, made_at, ends_at, file_name, bytes, mapping
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        new.id,
        new.revision,
        new.made_by,
        new.now,
        new.ends_at,
        new.file_name,
        new.bytes,
        new.mapping
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn draft(db: &mut SqliteConnection, draft: ImportDraftId) -> sqlx::Result<Option<Draft>> {
    sqlx::query_as!(
        Draft,
        r#"
            select
                id as "id: ImportDraftId",
                revision_id as "revision: RevisionId",
                made_by as "made_by: PersonId",
                file_name,
                bytes,
                mapping,
                applied_at is not null as "is_taken: bool"
            from import_draft
            where id = $1
        "#,
        draft
    )
    .fetch_optional(db)
    .await
}

pub async fn set_mapping(
    db: &mut SqliteConnection,
    draft: ImportDraftId,
    mapping: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update import_draft set mapping = $1 where id = $2"#,
        mapping,
        draft
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn mark_taken(
    db: &mut SqliteConnection,
    draft: ImportDraftId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update import_draft set applied_at = $1 where id = $2"#,
        now,
        draft
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn forget_old_drafts(db: &mut SqliteConnection, now: Instant) -> sqlx::Result<()> {
    sqlx::query!(r#"delete from import_draft where ends_at < $1"#, now)
        .execute(db)
        .await?;
    Ok(())
}

/// Number, colour and name of every part of a maker.
pub async fn known_parts(
    db: &mut SqliteConnection,
    maker: &str,
) -> sqlx::Result<Vec<(String, String, String)>> {
    let rows = sqlx::query!(
        r#"select number, colour, name from part where maker = $1 order by id"#,
        maker
    )
    .fetch_all(db)
    .await?;
    Ok(rows
        .into_iter()
        .map(|row| (row.number, row.colour, row.name))
        .collect())
}

pub async fn assemblies_of(db: &mut SqliteConnection, guide: GuideId) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(
        r#"select name from assembly where guide_id = $1 order by name"#,
        guide
    )
    .fetch_all(db)
    .await
}
