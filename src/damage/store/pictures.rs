//! The queries about the pictures of reports.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{DamageId, FormId, PictureId, TeamId};

/// A picture of a report, small.
#[derive(Debug, Clone)]
pub struct Small {
    pub id: PictureId,
    pub words: String,
    pub width: i64,
    pub height: i64,
}

impl Small {
    /// Half the pixels, so that it is sharp on a phone.
    pub fn half_width(&self) -> i64 {
        (self.width / 2).max(1)
    }

    pub fn half_height(&self) -> i64 {
        (self.height / 2).max(1)
    }
}

/// The pictures of a report and of those that were joined with it, the first one first. What was removed
/// is left out.
pub async fn pictures(db: &mut SqliteConnection, report: DamageId) -> sqlx::Result<Vec<Small>> {
    sqlx::query_as!(
        Small,
        r#"
            select
                picture.id as "id!: PictureId",
                picture.words as "words!",
                coalesce(thumb.width, 1) as "width!: i64",
                coalesce(thumb.height, 1) as "height!: i64"
            from damage_picture
            join picture on picture.id = damage_picture.picture_id
            join file thumb on thumb.id = picture.thumb_id
            where picture.removed_at is null
                and (
                    damage_picture.report_id = $1
                    or damage_picture.report_id in (
                        select step.report_id from damage_step as step
                        where step.kind = 'joined' and step.other_id = $1
                            and not exists (
                                select 1 from damage_step as back
                                where back.report_id = step.report_id
                                    and back.undoes = step.line
                            )
                    )
                )
            order by picture.added_at, picture.id
        "#,
        report
    )
    .fetch_all(db)
    .await
}

/// The picture that a form brought, if it brought one.
pub async fn came_with(db: &mut SqliteConnection, form: FormId) -> sqlx::Result<Option<PictureId>> {
    sqlx::query_scalar!(
        r#"select picture_id as "id!: PictureId" from damage_picture where form_id = $1"#,
        form
    )
    .fetch_optional(db)
    .await
}

pub async fn add_picture(
    db: &mut SqliteConnection,
    report: DamageId,
    picture: PictureId,
    form: FormId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into damage_picture (picture_id, report_id, form_id)
            values ($1, $2, $3)
        "#,
        picture,
        report,
        form
    )
    .execute(db)
    .await?;
    Ok(())
}

/// How many pictures people without an account have sent to a team since a moment.
pub async fn strangers_pictures(
    db: &mut SqliteConnection,
    team: TeamId,
    since: Instant,
) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            select count(*) from picture
            where team_id = $1 and added_at >= $2 and added_by is null
        "#,
        team,
        since
    )
    .fetch_one(db)
    .await
}
