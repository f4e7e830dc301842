//! The queries about one's own account.

use sqlx::SqliteConnection;

use crate::ids::PersonId;

/// What signing in and changing an account ask about it.
pub struct Account {
    pub person: PersonId,
    pub name: String,
    pub email: Option<String>,
    pub password_hash: Option<String>,
}

pub async fn by_email(db: &mut SqliteConnection, email: &str) -> sqlx::Result<Option<Account>> {
    sqlx::query_as!(
        Account,
        r#"
            select
                id as "person: PersonId",
                name,
                email,
                password_hash
            from person
            where email = $1 and erased_at is null
        "#,
        email
    )
    .fetch_optional(db)
    .await
}

pub async fn by_id(db: &mut SqliteConnection, person: PersonId) -> sqlx::Result<Option<Account>> {
    sqlx::query_as!(
        Account,
        r#"
            select
                id as "person: PersonId",
                name,
                email,
                password_hash
            from person
            where id = $1 and erased_at is null
        "#,
        person
    )
    .fetch_optional(db)
    .await
}

/// Whether anybody ever had an account here.
pub async fn somebody(db: &mut SqliteConnection) -> sqlx::Result<bool> {
    sqlx::query_scalar!(r#"select exists (select 1 from person) as "there: bool""#)
        .fetch_one(db)
        .await
}

pub async fn set_name_and_email(
    db: &mut SqliteConnection,
    person: PersonId,
    name: &str,
    email: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update person set name = $1, email = $2 where id = $3"#,
        name,
        email,
        person
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn set_password(
    db: &mut SqliteConnection,
    person: PersonId,
    password_hash: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update person set password_hash = $1 where id = $2"#,
        password_hash,
        person
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A coordinator, for the page that gives and takes the role.
#[derive(Debug, Clone)]
pub struct Coordinator {
    pub person: PersonId,
    pub name: String,
    pub email: Option<String>,
}

pub async fn coordinators(db: &mut SqliteConnection) -> sqlx::Result<Vec<Coordinator>> {
    sqlx::query_as!(
        Coordinator,
        r#"
            select
                id as "person: PersonId",
                name,
                email
            from person
            where coordinator = 1 and erased_at is null
            order by name, id
        "#
    )
    .fetch_all(db)
    .await
}

pub async fn set_coordinator(
    db: &mut SqliteConnection,
    person: PersonId,
    coordinator: bool,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update person set coordinator = $1 where id = $2"#,
        coordinator,
        person
    )
    .execute(db)
    .await?;
    Ok(())
}
