//! The queries that add and change pictures.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{FileId, PersonId, PictureId};
use crate::pictures::NewPicture;
use crate::pictures::rules::{Act, Caption};

pub async fn insert(
    db: &mut SqliteConnection,
    picture: PictureId,
    new: &NewPicture,
    files: [FileId; 2],
    position: i64,
    now: Instant,
) -> sqlx::Result<()> {
    let (part, place) = new.of.ids();
    let [large, thumb] = files;
    let Caption {
        words,
        taken_on,
        layer,
    } = &new.caption;
    sqlx::query!(
        r#"
            insert into picture (
                id,
                team_id,
                large_id,
                thumb_id,
                part_id,
                place_id,
                layer,
                position,
                words,
                taken_on,
                added_by,
                added_at
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12)
        "#,
        picture,
        new.team,
        large,
        thumb,
        part,
        place,
        layer,
        position,
        words,
        taken_on,
        new.by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn describe(
    db: &mut SqliteConnection,
    picture: PictureId,
    caption: &Caption,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update picture
            set words = $1, taken_on = $2, layer = $3, version = version + 1
            where id = $4
        "#,
        caption.words,
        caption.taken_on,
        caption.layer,
        picture
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn put_at(
    db: &mut SqliteConnection,
    picture: PictureId,
    position: i64,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update picture
            set position = $1, version = version + 1
            where id = $2
        "#,
        position,
        picture
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Hides a picture, or with no moment shows it again.
pub async fn hide(
    db: &mut SqliteConnection,
    picture: PictureId,
    at: Option<Instant>,
    replaced_by: Option<PictureId>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update picture
            set removed_at = $1, replaced_by = $2, version = version + 1
            where id = $3
        "#,
        at,
        replaced_by,
        picture
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Blanks what was said about a picture; its bytes are erased with its files.
pub async fn blank(
    db: &mut SqliteConnection,
    picture: PictureId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update picture
            set words = '', erased_at = $1, version = version + 1
            where id = $2
        "#,
        now,
        picture
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn note(
    db: &mut SqliteConnection,
    picture: PictureId,
    act: Act,
    by: Option<PersonId>,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into picture_act (picture_id, n, act, person_id, at)
            select $1, coalesce(max(n), 0) + 1, $2, $3, $4
            from picture_act
            where picture_id = $1
        "#,
        picture,
        act,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}
