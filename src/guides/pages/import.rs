//! Reading a parts list in: choose a file or paste a table, say what its columns mean, look through what
//! it comes to, keep it.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::guides::import::decode::LARGEST;
use crate::guides::import::doubts::Severity;
use crate::guides::import::mapping::{BlankAssembly, PATH_SEPARATORS, Role};
use crate::guides::imports::{self, ImportRefused, Reading};
use crate::guides::need::{Basis, Child};
use crate::guides::{self, Guide, Revision, Size};
use crate::ids::{FormId, ImportDraftId, RevisionId};
use crate::people::Viewer;
use crate::receipts::Sent;
use crate::secret;
use crate::text::fold;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// What a body of this form may hold: the largest file, the same as pasted text, and the rest.
pub(super) const BODY_BYTES: usize = LARGEST + 256 * 1024;
const FIRST_ROWS: usize = 3;
const DOUBTS_SHOWN: usize = 200;

#[derive(Template)]
#[template(path = "guides/import_new.html")]
struct BringPage {
    frame: Frame,
    form_id: FormId,
    guide: Guide,
    revision: Revision,
    pasted: String,
    wrongs: Vec<Wrong>,
}

impl BringPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

async fn bring_page(
    app: &App,
    frame: Frame,
    revision: RevisionId,
    pasted: String,
    wrongs: Vec<Wrong>,
) -> Result<BringPage, AppError> {
    let mut db = app.db.read().await?;
    let revision = guides::revision(&mut db, revision)
        .await?
        .ok_or(AppError::NotFound("revision"))?;
    let guide = guides::guide(&mut db, revision.guide)
        .await?
        .ok_or(AppError::NotFound("guide"))?;
    Ok(BringPage {
        form_id: frame.form_id(),
        frame,
        guide,
        revision,
        pasted,
        wrongs,
    })
}

pub(super) async fn new(
    State(app): State<App>,
    frame: Frame,
    Path(revision): Path<RevisionId>,
) -> Result<Response, AppError> {
    let page = bring_page(&app, frame, revision, String::new(), Vec::new()).await?;
    Ok(Page(page).into_response())
}

/// What the upload form said.
struct Brought {
    sent: Sent,
    file_name: String,
    bytes: Vec<u8>,
    pasted: String,
}

async fn read_upload(mut parts: Multipart, path: &str) -> Result<Brought, AppError> {
    let broken = |_| {
        AppError::BadRequest(
            "The file did not arrive whole, or is larger than 5 MiB. Nothing was kept; send it again, \
             or send it in parts."
                .into(),
        )
    };
    let mut id = None;
    let mut file = (String::new(), Vec::new());
    let mut pasted = String::new();
    while let Some(part) = parts.next_field().await.map_err(broken)? {
        match part.name() {
            Some("form_id") => id = part.text().await.map_err(broken)?.parse().ok(),
            Some("file") => {
                let name = part.file_name().unwrap_or_default().to_owned();
                file = (name, part.bytes().await.map_err(broken)?.to_vec());
            }
            Some("pasted") => pasted = part.text().await.map_err(broken)?,
            _ => {}
        }
    }
    let id = id.ok_or_else(|| {
        AppError::BadRequest("The form came without its number. Open the page anew.".into())
    })?;
    let mut signed = path.as_bytes().to_vec();
    for piece in [file.0.as_bytes(), &file.1, pasted.as_bytes()] {
        signed.extend(piece.len().to_be_bytes());
        signed.extend(piece);
    }
    let (file_name, bytes) = if file.1.is_empty() {
        ("pasted table".to_owned(), pasted.clone().into_bytes())
    } else {
        file
    };
    Ok(Brought {
        sent: Sent {
            id,
            hash: secret::hash(&signed),
        },
        file_name,
        bytes,
        pasted,
    })
}

