//! The queries about pieces that may be another team's.

use sqlx::SqliteConnection;

use crate::ids::{PartId, TeamId};
use crate::ledger::{Outside, Seq};

/// Whether another team has signed off as missing what is meant: a part, or what a full-text expression finds.
/// Which team, nobody is told.
pub async fn is_missed_elsewhere(
    db: &mut SqliteConnection,
    team: TeamId,
    part: Option<PartId>,
    expression: Option<&str>,
) -> sqlx::Result<bool> {
    if part.is_none() && expression.is_none() {
        return Ok(false);
    }
    let missing = Outside::Missing.place();
    sqlx::query_scalar!(
        r#"
            select exists (
                select 1
                from kit
                cross join balance on balance.kit_id = kit.id
                    and balance.place_id = $4 and balance.qty > 0
                where kit.team_id <> $1 and kit.put_away_at is null
                    and ($2 is null or balance.part_id = $2)
                    and (
                        $3 is null
                        or balance.part_id in (
                            select finding.subject_id
                            from finding_words
                            join finding on finding.n = finding_words.rowid
                            where finding_words match $3 and finding.kind = 'part'
                        )
                    )
            ) as "is_missed!: bool"
        "#,
        team,
        part,
        expression,
        missing
    )
    .fetch_one(db)
    .await
}

/// How many pieces an entry took in that no kit of the team had missed.
pub async fn found_over(db: &mut SqliteConnection, entry: Seq) -> sqlx::Result<i64> {
    let found = Outside::Found.place();
    sqlx::query_scalar!(
        r#"
            select coalesce(sum(qty), 0) as "qty!: i64" from move
            where entry_seq = $1 and from_place_id = $2
        "#,
        entry,
        found
    )
    .fetch_one(db)
    .await
}
