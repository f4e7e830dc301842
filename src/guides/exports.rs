//! Writing a parts list out, so that it can be read in again as the same list.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::import::list::{Assembly, ListLine, Part, PartsList};
use super::need::Child;
use super::store;
use crate::error::AppError;
use crate::ids::RevisionId;

/// A revision's list, to be written into a file.
pub async fn list(db: &mut SqliteConnection, revision: RevisionId) -> Result<PartsList, AppError> {
    let revision = store::revision(db, revision)
        .await?
        .ok_or(AppError::NotFound("revision"))?;
    let sizes = store::sizes(db, revision.guide).await?;
    let rows = store::list_rows(db, revision.id).await?;
    let names = store::assembly_names(db, revision.id).await?;
    let mut list = PartsList {
        sizes: sizes.iter().map(|size| size.name.clone()).collect(),
        parts: Vec::new(),
        assemblies: Vec::new(),
        lines: Vec::new(),
    };
    let mut part_at = HashMap::new();
    for part in store::listed_parts(db, revision.id).await? {
        part_at.insert(part.id, list.parts.len());
        list.parts.push(Part {
            number: part.number,
            name: part.name,
            colour: part.colour,
            note: part.how_to_know,
            mass_mg: part.mass_g.map(|mass| (mass * 1000.0).round() as u64),
            issue: 0,
            known: None,
            line: 0,
        });
    }
    let mut assembly_at = HashMap::new();
    let mut position = |list: &mut PartsList, assembly| {
        *assembly_at.entry(assembly).or_insert_with(|| {
            let name = names.get(&assembly).cloned().unwrap_or_default();
            list.assemblies.push(Assembly {
                name,
                known: None,
                line: 0,
            });
            list.assemblies.len() - 1
        })
    };
    for row in rows {
        let parent = row.assembly.map(|assembly| position(&mut list, assembly));
        let child = match row.child {
            Child::Part(part) => match part_at.get(&part) {
                Some(at) => Child::Part(*at),
                None => continue,
            },
            Child::Assembly(assembly) => Child::Assembly(position(&mut list, assembly)),
        };
        list.lines.push(ListLine {
            line: 0,
            parent,
            child,
            basis: row.basis,
            quantities: sizes
                .iter()
                .map(|size| row.quantities.get(&size.id).copied().unwrap_or(0))
                .collect(),
        });
    }
    Ok(list)
}
