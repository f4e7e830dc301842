//! A revision's parts list: by assembly with sub-totals, or added up by part.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use axum::http::header::{CONTENT_DISPOSITION, CONTENT_TYPE};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::guide::may_keep;
use crate::app::App;
use crate::error::AppError;
use crate::guides::need::{Basis, Path as Way, Start};
use crate::guides::outline::Outline;
use crate::guides::{self, Guide, ListedPart, Revision, Size};
use crate::ids::{AssemblyId, PartId, RevisionId};
use crate::people::Viewer;
use crate::spreadsheet;
use crate::text::fold;
use crate::web::extract::{Path, Query};
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// At most so many ways to a part are written out.
const WAYS_SHOWN: usize = 12;

/// What the list is narrowed to. Unknown values are ignored.
#[derive(Deserialize, Default)]
pub(super) struct Filter {
    #[serde(default)]
    view: String,
    #[serde(default)]
    q: String,
    #[serde(default)]
    assembly: String,
    #[serde(default)]
    colour: String,
}

#[derive(Template)]
#[template(path = "guides/revision.html")]
pub(super) struct RevisionPage {
    frame: Frame,
    may_keep: bool,
    guide: Guide,
    revision: Revision,
    sizes: Vec<Size>,
    filter: Filter,
    assemblies: Vec<Choice>,
    colours: Vec<Choice>,
    lines_in_all: usize,
    lines_shown: usize,
    groups: Vec<GroupShown>,
    parts: Vec<PartShown>,
    totals: Vec<u64>,
    has_pdf: bool,
}

struct GroupShown {
    name: String,
    /// "Twice in Gate, once in Beacon", or "In the kit itself".
    held_by: String,
    copies: Vec<u64>,
    lines: Vec<LineShown>,
    subtotal: Vec<u64>,
}

struct LineShown {
    part: ListedPart,
    /// For each size: "6 × 2 = 12", or "6 in all".
    words: Vec<String>,
}

struct PartShown {
    part: ListedPart,
    totals: Vec<u64>,
    /// Where it comes from: "Gate: 6 × 2 = 12".
    ways: Vec<String>,
    more_ways: bool,
}

impl RevisionPage {
    fn by_part(&self) -> bool {
        self.filter.view == "parts"
    }

    /// Filters are never wrong: what does not fit shows nothing.
    fn nothing_wrong(&self) -> Option<&str> {
        None
    }

    fn is_narrowed(&self) -> bool {
        !(self.filter.q.is_empty()
            && self.filter.assembly.is_empty()
            && self.filter.colour.is_empty())
    }

    fn columns(&self) -> usize {
        self.sizes.len() + 1
    }

