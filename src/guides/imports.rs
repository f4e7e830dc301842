//! Reading a parts list in: the draft that a file becomes, and taking it over.
//!
//! A draft keeps the bytes and what the person said about them; everything else is worked out anew each
//! time it is looked at, on a thread of its own and a few at a time. Nothing of it is in the list until it
//! is taken over, and then all of it is, in one transaction.

use serde::{Deserialize, Serialize};
use sqlx::SqliteConnection;
use tokio::sync::Semaphore;
use tokio::task::spawn_blocking;

use super::import::columns;
use super::import::list::PartsList;
use super::import::mapping::{Mapping, MappingWrong};
use super::import::opened::{self, NotOpened, SheetFound};
use super::import::preview::{Known, KnownPart, Preview, preview};
use super::import::table::Table;
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
    NotOpened(#[from] NotOpened),
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
    #[error("another sheet was chosen meanwhile: look at the page anew")]
    OtherSheet,
    #[error("choose one of the sheets that can be read")]
    WhichSheet,
    #[error("{0}")]
    List(#[from] ListRefused),
}

/// How many files are read at once. Each may need as much memory as its limits allow.
const AT_ONCE: usize = 2;
/// How many more may wait for their turn.
const WAITING: usize = 16;

static WORKING: Semaphore = Semaphore::const_new(AT_ONCE);
static ADMITTED: Semaphore = Semaphore::const_new(AT_ONCE + WAITING);

/// Runs the reading of a file on a thread for such work. It ends by itself: what is read is bounded.
async fn in_turn<T: Send + 'static>(
    read: impl FnOnce() -> T + Send + 'static,
) -> Result<T, AppError> {
    let admitted = ADMITTED.try_acquire().map_err(|_| {
        AppError::Busy("Many files are being read. Wait a moment, then send this one again.".into())
    })?;
    let working = WORKING.acquire().await.map_err(anyhow::Error::from)?;
    let turn = (admitted, working);
    // The turn goes along: it ends with the work, even if nobody waits for it any more.
    let done = spawn_blocking(move || {
        let _turn = turn;
        read()
    });
    Ok(done.await.map_err(anyhow::Error::from)?)
}

/// What a draft keeps beside the bytes.
#[derive(Debug, Serialize, Deserialize)]
struct Said {
    /// Which sheet of the file is read.
    #[serde(default)]
    sheet: usize,
    /// The sheets there are to choose from.
    #[serde(default)]
    sheets: Vec<SheetFound>,
    #[serde(flatten)]
    mapping: Mapping,
}

impl Said {
    fn json(&self) -> Result<String, AppError> {
        Ok(serde_json::to_string(self).map_err(anyhow::Error::from)?)
    }
}

