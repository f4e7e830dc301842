//! The queries about guides, revisions and sizes; about parts lists and drafts of them next door.

mod drafts;
mod lists;
pub mod pdf;

pub use drafts::{
    Draft, NewDraft, assemblies_of, draft, forget_old_drafts, insert_draft, known_parts,
    mark_taken, set_mapping,
};
pub use lists::{
    AssemblyName, LineRow, ListedPart, assemblies, assembly_for, assembly_names, clear_list,
    copy_list, insert_line, insert_need, insert_quantity, list_rows, listed_parts, need_of,
    part_for,
};

use sqlx::SqliteConnection;

use crate::clock::{Day, Instant};
use crate::ids::{GuideId, RevisionId, SeasonId, SizeId};

#[derive(Debug, Clone)]
pub struct Guide {
    pub id: GuideId,
    pub name: String,
    pub maker: String,
    pub season: Option<SeasonId>,
    pub season_name: Option<String>,
}

#[derive(Debug, Clone)]
pub struct Revision {
    pub id: RevisionId,
    pub guide: GuideId,
    pub guide_name: String,
    pub maker: String,
    pub label: String,
    pub issued_on: Day,
    pub is_sealed: bool,
    /// No other revision of the guide was issued later.
    pub is_newest: bool,
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Size {
    pub id: SizeId,
    pub name: String,
}

pub struct NewGuide<'a> {
    pub id: GuideId,
    pub season: Option<SeasonId>,
    pub name: &'a str,
    pub maker: &'a str,
}

pub struct NewRevision<'a> {
    pub id: RevisionId,
    pub guide: GuideId,
    pub label: &'a str,
    pub issued_on: Day,
}

/// Guides with their season, narrowed and ordered by the rest of the query.
macro_rules! guides_where {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Guide,
            r#"
            select
                guide.id as "id: GuideId",
                guide.name,
                guide.maker,
                guide.season_id as "season: SeasonId",
                season.name as "season_name?"
            from guide
            left join season on season.id = guide.season_id
            "# + $rest
            $(, $value)*
        )
    };
}

/// Every guide, those of the newest season first.
pub async fn guides(db: &mut SqliteConnection) -> sqlx::Result<Vec<Guide>> {
    guides_where!(
        r#"
            order by season.starts_on desc, guide.name
        "#
    )
    .fetch_all(db)
    .await
}

pub async fn guide(db: &mut SqliteConnection, guide: GuideId) -> sqlx::Result<Option<Guide>> {
    guides_where!(
        r#"
            where guide.id = $1
        "#,
        guide
    )
    .fetch_optional(db)
    .await
}

pub async fn add_guide(db: &mut SqliteConnection, new: NewGuide<'_>) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into guide (id, season_id, name, maker) values ($1, $2, $3, $4)"#,
        new.id,
        new.season,
        new.name,
        new.maker
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Revisions of guides, narrowed and ordered by the rest of the query.
macro_rules! revisions_where {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Revision,
            r#"
            select
                revision.id as "id: RevisionId",
                revision.guide_id as "guide: GuideId",
                guide.name as guide_name,
                guide.maker,
                revision.label,
                revision.issued_on as "issued_on: Day",
                revision.sealed_at is not null as "is_sealed: bool",
                not exists (
                    select 1 from revision as later
                    where later.guide_id = revision.guide_id
                        and (later.issued_on, later.id) > (revision.issued_on, revision.id)
                ) as "is_newest: bool"
            from revision
            join guide on guide.id = revision.guide_id
            "# + $rest
            $(, $value)*
        )
    };
}

/// The revisions of a guide, newest first.
pub async fn revisions(db: &mut SqliteConnection, guide: GuideId) -> sqlx::Result<Vec<Revision>> {
    revisions_where!(
        r#"
            where revision.guide_id = $1
            order by revision.issued_on desc, revision.id desc
        "#,
        guide
    )
    .fetch_all(db)
    .await
}

pub async fn revision(
    db: &mut SqliteConnection,
    revision: RevisionId,
) -> sqlx::Result<Option<Revision>> {
    revisions_where!(
        r#"
            where revision.id = $1
        "#,
        revision
    )
    .fetch_optional(db)
    .await
}

pub async fn add_revision(db: &mut SqliteConnection, new: NewRevision<'_>) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into revision (id, guide_id, label, issued_on) values ($1, $2, $3, $4)"#,
        new.id,
        new.guide,
        new.label,
        new.issued_on
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Freezes the list of a revision, because something was checked against it.
pub async fn seal(
    db: &mut SqliteConnection,
    revision: RevisionId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update revision set sealed_at = $1 where id = $2 and sealed_at is null"#,
        now,
        revision
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The sizes of a guide in their order.
pub async fn sizes(db: &mut SqliteConnection, guide: GuideId) -> sqlx::Result<Vec<Size>> {
    sqlx::query_as!(
        Size,
        r#"
            select id as "id: SizeId", name
            from size
            where guide_id = $1
            order by position, name
        "#,
        guide
    )
    .fetch_all(db)
    .await
}

/// Adds a size behind the others.
pub async fn add_size(
    db: &mut SqliteConnection,
    guide: GuideId,
    name: &str,
) -> sqlx::Result<SizeId> {
    let id = SizeId::new();
    sqlx::query!(
        r#"
            insert into size (id, guide_id, name, position)
            values (
                $1, $2, $3,
                (select coalesce(max(position), 0) + 1 from size where guide_id = $2)
            )
        "#,
        id,
        guide,
        name
    )
    .execute(db)
    .await?;
    Ok(id)
}

pub async fn guide_names(db: &mut SqliteConnection) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(r#"select name from guide"#)
        .fetch_all(db)
        .await
}
