//! Reading a parts list in: the draft that a file becomes, and taking it over.
//!
//! A draft keeps the bytes and what the person said about them; everything else is worked out anew each
//! time it is looked at. Nothing of it is in the list until it is taken over, and then all of it is, in one
//! transaction.

use std::collections::HashMap;

use sqlx::SqliteConnection;

use super::import::list::PartsList;
use super::import::mapping::{Mapping, MappingWrong};
use super::import::preview::{Known, KnownPart, Preview, preview};
use super::import::table::{self, Table};
use super::import::{columns, decode};
use super::list::{ListRefused, NewChild, NewLine, NewList, NewPart, write_list};
use super::need::Child;
use super::store::{self, Draft, NewDraft};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{GuideId, ImportDraftId, RevisionId, SizeId};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::text::fold;

/// Drafts are kept this long.
const KEPT_DAYS: i64 = 14;

/// Why a file or a draft was not taken, in words.
#[derive(Debug, thiserror::Error)]
pub enum ImportRefused {
    #[error("choose a file, or paste a table")]
    Nothing,
    #[error("{0}")]
    NotText(#[from] decode::NotText),
    #[error("{0}")]
    NotATable(#[from] table::NotATable),
    #[error("{}", .0.iter().map(ToString::to_string).collect::<Vec<_>>().join(" "))]
    Mapping(Vec<MappingWrong>),
    #[error(
        "some lines cannot be taken: mend the file, say differently what a column means, or leave them out"
    )]
    Stopped,
    #[error("say which size of kit the quantities are for")]
    WhichSize,
    #[error("this was taken over already")]
    Taken,
    #[error("{0}")]
    List(#[from] ListRefused),
}

/// A draft, read.
pub struct Reading {
    pub draft: Draft,
    pub table: Table,
    pub mapping: Mapping,
    /// Or what keeps the mapping from making a list.
    pub preview: Result<Preview, Vec<MappingWrong>>,
}

/// Reads bytes as a table.
fn read_table(bytes: &[u8]) -> Result<Table, ImportRefused> {
    Ok(table::read(&decode::decode(bytes)?.text)?)
}

/// Keeps a file or a pasted table as a draft, with a guess at what its columns mean.
pub async fn bring(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    revision: RevisionId,
    file_name: &str,
    bytes: &[u8],
) -> Result<Outcome, NotDone<ImportRefused>> {
    if bytes.iter().all(u8::is_ascii_whitespace) {
        return Err(NotDone::Refused(ImportRefused::Nothing));
    }
    // Reading happens before the write lock is taken: it may take a while.
    let table = read_table(bytes).map_err(NotDone::Refused)?;
    let mapping = serde_json::to_string(&columns::guess(&table))
        .map_err(anyhow::Error::from)
        .map_err(AppError::from)?;
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let found = store::revision(tx, revision)
            .await?
            .ok_or(AppError::NotFound("revision"))?;
        if found.is_sealed {
            return Err(NotDone::Refused(ListRefused::Sealed.into()));
        }
        let now = app.clock.now();
        store::forget_old_drafts(tx, now).await?;
        let id = ImportDraftId::new();
        let file_name: String = file_name.chars().take(255).collect();
        store::insert_draft(
            tx,
            NewDraft {
                id,
                revision,
                made_by: viewer.person,
                now,
                ends_at: now.plus_days(KEPT_DAYS),
                file_name: &file_name,
                bytes,
                mapping: &mapping,
            },
        )
        .await?;
        Ok(format!("/imports/{id}"))
    })
    .await
}

/// A draft as it stands, with its preview. Only whoever made it sees it.
pub async fn reading(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    draft: ImportDraftId,
) -> Result<Reading, AppError> {
    let draft = store::draft(db, draft)
        .await?
        .filter(|draft| draft.made_by == viewer.person)
        .ok_or(AppError::NotFound("draft of a list"))?;
    let table =
        read_table(&draft.bytes).map_err(|error| AppError::BadRequest(error.to_string()))?;
    let mapping: Mapping = draft
        .mapping
        .as_deref()
        .and_then(|json| serde_json::from_str(json).ok())
        .unwrap_or_else(|| columns::guess(&table));
    let known = known(db, &draft).await?;
    let preview = preview(&table, &mapping, &known);
    Ok(Reading {
        draft,
        table,
        mapping,
        preview,
    })
}

/// Keeps what a person says about the columns and lines of a draft.
pub async fn say(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    draft: ImportDraftId,
    fields: &[(String, String)],
) -> Result<Outcome, NotDone<ImportRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let reading = reading(tx, viewer, draft).await?;
        let mapping = Mapping::from_fields(
            reading.table.width(),
            fields
                .iter()
                .map(|(name, value)| (name.as_str(), value.as_str())),
        )
        .map_err(|wrong| NotDone::Refused(ImportRefused::Mapping(vec![wrong])))?;
        let json = serde_json::to_string(&mapping)
            .map_err(anyhow::Error::from)
            .map_err(AppError::from)?;
        store::set_mapping(tx, draft, &json).await?;
        Ok(format!("/imports/{draft}"))
    })
    .await
}