/// A draft, read.
pub struct Reading {
    pub draft: Draft,
    pub table: Table,
    pub sheet: usize,
    /// The sheets of the file, the likeliest first; none where the file is one table.
    pub sheets: Vec<SheetFound>,
    pub mapping: Mapping,
    /// Or what keeps the mapping from making a list.
    pub preview: Result<Preview, Vec<MappingWrong>>,
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
    let copy = bytes.to_vec();
    let opened = in_turn(move || opened::open(&copy))
        .await?
        .map_err(|wrong| NotDone::Refused(wrong.into()))?;
    let mapping = Said {
        sheet: opened.sheet,
        sheets: opened.sheets,
        mapping: opened.mapping,
    }
    .json()?;
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

/// A draft's own row. Only whoever made it sees it.
async fn own_draft(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    draft: ImportDraftId,
) -> Result<Draft, AppError> {
    store::draft(db, draft)
        .await?
        .filter(|draft| draft.made_by == viewer.person)
        .ok_or(AppError::NotFound("draft of a list"))
}

/// What was said about a draft; none if it was kept by an earlier form of this program.
fn said(draft: &Draft) -> Option<Said> {
    serde_json::from_str(draft.mapping.as_deref()?).ok()
}

/// A draft's bytes read as a table. No connection is held meanwhile: it may take a while.
async fn opened(
    app: &App,
    viewer: &Viewer,
    draft: ImportDraftId,
    sheet: Option<usize>,
) -> Result<(Table, usize), AppError> {
    let mut db = app.db.read().await?;
    let draft = own_draft(&mut db, viewer, draft).await?;
    drop(db);
    let sheet = sheet
        .or_else(|| said(&draft).map(|said| said.sheet))
        .unwrap_or(0);
    let table = in_turn(move || opened::sheet(&draft.bytes, sheet)).await?;
    let table = table.map_err(|error| AppError::BadRequest(error.to_string()))?;
    Ok((table, sheet))
}

/// A draft as it stands, with its preview.
pub async fn reading(
    app: &App,
    viewer: &Viewer,
    draft: ImportDraftId,
) -> Result<Reading, AppError> {
    let (table, sheet) = opened(app, viewer, draft, None).await?;
    let mut db = app.db.read().await?;
    let draft = own_draft(&mut db, viewer, draft).await?;
    let said = said(&draft).unwrap_or_else(|| Said {
        sheet,
        sheets: Vec::new(),
        mapping: columns::guess(&table),
    });
    if said.sheet != sheet {
        return Err(AppError::BadRequest(ImportRefused::OtherSheet.to_string()));
    }
    let known = known(&mut db, &draft).await?;
    let preview = preview(&table, &said.mapping, &known);
    Ok(Reading {
        draft,
        table,
        sheet,
        sheets: said.sheets,
        mapping: said.mapping,
        preview,
    })
}

/// Reads another sheet of a draft's file, with a new guess at what its columns mean.
pub async fn choose_sheet(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    draft: ImportDraftId,
    sheet: usize,
) -> Result<Outcome, NotDone<ImportRefused>> {
    let before = reading(app, viewer, draft).await?;
    let can_be_read = |found: &SheetFound| found.at == sheet && found.wrong.is_none();
    if !before.sheets.iter().any(can_be_read) {
        return Err(NotDone::Refused(ImportRefused::WhichSheet));
    }
    let (table, _) = opened(app, viewer, draft, Some(sheet)).await?;
    let json = Said {
        sheet,
        sheets: before.sheets,
        mapping: columns::guess(&table),
    }
    .json()?;
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        store::set_mapping(tx, draft, &json).await?;
        Ok(format!("/imports/{draft}"))
    })
    .await
}

/// Keeps what a person says about the columns and lines of a draft.
pub async fn say(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    draft: ImportDraftId,
    fields: &[(String, String)],
) -> Result<Outcome, NotDone<ImportRefused>> {
    let reading = reading(app, viewer, draft).await?;
    let seen = fields.iter().find(|(name, _)| name == "sheet");
    if seen.is_some_and(|(_, sheet)| *sheet != reading.sheet.to_string()) {
        return Err(NotDone::Refused(ImportRefused::OtherSheet));
    }
    let mapping = Mapping::from_fields(
        reading.table.width(),
        fields
            .iter()
            .map(|(name, value)| (name.as_str(), value.as_str())),
    )
    .map_err(|wrong| NotDone::Refused(ImportRefused::Mapping(vec![wrong])))?;
    let json = Said {
        sheet: reading.sheet,
        sheets: reading.sheets,
        mapping,
    }
    .json()?;
    receipts::once(app, sent, Some(viewer.person), async |tx| {
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
    let (table, sheet) = opened(app, viewer, draft, None).await?;
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let refuse = |refused| NotDone::Refused(refused);
        let own = own_draft(tx, viewer, draft).await?;
        if own.is_taken {
            return Err(refuse(ImportRefused::Taken));
        }
        let mapping = match said(&own) {
            Some(said) if said.sheet != sheet => return Err(refuse(ImportRefused::OtherSheet)),
            Some(said) => said.mapping,
            None => columns::guess(&table),
        };
        let known = known(tx, &own).await?;
        let preview = preview(&table, &mapping, &known)
            .map_err(|wrongs| refuse(ImportRefused::Mapping(wrongs)))?;
        if !preview.can_be_taken() {
            return Err(refuse(ImportRefused::Stopped));
        }
        let revision = store::revision(tx, own.revision)
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
