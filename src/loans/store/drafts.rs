//! The queries about lending forms that wait for a count.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{CountId, DraftId, KitId, PersonId};

/// A form that waits.
#[derive(Debug, Clone)]
pub struct Draft {
    /// By name, as JSON.
    pub fields: String,
    pub count: CountId,
    pub is_closed: bool,
}

pub async fn draft(
    db: &mut SqliteConnection,
    kit: KitId,
    draft: DraftId,
) -> sqlx::Result<Option<Draft>> {
    sqlx::query_as!(
        Draft,
        r#"
            select
                lending_draft.fields,
                lending_draft.count_id as "count: CountId",
                count_sheet.closed_at is not null and count_sheet.reopened_as is null
                    as "is_closed!: bool"
            from lending_draft
            join count_sheet on count_sheet.id = lending_draft.count_id
            where lending_draft.id = $1 and lending_draft.kit_id = $2
        "#,
        draft,
        kit
    )
    .fetch_optional(db)
    .await
}

pub async fn add_draft(
    db: &mut SqliteConnection,
    draft: DraftId,
    (kit, person, count): (KitId, PersonId, CountId),
    fields: &str,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into lending_draft (id, kit_id, person_id, count_id, fields, made_at)
            values ($1, $2, $3, $4, $5, $6)
        "#,
        draft,
        kit,
        person,
        count,
        fields,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What a person typed for a kit waits no more: it was handed out.
pub async fn drop_drafts(
    db: &mut SqliteConnection,
    kit: KitId,
    person: PersonId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"delete from lending_draft where kit_id = $1 and person_id = $2"#,
        kit,
        person
    )
    .execute(db)
    .await?;
    Ok(())
}