pub(super) async fn bring(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(revision): Path<RevisionId>,
    parts: Multipart,
) -> Result<Response, AppError> {
    let brought = read_upload(parts, &format!("/revisions/{revision}/import")).await?;
    let Brought {
        sent,
        file_name,
        bytes,
        pasted,
    } = brought;
    match imports::bring(&app, &viewer, &sent, revision, &file_name, &bytes).await {
        Ok(outcome) => {
            let text = "Read. Nothing is kept in the list yet.";
            Ok(flash::told(&outcome, text, viewer.zone()))
        }
        Err(NotDone::Refused(refused)) => {
            let field = if file_name == "pasted table" {
                "pasted"
            } else {
                "file"
            };
            let wrongs = vec![Wrong::at(field, refused)];
            Ok(page::again(
                bring_page(&app, frame, revision, pasted, wrongs).await?,
            ))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

#[derive(Template)]
#[template(path = "guides/import.html")]
struct ReadingPage {
    frame: Frame,
    say_form: FormId,
    take_form: FormId,
    sheet_form: FormId,
    guide: Guide,
    revision: Revision,
    draft: ImportDraftId,
    file_name: String,
    is_taken: bool,
    /// The sheets to choose from; none where there is only one.
    sheets: Vec<SheetShown>,
    /// Which of them is read.
    sheet: usize,
    columns: Vec<ColumnShown>,
    basis: Vec<Choice>,
    basis_example: Option<String>,
    blank_assembly: Vec<Choice>,
    has_path: bool,
    separators: Vec<Choice>,
    /// Lines left out, with what the file says there.
    left_out: Vec<(u32, String)>,
    stops: Vec<LineDoubts>,
    looks: Vec<LineDoubts>,
    looks_in_all: usize,
    stops_in_all: usize,
    summary: Option<Summary>,
    wrongs: Vec<Wrong>,
}

struct SheetShown {
    at: usize,
    name: String,
    /// "57 lines", and whether it is hidden.
    holds: String,
    is_chosen: bool,
    wrong: Option<String>,
}

struct ColumnShown {
    at: usize,
    name: String,
    roles: Vec<Choice>,
    sizes: Vec<Choice>,
    asks_size: bool,
    first_rows: String,
}

struct LineDoubts {
    line: u32,
    cells: String,
    sentences: Vec<String>,
}

struct Summary {
    parts: usize,
    lines: usize,
    /// "half: 836 pieces".
    totals: Vec<String>,
    new_sizes: Vec<String>,
    assemblies: Vec<(String, String)>,
    can_be_taken: bool,
}

impl ReadingPage {
    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(draft): Path<ImportDraftId>,
) -> Result<Response, AppError> {
    let page = reading_page(&app, &viewer, frame, draft, Vec::new()).await?;
    Ok(Page(page).into_response())
}

async fn reading_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    draft: ImportDraftId,
    mut wrongs: Vec<Wrong>,
) -> Result<ReadingPage, AppError> {
    let reading = imports::reading(app, viewer, draft).await?;
    let mut db = app.db.read().await?;
    let revision = guides::revision(&mut db, reading.draft.revision)
        .await?
        .ok_or(AppError::NotFound("revision"))?;
    let guide = guides::guide(&mut db, revision.guide)
        .await?
        .ok_or(AppError::NotFound("guide"))?;
    let sizes = guides::sizes(&mut db, guide.id).await?;
    drop(db);
    if let Err(mapping_wrongs) = &reading.preview {
        wrongs.extend(
            mapping_wrongs
                .iter()
                .map(|wrong| Wrong::at("role-0", wrong)),
        );
    }
    let (stops, looks) = doubts_shown(&reading);
    let mapping = &reading.mapping;
    Ok(ReadingPage {
        say_form: frame.form_id(),
        take_form: frame.form_id(),
        sheet_form: frame.form_id(),
        frame,
        guide,
        revision,
        draft,
        file_name: reading.draft.file_name.clone(),
        is_taken: reading.draft.is_taken,
        sheets: sheets_shown(&reading),
        sheet: reading.sheet,
        columns: columns_shown(&reading, &sizes),
        basis: vec![
            Choice::new(
                "each",
                "for each of its assembly",
                mapping.basis == Basis::Each,
            ),
            Choice::new(
                "all",
                "for all of them together",
                mapping.basis == Basis::All,
            ),
        ],
        basis_example: reading
            .preview
            .as_ref()
            .ok()
            .and_then(|p| p.list.basis_example()),
        blank_assembly: vec![
            Choice::new(
                "kit",
                "the part is in the kit itself",
                mapping.blank_assembly == BlankAssembly::Kit,
            ),
            Choice::new(
                "as-above",
                "the assembly of the line above goes on",
                mapping.blank_assembly == BlankAssembly::AsAbove,
            ),
        ],
        has_path: mapping.find(Role::Path).is_some(),
        separators: PATH_SEPARATORS
            .iter()
            .map(|sign| Choice::new(sign, sign, *sign == mapping.path_separator))
            .collect(),
        left_out: mapping
            .left_out
            .iter()
            .map(|line| (*line, cells_of(&reading, *line)))
            .collect(),
        stops_in_all: stops.len(),
        looks_in_all: looks.len(),
        stops: stops.into_iter().take(DOUBTS_SHOWN).collect(),
        looks: looks.into_iter().take(DOUBTS_SHOWN).collect(),
        summary: summary(&reading, &sizes),
        wrongs,
    })
}

fn sheets_shown(reading: &Reading) -> Vec<SheetShown> {
    if reading.sheets.len() < 2 {
        return Vec::new();
    }
    let shown = reading.sheets.iter().map(|sheet| {
        let lines = if sheet.rows == 1 { "line" } else { "lines" };
        let hidden = if sheet.is_hidden { ", hidden" } else { "" };
        SheetShown {
            at: sheet.at,
            name: sheet.name.clone(),
            holds: format!("{} {lines}{hidden}", sheet.rows),
            is_chosen: sheet.at == reading.sheet,
            wrong: sheet.wrong.clone(),
        }
    });
    shown.collect()
}

fn columns_shown(reading: &Reading, sizes: &[Size]) -> Vec<ColumnShown> {
    let table = &reading.table;
    (0..table.width())
        .map(|at| {
            let column = &reading.mapping.columns.get(at);
            let role = column.map_or(Role::Ignored, |column| column.role);
            let size = column
                .map(|column| column.size.as_str())
                .unwrap_or_default();
            let mut choices = vec![Choice::new("", "the only size", size.is_empty())];
            choices.extend(sizes.iter().map(|known| {
                Choice::new(&known.name, &known.name, fold(&known.name) == fold(size))
            }));
            if !size.is_empty() && !choices.iter().any(|choice| choice.chosen) {
                choices.push(Choice::new(size, format!("{size} (new)"), true));
            }
            let name = table.header.cell(at).to_owned();
            ColumnShown {
                at,
                name: if name.is_empty() {
                    format!("Column {}", at + 1)
                } else {
                    name
                },
                roles: Role::ALL
                    .into_iter()
                    .map(|one| Choice::new(one.key(), one.in_words(), one == role))
                    .collect(),
                sizes: choices,
                asks_size: role.has_size(),
                first_rows: table
                    .rows
                    .iter()
                    .filter(|row| !row.is_blank())
                    .take(FIRST_ROWS)
                    .map(|row| row.cell(at))
                    .map(|cell| if cell.is_empty() { "(empty)" } else { cell })
                    .collect::<Vec<_>>()
                    .join(" · "),
            }
        })
        .collect()
}

fn cells_of(reading: &Reading, line: u32) -> String {
    let table = &reading.table;
    table
        .rows
        .iter()
        .chain(&table.above)
        .chain([&table.header])
        .find(|row| row.line == line)
        .map(|row| {
            let cells: Vec<&str> = row
                .cells
                .iter()
                .map(String::as_str)
                .filter(|cell| !cell.is_empty())
                .collect();
            cells.join(" · ")
        })
        .unwrap_or_default()
}

/// The doubts by line: those that stop, and those that only want a look.
fn doubts_shown(reading: &Reading) -> (Vec<LineDoubts>, Vec<LineDoubts>) {
    let Ok(preview) = &reading.preview else {
        return (Vec::new(), Vec::new());
    };
    let stopped = preview.stopped_lines();
    let (mut stops, mut looks): (Vec<LineDoubts>, Vec<LineDoubts>) = (Vec::new(), Vec::new());
    for doubt in &preview.doubts {
        if reading.mapping.left_out.contains(&doubt.line) {
            continue;
        }
        let stops_here = stopped.contains(&doubt.line);
        debug_assert!(stops_here || doubt.severity() == Severity::Look);
        let list = if stops_here { &mut stops } else { &mut looks };
        let sentence = doubt.reason.to_string();
        // The doubts are in the order of the file, so those of one line follow each other.
        match list.last_mut().filter(|known| known.line == doubt.line) {
            Some(known) => known.sentences.push(sentence),
            None => list.push(LineDoubts {
                line: doubt.line,
                // Looked up only for those that are shown.
                cells: if list.len() < DOUBTS_SHOWN {
                    cells_of(reading, doubt.line)
                } else {
                    String::new()
                },
                sentences: vec![sentence],
            }),
        }
    }
    (stops, looks)
}

fn summary(reading: &Reading, sizes: &[Size]) -> Option<Summary> {
    let preview = reading.preview.as_ref().ok()?;
    let list = &preview.list;
    let needs: Vec<_> = (0..list.sizes.len())
        .map(|size| list.need(size).ok())
        .collect();
    let size_name = |at: usize| {
        let name = list.sizes.get(at).map(String::as_str).unwrap_or_default();
        match sizes.iter().find(|size| fold(&size.name) == fold(name)) {
            Some(known) => known.name.as_str(),
            None if name.is_empty() && sizes.len() == 1 => sizes[0].name.as_str(),
            None if name.is_empty() => "a size not named yet",
            None => name,
        }
    };
    Some(Summary {
        parts: list.parts.len(),
        lines: list
            .lines
            .iter()
            .filter(|line| matches!(line.child, Child::Part(_)))
            .count(),
        totals: needs
            .iter()
            .enumerate()
            .map(|(at, need)| match need {
                Some(need) => format!("{}: {} pieces", size_name(at), need.total()),
                None => format!("{}: does not add up yet", size_name(at)),
            })
            .collect(),
        new_sizes: list
            .sizes
            .iter()
            .filter(|name| !name.is_empty())
            .filter(|name| !sizes.iter().any(|size| fold(&size.name) == fold(name)))
            .cloned()
            .collect(),
        assemblies: list
            .assemblies
            .iter()
            .enumerate()
            .map(|(at, assembly)| {
                let copies: Vec<String> = needs
                    .iter()
                    .enumerate()
                    .filter_map(|(size, need)| {
                        Some(format!(
                            "{} in {}",
                            need.as_ref()?.assembly(at),
                            size_name(size)
                        ))
                    })
                    .collect();
                (assembly.name.clone(), copies.join(", "))
            })
            .collect(),
        can_be_taken: preview.can_be_taken(),
    })
}

/// Every field of the form, in its order: the mapping reads those it knows.
#[derive(Deserialize)]
#[serde(transparent)]
pub(super) struct Fields(Vec<(String, String)>);

pub(super) async fn say(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(draft): Path<ImportDraftId>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    match imports::say(&app, &viewer, &form.sent, draft, &form.fields.0).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Read again.", viewer.zone())),
        Err(NotDone::Refused(refused)) => refused_again(&app, &viewer, frame, draft, refused).await,
        Err(NotDone::Failed(error)) => Err(error),
    }
}

/// Which sheet is to be read.
#[derive(Deserialize)]
pub(super) struct SheetForm {
    #[serde(default)]
    sheet: String,
}

pub(super) async fn choose_sheet(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(draft): Path<ImportDraftId>,
    form: Form<SheetForm>,
) -> Result<Response, AppError> {
    let chosen = match form.fields.sheet.parse() {
        Ok(sheet) => imports::choose_sheet(&app, &viewer, &form.sent, draft, sheet).await,
        Err(_) => Err(NotDone::Refused(ImportRefused::WhichSheet)),
    };
    match chosen {
        Ok(outcome) => Ok(flash::told(&outcome, "Read again.", viewer.zone())),
        Err(NotDone::Refused(refused)) => refused_again(&app, &viewer, frame, draft, refused).await,
        Err(NotDone::Failed(error)) => Err(error),
    }
}

pub(super) async fn take(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(draft): Path<ImportDraftId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match imports::take(&app, &viewer, &form.sent, draft).await {
        Ok(outcome) => Ok(flash::told(&outcome, "The list is kept.", viewer.zone())),
        Err(NotDone::Refused(refused)) => refused_again(&app, &viewer, frame, draft, refused).await,
        Err(NotDone::Failed(error)) => Err(error),
    }
}

async fn refused_again(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    draft: ImportDraftId,
    refused: ImportRefused,
) -> Result<Response, AppError> {
    let wrongs = vec![Wrong::at("", refused)];
    Ok(page::again(
        reading_page(app, viewer, frame, draft, wrongs).await?,
    ))
}
