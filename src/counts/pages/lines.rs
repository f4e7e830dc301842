//! The lines of a stint as its pages show them.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::super::kit_total::kit_totals;
use super::super::rules::close::Purpose;
use super::super::rules::tally::Standing;
use super::super::store::{self, CountSheet, Part, Stint};
use crate::error::AppError;
use crate::ids::PartId;
use crate::text::fold;

/// One part that is counted in a stint, or may be.
#[derive(Debug, Clone)]
pub struct Line {
    pub part: Part,
    /// What should be in this place; `None`: nobody said.
    pub due: Option<i64>,
    pub shown: Option<i64>,
    pub doubted: bool,
}

impl Line {
    pub fn is_counted(&self) -> bool {
        self.shown.is_some()
    }

    pub fn short(&self) -> i64 {
        match (self.due, self.shown) {
            (Some(due), Some(shown)) => (due - shown).max(0),
            _ => 0,
        }
    }

    pub fn over(&self) -> i64 {
        match (self.due, self.shown) {
            (Some(due), Some(shown)) => (shown - due).max(0),
            _ => 0,
        }
    }

    pub fn all_here(&self) -> bool {
        self.shown.is_some() && self.due == self.shown
    }
}

/// The lines of a stint's place.
pub struct Lines {
    pub lines: Vec<Line>,
    /// What is due here is known; if not, the lines are what the kit still lacks.
    pub has_slip: bool,
}

/// Whether a stint's pages show what is due: not in a recount of what somebody else counted.
pub fn shows_need(sheet: &CountSheet, stint: &Stint) -> bool {
    !(stint.blind && sheet.purpose == Purpose::Recount)
}

/// What is due in the place and what else was counted there. Where no slip says what is due, the parts
/// that the kit still lacks.
pub async fn of_stint(
    db: &mut SqliteConnection,
    sheet: &CountSheet,
    stint: &Stint,
) -> Result<Lines, AppError> {
    let due = store::due_of_place(db, sheet.id, stint.place).await?;
    let totals: HashMap<PartId, Standing> =
        store::totals(db, stint.id).await?.into_iter().collect();
    let has_slip = !due.is_empty();
    let mut order: Vec<(PartId, Option<i64>)> =
        due.iter().map(|(part, qty)| (*part, Some(*qty))).collect();
    let mut parts: HashMap<PartId, Part> = store::parts_of_count(db, sheet.id)
        .await?
        .into_iter()
        .map(|part| (part.id, part))
        .collect();
    if !has_slip {
        let kit = kit_totals(db, sheet, stint).await?;
        for part in store::parts_of_kit(db, sheet.kit).await? {
            let lacks = kit.get(&part.id).is_some_and(|total| total.to_come() > 0);
            if lacks || totals.contains_key(&part.id) {
                order.push((part.id, None));
            }
            parts.insert(part.id, part);
        }
    }
    let mut others: Vec<PartId> = totals
        .keys()
        .filter(|part| !order.iter().any(|(known, _)| known == *part))
        .copied()
        .collect();
    others.sort_by_key(|part| parts.get(part).map(Part::full_name));
    order.extend(others.into_iter().map(|part| (part, None)));

    let shows = shows_need(sheet, stint);
    let lines = order
        .into_iter()
        .filter_map(|(part, due)| {
            let standing = totals.get(&part).copied().unwrap_or_default();
            Some(Line {
                part: parts.get(&part)?.clone(),
                due: due.filter(|_| shows),
                shown: standing.total,
                doubted: standing.doubted,
            })
        })
        .collect();
    Ok(Lines { lines, has_slip })
}

/// The lines that fit what somebody typed: those of the place first, then the rest of the kit's list, then
/// other parts, which may turn up in a bag too.
pub async fn found(
    db: &mut SqliteConnection,
    sheet: &CountSheet,
    lines: Vec<Line>,
    typed: &str,
) -> Result<Vec<Line>, AppError> {
    let wanted = fold(typed);
    let fits = |part: &Part| {
        let text = fold(&format!("{} {} {}", part.number, part.name, part.colour));
        wanted.split(' ').all(|word| text.contains(word))
    };
    let mut found: Vec<Line> = lines.into_iter().filter(|line| fits(&line.part)).collect();
    let mut rest: Vec<Part> = store::parts_of_kit(db, sheet.kit)
        .await?
        .into_iter()
        .filter(|part| fits(part))
        .collect();
    rest.extend(store::others_like(db, sheet.kit, typed.trim()).await?);
    for part in rest {
        if !found.iter().any(|line| line.part.id == part.id) {
            found.push(Line {
                part,
                due: None,
                shown: None,
                doubted: false,
            });
        }
    }
    Ok(found)
}
