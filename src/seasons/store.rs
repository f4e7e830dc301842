//! The queries about seasons.

use sqlx::SqliteConnection;

use crate::clock::Day;
use crate::ids::SeasonId;

#[derive(Debug, Clone)]
pub struct Season {
    pub id: SeasonId,
    pub name: String,
    pub starts_on: Day,
}

/// Every season, the newest first.
pub async fn all(db: &mut SqliteConnection) -> sqlx::Result<Vec<Season>> {
    sqlx::query_as!(
        Season,
        r#"
            select
                id as "id: SeasonId",
                name,
                starts_on as "starts_on: Day"
            from season
            order by starts_on desc, name
        "#
    )
    .fetch_all(db)
    .await
}

pub async fn find(db: &mut SqliteConnection, season: SeasonId) -> sqlx::Result<Option<Season>> {
    sqlx::query_as!(
        Season,
        r#"
            select
                id as "id: SeasonId",
                name,
                starts_on as "starts_on: Day"
            from season
            where id = $1
        "#,
        season
    )
    .fetch_optional(db)
    .await
}

pub async fn names(db: &mut SqliteConnection) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(r#"select name from season"#)
        .fetch_all(db)
        .await
}

pub async fn insert(
    db: &mut SqliteConnection,
    id: SeasonId,
    name: &str,
    starts_on: Day,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"insert into season (id, name, starts_on) values ($1, $2, $3)"#,
        id,
        name,
        starts_on
    )
    .execute(db)
    .await?;
    Ok(())
}
