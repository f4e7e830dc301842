//! The queries about files and their pieces.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::FileId;

/// A file that is whole.
#[derive(Debug, Clone)]
pub struct Whole {
    pub id: FileId,
    pub sha256: Vec<u8>,
    pub size: i64,
}

pub async fn begin(
    db: &mut SqliteConnection,
    file: FileId,
    kind: &str,
    pixels: Option<(u32, u32)>,
    now: Instant,
) -> sqlx::Result<()> {
    let (width, height) = pixels.unzip();
    sqlx::query!(
        r#"
            insert into file (id, kind, size, width, height, begun_at)
            values ($1, $2, 0, $3, $4, $5)
        "#,
        file,
        kind,
        width,
        height,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn append(
    db: &mut SqliteConnection,
    file: FileId,
    n: i64,
    bytes: &[u8],
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into file_chunk (file_id, n, bytes)
            values ($1, $2, $3)
        "#,
        file,
        n,
        bytes
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Names a file by its bytes; from here on it takes no more.
pub async fn complete(
    db: &mut SqliteConnection,
    file: FileId,
    sha256: &[u8],
    size: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update file
            set sha256 = $1, size = $2
            where id = $3
        "#,
        sha256,
        size,
        file
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn with_hash(db: &mut SqliteConnection, sha256: &[u8]) -> sqlx::Result<Option<FileId>> {
    sqlx::query_scalar!(
        r#"select id as "id: FileId" from file where sha256 = $1"#,
        sha256
    )
    .fetch_optional(db)
    .await
}

/// A file that never became whole, with what arrived of it.
pub async fn drop_unfinished(db: &mut SqliteConnection, file: FileId) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            delete from file_chunk
            where file_id = $1
        "#,
        file
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        r#"
            delete from file
            where id = $1 and sha256 is null and erased_at is null
        "#,
        file
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Files that began to arrive before `then` and never became whole.
pub async fn unfinished(db: &mut SqliteConnection, then: Instant) -> sqlx::Result<Vec<FileId>> {
    sqlx::query_scalar!(
        r#"
            select id as "id: FileId"
            from file
            where sha256 is null and erased_at is null and begun_at < $1
        "#,
        then
    )
    .fetch_all(db)
    .await
}

pub async fn whole(db: &mut SqliteConnection, file: FileId) -> sqlx::Result<Option<Whole>> {
    sqlx::query_as!(
        Whole,
        r#"
            select
                id as "id: FileId",
                sha256 as "sha256!",
                size
            from file
            where id = $1 and sha256 is not null
        "#,
        file
    )
    .fetch_optional(db)
    .await
}

pub async fn chunk(
    db: &mut SqliteConnection,
    file: FileId,
    n: i64,
) -> sqlx::Result<Option<Vec<u8>>> {
    sqlx::query_scalar!(
        "select bytes from file_chunk where file_id = $1 and n = $2",
        file,
        n
    )
    .fetch_optional(db)
    .await
}

/// Takes the bytes away for good unless something that is not erased still shows them.
pub async fn erase(db: &mut SqliteConnection, file: FileId, now: Instant) -> sqlx::Result<()> {
    let used = sqlx::query_scalar!(
        r#"
            select
                exists (
                    select 1 from picture
                    where (large_id = $1 or thumb_id = $1) and erased_at is null
                )
                or exists (select 1 from guide_pdf where file_id = $1) as "used!: bool"
        "#,
        file
    )
    .fetch_one(&mut *db)
    .await?;
    if used {
        return Ok(());
    }
    sqlx::query!(
        r#"
            update file
            set sha256 = null, erased_at = $1
            where id = $2
        "#,
        now,
        file
    )
    .execute(&mut *db)
    .await?;
    // The pages that held them are overwritten, not only given back.
    sqlx::query("pragma secure_delete = on")
        .execute(&mut *db)
        .await?;
    let deleted = sqlx::query!(
        r#"
            delete from file_chunk
            where file_id = $1
        "#,
        file
    )
    .execute(&mut *db)
    .await;
    sqlx::query("pragma secure_delete = off")
        .execute(&mut *db)
        .await?;
    deleted.map(drop)
}