    /// The same list, seen the other way.
    fn other_view(&self) -> String {
        let view = if self.by_part() {
            "assemblies"
        } else {
            "parts"
        };
        let query: Vec<String> = [
            ("view", view),
            ("q", &self.filter.q),
            ("assembly", &self.filter.assembly),
            ("colour", &self.filter.colour),
        ]
        .iter()
        .filter(|(_, value)| !value.is_empty())
        .map(|(name, value)| format!("{name}={}", crate::people::viewer::form_encode(value)))
        .collect();
        format!("/revisions/{}?{}", self.revision.id, query.join("&"))
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(revision): Path<RevisionId>,
    Query(filter): Query<Filter>,
) -> Result<Page<RevisionPage>, AppError> {
    let mut db = app.db.read().await?;
    let revision = guides::revision(&mut db, revision)
        .await?
        .ok_or(AppError::NotFound("revision"))?;
    let guide = guides::guide(&mut db, revision.guide)
        .await?
        .ok_or(AppError::NotFound("guide"))?;
    let sizes = guides::sizes(&mut db, guide.id).await?;
    let rows = guides::list_rows(&mut db, revision.id).await?;
    let parts: HashMap<PartId, ListedPart> = guides::listed_parts(&mut db, revision.id)
        .await?
        .into_iter()
        .map(|part| (part.id, part))
        .collect();
    let names = guides::assembly_names(&mut db, revision.id).await?;
    let has_pdf = guides::pdf::shown_pdf(&mut db, revision.id)
        .await?
        .is_some();
    drop(db);

    let size_ids: Vec<_> = sizes.iter().map(|size| size.id).collect();
    let outline = Outline::new(&rows, &size_ids)
        .map_err(|_| anyhow::anyhow!("revision {} does not add up", revision.id))?;
    let lines_in_all = outline.groups.iter().map(|group| group.lines.len()).sum();

    let mut page = RevisionPage {
        frame,
        may_keep: may_keep(&viewer),
        guide,
        revision,
        assemblies: assembly_choices(&outline, &names, &filter.assembly),
        colours: colour_choices(&parts, &filter.colour),
        sizes,
        filter,
        lines_in_all,
        lines_shown: 0,
        groups: Vec::new(),
        parts: Vec::new(),
        totals: outline.totals.clone(),
        has_pdf,
    };
    if page.by_part() {
        page.parts = parts_shown(&outline, &parts, &names, &page.filter);
        page.lines_shown = page.parts.len();
    } else {
        page.groups = groups_shown(&outline, &parts, &names, &page.filter);
        page.lines_shown = page.groups.iter().map(|group| group.lines.len()).sum();
    }
    Ok(Page(page))
}

fn assembly_choices(
    outline: &Outline,
    names: &HashMap<AssemblyId, String>,
    chosen: &str,
) -> Vec<Choice> {
    let mut choices = vec![Choice::new("", "All assemblies", chosen.is_empty())];
    choices.extend(outline.groups.iter().filter_map(|group| {
        let id = group.assembly?;
        let value = id.to_string();
        let is_chosen = value == chosen;
        Some(Choice::new(value, names.get(&id)?, is_chosen))
    }));
    choices
}

fn colour_choices(parts: &HashMap<PartId, ListedPart>, chosen: &str) -> Vec<Choice> {
    let mut colours: Vec<&str> = parts
        .values()
        .map(|part| part.colour.as_str())
        .filter(|colour| !colour.is_empty())
        .collect();
    colours.sort_unstable();
    colours.dedup();
    let mut choices = vec![Choice::new("", "All colours", chosen.is_empty())];
    choices.extend(
        colours
            .into_iter()
            .map(|colour| Choice::new(colour, colour, colour == chosen)),
    );
    choices
}

fn passes(part: &ListedPart, filter: &Filter) -> bool {
    let words = fold(&format!("{} {} {}", part.number, part.name, part.colour));
    (filter.colour.is_empty() || part.colour == filter.colour)
        && fold(&filter.q).split(' ').all(|word| words.contains(word))
}

fn groups_shown(
    outline: &Outline,
    parts: &HashMap<PartId, ListedPart>,
    names: &HashMap<AssemblyId, String>,
    filter: &Filter,
) -> Vec<GroupShown> {
    let name_of = |assembly: Option<AssemblyId>| {
        assembly
            .and_then(|assembly| names.get(&assembly).cloned())
            .unwrap_or_else(|| "In the kit itself".into())
    };
    let mut shown = Vec::new();
    for group in &outline.groups {
        let id = group.assembly.map(|id| id.to_string()).unwrap_or_default();
        if !filter.assembly.is_empty() && id != filter.assembly {
            continue;
        }
        let lines: Vec<LineShown> = group
            .lines
            .iter()
            .filter_map(|line| {
                let part = parts.get(&line.part).filter(|part| passes(part, filter))?;
                let words = (0..outline.totals.len())
                    .map(|size| match (line.quantity[size], line.basis) {
                        (0, _) => "–".to_owned(),
                        (quantity, Basis::All) => format!("{quantity} for all"),
                        (quantity, Basis::Each) if group.copies[size] == 1 => quantity.to_string(),
                        (quantity, Basis::Each) => {
                            format!(
                                "{quantity} × {} = {}",
                                group.copies[size], line.pieces[size]
                            )
                        }
                    })
                    .collect();
                Some(LineShown {
                    part: part.clone(),
                    words,
                })
            })
            .collect();
        let narrowed = !filter.q.is_empty() || !filter.colour.is_empty();
        if lines.is_empty() && narrowed {
            continue;
        }
        let holders: Vec<String> = group.held_by.iter().map(|by| name_of(Some(*by))).collect();
        shown.push(GroupShown {
            name: name_of(group.assembly),
            held_by: if holders.is_empty() {
                String::new()
            } else {
                format!("in {}", holders.join(", "))
            },
            copies: group.copies.clone(),
            lines,
            subtotal: group.subtotal.clone(),
        });
    }
    shown
}

fn parts_shown(
    outline: &Outline,
    parts: &HashMap<PartId, ListedPart>,
    names: &HashMap<AssemblyId, String>,
    filter: &Filter,
) -> Vec<PartShown> {
    // Ways are told for the largest size; the others are the same ways with other numbers.
    let largest = (0..outline.totals.len())
        .max_by_key(|size| outline.totals[*size])
        .unwrap_or(0);
    let chosen: Option<AssemblyId> = filter.assembly.parse().ok();
    let mut shown: Vec<PartShown> = parts
        .values()
        .filter(|part| passes(part, filter))
        .filter(|part| {
            chosen.is_none_or(|chosen| {
                outline.groups.iter().any(|group| {
                    group.assembly == Some(chosen)
                        && group.lines.iter().any(|line| line.part == part.id)
                })
            })
        })
        .map(|part| {
            let (ways, more_ways) = outline
                .need(largest)
                .map(|need| need.first_paths(part.id, WAYS_SHOWN))
                .unwrap_or_default();
            PartShown {
                part: part.clone(),
                totals: outline.part(part.id),
                ways: ways.iter().map(|way| way_in_words(way, names)).collect(),
                more_ways,
            }
        })
        .collect();
    shown.sort_by(|a, b| {
        (fold(&a.part.name), &a.part.colour, &a.part.number).cmp(&(
            fold(&b.part.name),
            &b.part.colour,
            &b.part.number,
        ))
    });
    shown
}

/// "12 in Beacon, 2 × Lantern".
fn way_in_words(way: &Way<AssemblyId>, names: &HashMap<AssemblyId, String>) -> String {
    let name = |assembly: &AssemblyId| names.get(assembly).cloned().unwrap_or_default();
    let mut steps: Vec<String> = Vec::new();
    if let Start::AllOf { assembly, copies } = &way.start {
        steps.push(format!("all {copies} of {}", name(assembly)));
    }
    for step in &way.steps {
        if step.times == 1 {
            steps.push(name(&step.assembly));
        } else {
            steps.push(format!("{} × {}", step.times, name(&step.assembly)));
        }
    }
    if steps.is_empty() {
        steps.push("the kit itself".into());
    }
    format!("{} in {}", way.pieces, steps.join(", "))
}

/// The list as a file of text that can be read in again.
pub(super) async fn download(
    State(app): State<App>,
    Path(revision): Path<RevisionId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let list = guides::exports::list(&mut db, revision).await?;
    drop(db);
    let bytes = guides::import::export::csv(&list);
    Ok(file("text/csv; charset=utf-8", "csv", bytes))
}

/// The list as a spreadsheet that can be read in again.
pub(super) async fn download_sheet(
    State(app): State<App>,
    Path(revision): Path<RevisionId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let list = guides::exports::list(&mut db, revision).await?;
    drop(db);
    let bytes = guides::import::export::xlsx(&list).map_err(anyhow::Error::from)?;
    Ok(file(spreadsheet::KIND, "xlsx", bytes))
}

fn file(kind: &'static str, ending: &str, bytes: Vec<u8>) -> Response {
    let name = format!("attachment; filename=\"parts-list.{ending}\"");
    (
        [(CONTENT_TYPE, kind.to_owned()), (CONTENT_DISPOSITION, name)],
        bytes,
    )
        .into_response()
}