/// Takes a draft over: its list becomes the revision's list.
pub async fn take(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    draft: ImportDraftId,
) -> Result<Outcome, NotDone<ImportRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let refuse = |refused| NotDone::Refused(refused);
        let reading = reading(tx, viewer, draft).await?;
        if reading.draft.is_taken {
            return Err(refuse(ImportRefused::Taken));
        }
        let preview = reading
            .preview
            .map_err(|wrongs| refuse(ImportRefused::Mapping(wrongs)))?;
        if !preview.can_be_taken() {
            return Err(refuse(ImportRefused::Stopped));
        }
        let revision = store::revision(tx, reading.draft.revision)
            .await?
            .ok_or(AppError::NotFound("revision"))?;
        let sizes = sizes_for(tx, revision.guide, &preview.list).await?;
        let list = new_list(&preview.list, &sizes);
        write_list(tx, revision.id, &list)
            .await
            .map_err(|not_done| match not_done {
                NotDone::Refused(refused) => refuse(refused.into()),
                NotDone::Failed(error) => NotDone::Failed(error),
            })?;
        store::mark_taken(tx, draft, app.clock.now()).await?;
        Ok(format!("/revisions/{}", revision.id))
    })
    .await
}

/// The guide's size for each size of the file; new ones are added to the guide.
async fn sizes_for(
    db: &mut SqliteConnection,
    guide: GuideId,
    list: &PartsList,
) -> Result<Vec<SizeId>, NotDone<ImportRefused>> {
    let known = store::sizes(db, guide).await?;
    let mut sizes = Vec::with_capacity(list.sizes.len());
    for name in &list.sizes {
        let same = known.iter().find(|size| fold(&size.name) == fold(name));
        let id = match (same, name.is_empty(), known.as_slice()) {
            (Some(size), ..) => size.id,
            (None, true, [only]) => only.id,
            (None, true, _) => return Err(NotDone::Refused(ImportRefused::WhichSize)),
            (None, false, _) => store::add_size(db, guide, name).await?,
        };
        sizes.push(id);
    }
    Ok(sizes)
}

fn new_list(list: &PartsList, sizes: &[SizeId]) -> NewList {
    let assembly = |at: usize| {
        list.assemblies
            .get(at)
            .map(|assembly| assembly.name.clone())
    };
    NewList {
        parts: list
            .parts
            .iter()
            .map(|part| NewPart {
                number: part.number.clone(),
                // A part without a name is called by its number.
                name: if part.name.is_empty() {
                    part.number.clone()
                } else {
                    part.name.clone()
                },
                colour: part.colour.clone(),
                issue_mark: if part.issue == 0 {
                    String::new()
                } else {
                    (part.issue + 1).to_string()
                },
                mass_g: part.mass_mg.map(|mass| mass as f64 / 1000.0),
                how_to_know: part.note.chars().take(500).collect(),
            })
            .collect(),
        lines: list
            .lines
            .iter()
            .filter_map(|line| {
                Some(NewLine {
                    assembly: line.parent.and_then(assembly),
                    child: match line.child {
                        Child::Part(at) => NewChild::Part(at),
                        Child::Assembly(at) => NewChild::Assembly(assembly(at)?),
                    },
                    basis: line.basis,
                    quantities: sizes
                        .iter()
                        .zip(&line.quantities)
                        .map(|(size, quantity)| {
                            (*size, u32::try_from(*quantity).unwrap_or(u32::MAX))
                        })
                        .collect(),
                    source_line: Some(line.line.into()),
                })
            })
            .collect(),
    }
}

async fn known(db: &mut SqliteConnection, draft: &Draft) -> Result<Known, AppError> {
    let revision = store::revision(db, draft.revision)
        .await?
        .ok_or(AppError::NotFound("revision"))?;
    let parts = store::known_parts(db, &revision.maker).await?;
    Ok(Known {
        parts: parts
            .into_iter()
            .map(|(number, colour, name)| KnownPart {
                number,
                colour,
                name,
            })
            .collect(),
        assemblies: store::assemblies_of(db, revision.guide).await?,
    })
}

/// A revision's list as a CSV file that can be read in again.
pub async fn export(db: &mut SqliteConnection, revision: RevisionId) -> Result<Vec<u8>, AppError> {
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
        list.parts.push(super::import::list::Part {
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
            list.assemblies.push(super::import::list::Assembly {
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
        list.lines.push(super::import::list::ListLine {
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
    Ok(super::import::export::export(&list))
}
