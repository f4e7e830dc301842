//! The queries of the history: what things are called, and whose they are.

use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::ids::{KitId, PartId, TeamId};
use crate::ledger::Seq;

fn hex_list(ids: impl Iterator<Item = Uuid>) -> String {
    let ids: Vec<String> = ids.map(|id| format!("\"{}\"", id.simple())).collect();
    format!("[{}]", ids.join(","))
}

pub struct PartName {
    pub part: PartId,
    pub name: String,
    pub colour: String,
    pub number: String,
}

pub async fn parts(db: &mut SqliteConnection, parts: &[PartId]) -> sqlx::Result<Vec<PartName>> {
    let ids = hex_list(parts.iter().map(|part| part.0));
    sqlx::query_as!(
        PartName,
        r#"
            select id as "part: PartId", name, colour, number
            from part
            where id in (select unhex(value) from json_each($1))
        "#,
        ids
    )
    .fetch_all(db)
    .await
}

pub async fn kits(db: &mut SqliteConnection, kits: &[KitId]) -> sqlx::Result<Vec<(KitId, String)>> {
    let ids = hex_list(kits.iter().map(|kit| kit.0));
    let rows = sqlx::query!(
        r#"
            select id as "id: KitId", name
            from kit
            where id in (select unhex(value) from json_each($1))
        "#,
        ids
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}

/// All kits of a team, put away or not.
pub async fn kits_of_team(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<KitId>> {
    sqlx::query_scalar!(
        r#"select id as "id: KitId" from kit where team_id = $1"#,
        team
    )
    .fetch_all(db)
    .await
}

/// The teams whose pieces or places an entry touched.
pub async fn teams_of(db: &mut SqliteConnection, seq: Seq) -> sqlx::Result<Vec<TeamId>> {
    sqlx::query_scalar!(
        r#"
            select kit.team_id as "team!: TeamId"
            from move
            join kit on kit.id = move.from_kit_id
            where move.entry_seq = $1
            union
            select kit.team_id
            from move
            join kit on kit.id = move.to_kit_id
            where move.entry_seq = $1
            union
            select kit.team_id
            from count_mark
            join kit on kit.id = count_mark.kit_id
            where count_mark.entry_seq = $1
            union
            select place.team_id
            from place_move
            join place on place.id = place_move.place_id
            where place_move.entry_seq = $1
        "#,
        seq
    )
    .fetch_all(db)
    .await
}
