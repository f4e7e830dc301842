//! The queries about fields.

use sqlx::SqliteConnection;

use super::rules::Typed;
use crate::clock::Instant;
use crate::ids::{FieldId, KitId, TeamId};

#[derive(Debug, Clone)]
pub struct Field {
    pub id: FieldId,
    pub team: TeamId,
    pub team_name: String,
    pub name: String,
    pub note: String,
    pub put_away: bool,
    pub version: i64,
    /// How many kits stand in it.
    pub kits: i64,
}

/// Fields with their team, narrowed and ordered by the rest of the query.
macro_rules! fields {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Field,
            r#"
            select
                field.id as "id: FieldId",
                field.team_id as "team: TeamId",
                team.name as team_name,
                field.name,
                field.note,
                field.put_away_at is not null as "put_away: bool",
                field.version,
                (select count(*) from field_kit where field_id = field.id) as "kits: i64"
            from field
            join team on team.id = field.team_id
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn find(db: &mut SqliteConnection, field: FieldId) -> sqlx::Result<Option<Field>> {
    fields!(
        r#"
            where field.id = $1
        "#,
        field
    )
    .fetch_optional(db)
    .await
}

/// The fields of a team that are not put away.
pub async fn of_team(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Field>> {
    fields!(
        r#"
            where field.team_id = $1 and field.put_away_at is null
            order by field.name
        "#,
        team
    )
    .fetch_all(db)
    .await
}

/// The fields that were put away, the latest first.
pub async fn put_away_of(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Field>> {
    fields!(
        r#"
            where field.team_id = $1 and field.put_away_at is not null
            order by field.put_away_at desc
        "#,
        team
    )
    .fetch_all(db)
    .await
}

/// The fields that a kit stands in.
pub async fn of_kit(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Field>> {
    fields!(
        r#"
            join field_kit on field_kit.field_id = field.id and field_kit.kit_id = $1
            where field.put_away_at is null
            order by field.name
        "#,
        kit
    )
    .fetch_all(db)
    .await
}

pub async fn kits_of(db: &mut SqliteConnection, field: FieldId) -> sqlx::Result<Vec<KitId>> {
    sqlx::query_scalar!(
        r#"
            select kit_id as "kit: KitId"
            from field_kit
            where field_id = $1
            order by position
        "#,
        field
    )
    .fetch_all(db)
    .await
}

pub async fn insert(
    db: &mut SqliteConnection,
    (field, team): (FieldId, TeamId),
    said: &Typed,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into field (id, team_id, name, note, made_at) values ($1, $2, $3, $4, $5)"#,
        field,
        team,
        said.name,
        said.note,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn update(db: &mut SqliteConnection, field: FieldId, said: &Typed) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update field set name = $2, note = $3, version = version + 1 where id = $1"#,
        field,
        said.name,
        said.note
    )
    .execute(db)
    .await?;
    Ok(())
}

/// These kits stand in the field, in this order, and no others.
pub async fn set_kits(
    db: &mut SqliteConnection,
    field: FieldId,
    kits: &[KitId],
) -> sqlx::Result<()> {
    sqlx::query!(r#"delete from field_kit where field_id = $1"#, field)
        .execute(&mut *db)
        .await?;
    for (position, kit) in kits.iter().enumerate() {
        let position = i64::try_from(position).unwrap_or(i64::MAX);
        sqlx::query!(
            r#"insert into field_kit (field_id, kit_id, position) values ($1, $2, $3)"#,
            field,
            kit,
            position
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
}

pub async fn set_put_away(
    db: &mut SqliteConnection,
    field: FieldId,
    at: Option<Instant>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update field set put_away_at = $2, version = version + 1 where id = $1"#,
        field,
        at
    )
    .execute(db)
    .await?;
    Ok(())
}
