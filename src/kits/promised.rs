//! What the supplier was asked for, has promised and has sent.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::rules::promised::allot;
use super::store::{self, AskedLine};
use crate::ids::{KitId, PartId};

/// The short lines of the kit's reports, each with what arrived of it.
pub async fn asked(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<(AskedLine, i64)>> {
    let mut lines = Vec::new();
    let all = store::asked(db, kit).await?;
    for of_part in all.chunk_by(|one, other| one.part == other.part) {
        let asked: Vec<_> = of_part.iter().map(|line| line.asked).collect();
        let (part, after) = (of_part[0].part, asked[0].after);
        let came = store::came(db, kit, part, after).await?;
        let arrived = allot(&asked, &came);
        lines.extend(of_part.iter().cloned().zip(arrived));
    }
    Ok(lines)
}

/// For each part, how many pieces are promised by reports that are under way, or ordered, and have not come.
pub(super) async fn on_order(
    db: &mut SqliteConnection,
    kit: KitId,
) -> sqlx::Result<HashMap<PartId, i64>> {
    let open = store::open(db, kit).await?;
    let mut expected: HashMap<PartId, i64> = HashMap::new();
    for line in store::ordered(db, kit).await? {
        *expected.entry(line.part).or_default() += line.left;
    }
    if open.is_empty() {
        return Ok(expected);
    }
    for (line, arrived) in asked(db, kit).await? {
        let left = line.asked.still_promised(arrived);
        if left > 0 && open.contains(&line.report) {
            *expected.entry(line.part).or_default() += left;
        }
    }
    Ok(expected)
}
