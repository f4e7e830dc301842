//! The queries about pictures; those that change one, and those about files, next door.

mod changes;
pub mod files;

pub use changes::{blank, describe, hide, insert, note, put_at};

use sqlx::SqliteConnection;

use super::rules::Act;
use super::{Of, Shown};
use crate::clock::{Day, Instant};
use crate::ids::{DamageId, FileId, PartId, PersonId, PictureId, PlaceId, TeamId};

/// A picture with everything that is known about it.
#[derive(Debug, Clone)]
pub struct Picture {
    pub id: PictureId,
    pub team: TeamId,
    pub team_name: String,
    pub large: FileId,
    pub thumb: FileId,
    pub part: Option<PartId>,
    pub place: Option<PlaceId>,
    pub layer: Option<i64>,
    pub words: String,
    pub taken_on: Day,
    pub removed_at: Option<Instant>,
    pub replaced_by: Option<PictureId>,
    pub erased_at: Option<Instant>,
    pub width: i64,
    pub height: i64,
    pub version: i64,
}

impl Picture {
    pub fn is_shown(&self) -> bool {
        self.removed_at.is_none()
    }
}

/// One thing done with a picture.
#[derive(Debug, Clone)]
pub struct Done {
    pub act: Act,
    pub by: Option<String>,
    pub at: Instant,
}

pub async fn find(db: &mut SqliteConnection, picture: PictureId) -> sqlx::Result<Option<Picture>> {
    sqlx::query_as!(
        Picture,
        r#"
            select
                picture.id as "id: PictureId",
                picture.team_id as "team: TeamId",
                team.name as team_name,
                picture.large_id as "large: FileId",
                picture.thumb_id as "thumb: FileId",
                picture.part_id as "part: PartId",
                picture.place_id as "place: PlaceId",
                picture.layer,
                picture.words,
                picture.taken_on as "taken_on: Day",
                picture.removed_at as "removed_at: Instant",
                picture.replaced_by as "replaced_by: PictureId",
                picture.erased_at as "erased_at: Instant",
                coalesce(large.width, 1) as "width!: i64",
                coalesce(large.height, 1) as "height!: i64",
                picture.version
            from picture
            join team on team.id = picture.team_id
            join file large on large.id = picture.large_id
            where picture.id = $1
        "#,
        picture
    )
    .fetch_optional(db)
    .await
}

pub async fn acts(db: &mut SqliteConnection, picture: PictureId) -> sqlx::Result<Vec<Done>> {
    sqlx::query_as!(
        Done,
        r#"
            select
                picture_act.act as "act: Act",
                person.name as "by?",
                picture_act.at as "at: Instant"
            from picture_act
            left join person on person.id = picture_act.person_id
            where picture_act.picture_id = $1
            order by picture_act.n
        "#,
        picture
    )
    .fetch_all(db)
    .await
}

/// The pictures of a part that a person may see, in order, the removed ones last.
pub async fn of_part(
    db: &mut SqliteConnection,
    part: PartId,
    person: PersonId,
    sees_all: bool,
) -> sqlx::Result<Vec<Shown>> {
    sqlx::query_as!(
        Shown,
        r#"
            select
                picture.id as "id: PictureId",
                picture.words,
                picture.taken_on as "taken_on: Day",
                picture.layer,
                picture.removed_at is not null as "is_removed!: bool",
                coalesce(thumb.width, 1) as "thumb_width!: i64",
                coalesce(thumb.height, 1) as "thumb_height!: i64",
                coalesce(large.width, 1) as "width!: i64",
                coalesce(large.height, 1) as "height!: i64"
            from picture
            join file thumb on thumb.id = picture.thumb_id
            join file large on large.id = picture.large_id
            where
                picture.part_id = $1
                and picture.erased_at is null
                and (
                    $3
                    or picture.team_id in (
                        select team_id from membership where person_id = $2
                    )
                )
            order by picture.removed_at is not null, picture.position, picture.added_at, picture.id
        "#,
        part,
        person,
        sees_all
    )
    .fetch_all(db)
    .await
}

