//! What was put on the scale for tallies that were weighed.

use sqlx::SqliteConnection;

use super::super::rules::weighed::{Reading, Typed};
use crate::ids::{PartId, TallyId, TeamId};

pub async fn insert_weighing(
    db: &mut SqliteConnection,
    tally: TallyId,
    reading: &Reading,
) -> sqlx::Result<()> {
    let (sample, pieces) = (reading.sample_words(), reading.pieces());
    sqlx::query!(
        r#"
            insert into weighing (
                tally_id, gross_g, tare_g, step_g, sample, sample_step_g, pieces, within
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8)
        "#,
        tally,
        reading.gross,
        reading.tare,
        reading.step,
        sample,
        reading.sample_step,
        pieces,
        reading.answer.expanded
    )
    .execute(db)
    .await?;
    Ok(())
}

/// What is worth keeping of the last weighing of a part in a team's kits: the single pieces and both scales.
pub async fn last_sample(
    db: &mut SqliteConnection,
    part: PartId,
    team: TeamId,
) -> sqlx::Result<Option<Typed>> {
    let row = sqlx::query!(
        r#"
            select
                weighing.step_g as "step!: f64",
                weighing.sample as "sample!",
                weighing.sample_step_g as "sample_step!: f64"
            from weighing
            join tally on tally.id = weighing.tally_id
            join stint on stint.id = tally.stint_id
            join count_sheet on count_sheet.id = stint.count_id
            join kit on kit.id = count_sheet.kit_id
            where tally.part_id = $1 and kit.team_id = $2
            order by tally.n desc
            limit 1
        "#,
        part,
        team
    )
    .fetch_optional(db)
    .await?;
    Ok(row.map(|row| Typed {
        step: row.step.to_string(),
        sample: row.sample,
        sample_step: row.sample_step.to_string(),
        ..Typed::default()
    }))
}
