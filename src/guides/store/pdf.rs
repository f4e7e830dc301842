//! The queries about the guides' PDFs.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{FileId, GuidePdfId, PersonId, RevisionId};

/// A PDF of a revision, shown or kept from before.
#[derive(Debug, Clone)]
pub struct GuidePdf {
    pub id: GuidePdfId,
    pub file: FileId,
    pub sha256: Vec<u8>,
    pub size: i64,
    pub name: String,
    pub added_by: String,
    pub added_at: Instant,
    pub removed_by: Option<String>,
    pub removed_at: Option<Instant>,
}

/// All of a revision, the newest first.
pub async fn pdfs(db: &mut SqliteConnection, revision: RevisionId) -> sqlx::Result<Vec<GuidePdf>> {
    sqlx::query_as!(
        GuidePdf,
        r#"
            select
                guide_pdf.id as "id: GuidePdfId",
                file.id as "file: FileId",
                file.sha256 as "sha256!",
                file.size,
                guide_pdf.name,
                adder.name as added_by,
                guide_pdf.added_at as "added_at: Instant",
                remover.name as "removed_by?",
                guide_pdf.removed_at as "removed_at: Instant"
            from guide_pdf
            join file on file.id = guide_pdf.file_id
            join person adder on adder.id = guide_pdf.added_by
            left join person remover on remover.id = guide_pdf.removed_by
            where guide_pdf.revision_id = $1
            order by guide_pdf.added_at desc, guide_pdf.id desc
        "#,
        revision
    )
    .fetch_all(db)
    .await
}

pub async fn shown_pdf(
    db: &mut SqliteConnection,
    revision: RevisionId,
) -> sqlx::Result<Option<GuidePdf>> {
    let all = pdfs(db, revision).await?;
    Ok(all.into_iter().find(|pdf| pdf.removed_at.is_none()))
}

/// Hides the one that is shown; answers how many that were.
pub async fn hide(
    db: &mut SqliteConnection,
    revision: RevisionId,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<u64> {
    let done = sqlx::query!(
        r#"
            update guide_pdf
            set removed_by = $1, removed_at = $2
            where revision_id = $3 and removed_at is null
        "#,
        by,
        now,
        revision
    )
    .execute(db)
    .await?;
    Ok(done.rows_affected())
}

pub async fn insert(
    db: &mut SqliteConnection,
    revision: RevisionId,
    (pdf, file, name): (GuidePdfId, FileId, &str),
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into guide_pdf (id, revision_id, file_id, name, added_by, added_at)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        pdf,
        revision,
        file,
        name,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}