/// The pictures of a place: of the whole first, then layer by layer, the removed ones last.
pub async fn of_place(db: &mut SqliteConnection, place: PlaceId) -> sqlx::Result<Vec<Shown>> {
    sqlx::query_as!(
        Shown,
        r#"
            select
                picture.id as "id: PictureId",
                picture.words,
                picture.taken_on as "taken_on: Day",
                picture.layer,
                picture.removed_at is not null as "is_removed!: bool",
                coalesce(thumb.width, 1) as "thumb_width!: i64",
                coalesce(thumb.height, 1) as "thumb_height!: i64",
                coalesce(large.width, 1) as "width!: i64",
                coalesce(large.height, 1) as "height!: i64"
            from picture
            join file thumb on thumb.id = picture.thumb_id
            join file large on large.id = picture.large_id
            where picture.place_id = $1 and picture.erased_at is null
            order by
                picture.removed_at is not null,
                coalesce(picture.layer, 0),
                picture.position,
                picture.added_at,
                picture.id
        "#,
        place
    )
    .fetch_all(db)
    .await
}

/// The first picture that a team shows of a part.
pub async fn first_of_part(
    db: &mut SqliteConnection,
    part: PartId,
    team: TeamId,
) -> sqlx::Result<Option<Shown>> {
    sqlx::query_as!(
        Shown,
        r#"
            select
                picture.id as "id: PictureId",
                picture.words,
                picture.taken_on as "taken_on: Day",
                picture.layer,
                false as "is_removed!: bool",
                coalesce(thumb.width, 1) as "thumb_width!: i64",
                coalesce(thumb.height, 1) as "thumb_height!: i64",
                1 as "width!: i64",
                1 as "height!: i64"
            from picture
            join file thumb on thumb.id = picture.thumb_id
            where picture.part_id = $1 and picture.team_id = $2 and picture.removed_at is null
            order by picture.position, picture.added_at, picture.id
            limit 1
        "#,
        part,
        team
    )
    .fetch_optional(db)
    .await
}

/// The report about damage that a picture came with, or was added to.
pub async fn report_of(
    db: &mut SqliteConnection,
    picture: PictureId,
) -> sqlx::Result<Option<DamageId>> {
    sqlx::query_scalar!(
        r#"select report_id as "id!: DamageId" from damage_picture where picture_id = $1"#,
        picture
    )
    .fetch_optional(db)
    .await
}

/// Pictures that a team added since a moment.
pub async fn added_since(
    db: &mut SqliteConnection,
    team: TeamId,
    then: Instant,
) -> sqlx::Result<i64> {
    sqlx::query_scalar!(
        r#"
            select count(*)
            from picture
            where team_id = $1 and added_at > $2
        "#,
        team,
        then
    )
    .fetch_one(db)
    .await
}

/// The words for a part: its name, and its colour where it has one.
pub async fn part_words(db: &mut SqliteConnection, part: PartId) -> sqlx::Result<Option<String>> {
    sqlx::query_scalar!(
        r#"
            select name || case colour when '' then '' else ', ' || colour end as "words!: String"
            from part
            where id = $1
        "#,
        part
    )
    .fetch_optional(db)
    .await
}

/// The words for a place, and whose it is.
pub async fn place_words(
    db: &mut SqliteConnection,
    place: PlaceId,
) -> sqlx::Result<Option<(String, TeamId)>> {
    let row = sqlx::query!(
        r#"
            select kind || ' ' || name as "words!: String", team_id as "team!: TeamId"
            from place
            where id = $1 and team_id is not null
        "#,
        place
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| (row.words, row.team)))
}

/// The places at both ends of what is shown of the same part and team, or of the same place.
pub async fn positions(
    db: &mut SqliteConnection,
    team: TeamId,
    of: Of,
) -> sqlx::Result<(i64, i64)> {
    let (part, place) = of.ids();
    let row = sqlx::query!(
        r#"
            select
                coalesce(min(position), 0) as "first!: i64",
                coalesce(max(position), 0) as "last!: i64"
            from picture
            where team_id = $1 and part_id is $2 and place_id is $3
        "#,
        team,
        part,
        place
    )
    .fetch_one(db)
    .await?;
    Ok((row.first, row.last))
}

/// The file behind a picture that is not erased, with its hash as the mark for browsers.
pub async fn file_of(
    db: &mut SqliteConnection,
    picture: PictureId,
    small: bool,
) -> sqlx::Result<Option<(FileId, Vec<u8>)>> {
    let row = sqlx::query!(
        r#"
            select file.id as "id!: FileId", file.sha256 as "sha256!"
            from picture
            join file on file.id = case when $2 then picture.thumb_id else picture.large_id end
            where picture.id = $1 and file.sha256 is not null
        "#,
        picture,
        small
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| (row.id, row.sha256)))
}
