//! The queries about what strangers are shown.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::damage::shown::Shows;
use crate::ids::{PartId, PersonId, TeamId};

/// A decision about what strangers are shown.
#[derive(Debug, Clone)]
pub struct ShownSaid {
    pub shows: Shows,
    pub set_by: String,
    pub set_at: Instant,
}

/// What a team decided, the latest first.
pub async fn shown_said(
    db: &mut SqliteConnection,
    team: TeamId,
    limit: i64,
) -> sqlx::Result<Vec<ShownSaid>> {
    sqlx::query_as!(
        ShownSaid,
        r#"
            select
                public_page.shows as "shows!: Shows",
                person.name as "set_by!",
                public_page.set_at as "set_at!: Instant"
            from public_page
            join person on person.id = public_page.set_by
            where public_page.team_id = $1
            order by public_page.n desc
            limit $2
        "#,
        team,
        limit
    )
    .fetch_all(db)
    .await
}

pub async fn add_shown(
    db: &mut SqliteConnection,
    team: TeamId,
    shows: Shows,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into public_page (team_id, shows, set_by, set_at) values ($1, $2, $3, $4)"#,
        team,
        shows,
        by,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A team's first picture of a part, small.
#[derive(Debug, Clone)]
pub struct PartPicture {
    pub part: PartId,
    pub width: i64,
    pub height: i64,
}

/// Which parts a team has a picture of that can be shown.
pub async fn part_pictures(
    db: &mut SqliteConnection,
    team: TeamId,
) -> sqlx::Result<Vec<PartPicture>> {
    sqlx::query_as!(
        PartPicture,
        r#"
            select
                picture.part_id as "part!: PartId",
                thumb.width as "width!: i64",
                thumb.height as "height!: i64"
            from picture
            join file thumb on thumb.id = picture.thumb_id
            where picture.team_id = $1 and picture.removed_at is null and picture.part_id is not null
            order by picture.position, picture.added_at, picture.id
        "#,
        team
    )
    .fetch_all(db)
    .await
}
