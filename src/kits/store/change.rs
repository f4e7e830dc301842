//! Adding and changing kits.

use sqlx::SqliteConnection;

use super::NewKit;
use crate::clock::Instant;
use crate::ids::{KitId, TeamId};
use crate::kits::rules::details::Details;

pub async fn insert(db: &mut SqliteConnection, new: &NewKit, now: Instant) -> sqlx::Result<()> {
    let revision = new.checked_against.map(|(revision, _)| revision);
    let size = new.checked_against.map(|(_, size)| size);
    sqlx::query!(
        r#"
            insert into kit (
                id, team_id, name, revision_id, size_id, supplier, serial, purchase_reference,
                brought_in, received_on, report_by, note, made_at
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11, $12, $13)
        "#,
        new.id,
        new.team,
        new.name,
        revision,
        size,
        new.supplier,
        new.serial,
        new.purchase_reference,
        new.brought_in,
        new.received_on,
        new.report_by,
        new.note,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Writes the details of a kit, if it is still at `version`. Answers whether it was.
pub async fn update(
    db: &mut SqliteConnection,
    kit: KitId,
    version: i64,
    details: &Details,
) -> sqlx::Result<bool> {
    let revision = details.checked_against.map(|(revision, _)| revision);
    let size = details.checked_against.map(|(_, size)| size);
    let changed = sqlx::query!(
        r#"
            update kit
            set name = $3,
                revision_id = $4,
                size_id = $5,
                supplier = $6,
                serial = $7,
                purchase_reference = $8,
                brought_in = $9,
                received_on = $10,
                report_by = $11,
                note = $12,
                version = version + 1
            where id = $1 and version = $2
        "#,
        kit,
        version,
        details.name,
        revision,
        size,
        details.supplier,
        details.serial,
        details.purchase_reference,
        details.brought_in,
        details.received_on,
        details.report_by,
        details.note
    )
    .execute(db)
    .await?;
    Ok(changed.rows_affected() == 1)
}

/// Puts a kit away, or brings it back with `None`.
pub async fn set_put_away(
    db: &mut SqliteConnection,
    kit: KitId,
    at: Option<Instant>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update kit set put_away_at = $2, version = version + 1 where id = $1"#,
        kit,
        at
    )
    .execute(db)
    .await?;
    Ok(())
}

/// The names of a team's kits, put away or not, but for one.
pub async fn names_of_others(
    db: &mut SqliteConnection,
    team: TeamId,
    kit: Option<KitId>,
) -> sqlx::Result<Vec<String>> {
    sqlx::query_scalar!(
        r#"select name from kit where team_id = $1 and id is not $2"#,
        team,
        kit
    )
    .fetch_all(db)
    .await
}

/// Whether a count of the kit was ever begun.
pub async fn counted_before(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<bool> {
    sqlx::query_scalar!(
        r#"select exists (select 1 from count_sheet where kit_id = $1) as "yes!: bool""#,
        kit
    )
    .fetch_one(db)
    .await
}
