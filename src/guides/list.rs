//! Writing a whole parts list into a revision, and its roll-up beside it.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::need::{Basis, Child, Line, NeedRefused, need};
use super::store;
use crate::error::{AppError, NotDone};
use crate::ids::{AssemblyId, ListLineId, PartId, RevisionId, SizeId};

/// A part as a parts list names it.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct NewPart {
    pub number: String,
    pub name: String,
    pub colour: String,
    /// Tells two parts apart that bear the same number.
    pub issue_mark: String,
    pub mass_g: Option<f64>,
    pub how_to_know: String,
}

/// What a line puts into its assembly: a part, as a position in the list's parts, or an assembly.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum NewChild {
    Part(usize),
    Assembly(String),
}

/// A line of a list to be written.
#[derive(Debug, Clone)]
pub struct NewLine {
    /// None: the kit itself.
    pub assembly: Option<String>,
    pub child: NewChild,
    pub basis: Basis,
    /// Sizes without the line are left out.
    pub quantities: Vec<(SizeId, u32)>,
    pub source_line: Option<i64>,
}

/// A parts list to be written.
#[derive(Debug, Clone, Default)]
pub struct NewList {
    pub parts: Vec<NewPart>,
    pub lines: Vec<NewLine>,
}

/// Why a list was not written.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ListRefused {
    #[error(
        "a kit was checked against this revision, so its list stays as it is; add a new revision"
    )]
    Sealed,
    #[error("{0}")]
    Need(String),
    #[error("the total of a part is beyond a thousand million")]
    TooMany,
}

/// Replaces the list of a revision, and its roll-up, in the caller's transaction. Parts that are known
/// by maker, number and colour stay the same parts; a new name for one is noted for this revision.
pub async fn write_list(
    db: &mut SqliteConnection,
    revision: RevisionId,
    list: &NewList,
) -> Result<(), NotDone<ListRefused>> {
    let found = store::revision(db, revision)
        .await?
        .ok_or(AppError::NotFound("revision"))?;
    if found.is_sealed {
        return Err(NotDone::Refused(ListRefused::Sealed));
    }
    store::clear_list(db, revision).await?;

    let mut parts = Vec::with_capacity(list.parts.len());
    for part in &list.parts {
        parts.push(store::part_for(db, &found.maker, revision, part).await?);
    }
    let mut assemblies: HashMap<&str, AssemblyId> = HashMap::new();
    for line in &list.lines {
        let child = match &line.child {
            NewChild::Assembly(name) => Some(name),
            NewChild::Part(_) => None,
        };
        for name in line.assembly.iter().chain(child) {
            if !assemblies.contains_key(name.as_str()) {
                assemblies.insert(name, store::assembly_for(db, found.guide, name).await?);
            }
        }
    }

    let id_of = |name: &String| assemblies.get(name.as_str()).copied();
    let mut lines_by_size: HashMap<SizeId, Vec<Line<PartId, AssemblyId>>> = HashMap::new();
    for (position, line) in (0i64..).zip(&list.lines) {
        let parent = line.assembly.as_ref().and_then(id_of);
        let child = match &line.child {
            NewChild::Part(at) => Child::Part(
                *parts
                    .get(*at)
                    .ok_or_else(|| anyhow::anyhow!("a line names part {at}"))
                    .map_err(AppError::from)?,
            ),
            NewChild::Assembly(name) => Child::Assembly(
                id_of(name)
                    .ok_or_else(|| anyhow::anyhow!("assembly {name} has no id"))
                    .map_err(AppError::from)?,
            ),
        };
        let id = ListLineId::new();
        store::insert_line(
            db,
            store::LineRow {
                id,
                revision,
                assembly: parent,
                child,
                basis: line.basis,
                position,
                source_line: line.source_line,
            },
        )
        .await?;
        for &(size, quantity) in &line.quantities {
            if quantity > 0 {
                store::insert_quantity(db, id, size, quantity).await?;
                lines_by_size.entry(size).or_default().push(Line {
                    parent,
                    child,
                    basis: line.basis,
                    quantity: quantity.into(),
                });
            }
        }
    }
    write_need(db, revision, list, &parts, &lines_by_size).await
}

async fn write_need(
    db: &mut SqliteConnection,
    revision: RevisionId,
    list: &NewList,
    parts: &[PartId],
    lines_by_size: &HashMap<SizeId, Vec<Line<PartId, AssemblyId>>>,
) -> Result<(), NotDone<ListRefused>> {
    for (size, lines) in lines_by_size {
        let rolled = match need(lines) {
            Ok(rolled) => rolled,
            Err(refused) => {
                let words = explain(db, revision, &refused, list, parts).await?;
                return Err(NotDone::Refused(ListRefused::Need(words)));
            }
        };
        let mut written = std::collections::HashSet::new();
        let mut position = 0;
        for part in parts {
            let total = rolled.part(*part);
            if total == 0 || !written.insert(*part) {
                continue;
            }
            let total = i64::try_from(total)
                .ok()
                .filter(|total| *total <= 1_000_000_000)
                .ok_or(NotDone::Refused(ListRefused::TooMany))?;
            store::insert_need(db, revision, *size, *part, total, position).await?;
            position += 1;
        }
    }
    Ok(())
}

async fn explain(
    db: &mut SqliteConnection,
    revision: RevisionId,
    refused: &NeedRefused<PartId, AssemblyId>,
    list: &NewList,
    parts: &[PartId],
) -> Result<String, AppError> {
    let names = store::assembly_names(db, revision).await?;
    Ok(refused.in_words(|child| match child {
        Child::Assembly(assembly) => names.get(&assembly).cloned().unwrap_or_default(),
        Child::Part(part) => parts
            .iter()
            .position(|known| *known == part)
            .and_then(|at| list.parts.get(at))
            .map(|part| part.name.clone())
            .unwrap_or_default(),
    }))
}
