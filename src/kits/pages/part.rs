//! One part in one kit: why so many are needed, where they are, what looks alike.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;

use crate::app::App;
use crate::error::AppError;
use crate::guides;
use crate::guides::need::{self, Line, Path as Way, Start, need};
use crate::ids::{AssemblyId, KitId, PartId};
use crate::kits::rules::alike::{Likeness, Looks, hides_under_film, likeness};
use crate::kits::rules::{Account, Spot, Standing};
use crate::kits::{self, Kit};
use crate::parts;
use crate::people::Viewer;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Ways shown at once; a part of a deep list may have thousands.
const MOST_WAYS: usize = 30;

struct SpotShown {
    spot: Spot,
    states: String,
    counted: String,
}

struct Alike {
    account: Account,
    likeness: Likeness,
}

#[derive(Template)]
#[template(path = "kits/part.html")]
pub(super) struct PartPage {
    frame: Frame,
    kit: Kit,
    /// Parts that may stand in for it: page, words.
    stand_ins: Vec<(String, String)>,
    account: Account,
    ways: Vec<String>,
    more_ways: bool,
    spots: Vec<SpotShown>,
    alikes: Vec<Alike>,
    film: bool,
}

impl PartPage {
    fn history(&self) -> String {
        format!(
            "/history?kit={}&part={}",
            self.kit.id, self.account.line.part
        )
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((kit, part)): Path<(KitId, PartId)>,
) -> Result<Page<PartPage>, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::found(&mut db, kit).await?;
    let mut accounts = kits::accounts(&mut db, kit.id).await?;
    let at = accounts
        .iter()
        .position(|account| account.line.part == part)
        .ok_or(AppError::NotFound("part in this kit"))?;
    let account = accounts.swap_remove(at);
    let (ways, more_ways) = match kit.revision.zip(kit.size) {
        Some((revision, size)) => {
            let names = guides::assembly_names(&mut db, revision).await?;
            let lines: Vec<Line<PartId, AssemblyId>> = guides::list_rows(&mut db, revision)
                .await?
                .into_iter()
                .filter_map(|row| {
                    Some(Line {
                        parent: row.assembly,
                        child: row.child,
                        basis: row.basis,
                        quantity: row.quantities.get(&size).copied()?,
                    })
                })
                .collect();
            ways_to(&lines, part, &names)
        }
        None => (Vec::new(), false),
    };
    let looks = looks(&account);
    let mut alikes: Vec<Alike> = accounts
        .iter()
        .filter_map(|other| {
            likeness(looks, self::looks(other)).map(|likeness| Alike {
                account: other.clone(),
                likeness,
            })
        })
        .collect();
    alikes.sort_by_key(|alike| alike.likeness);
    let spots = account
        .spots
        .iter()
        .map(|spot| SpotShown {
            states: states(spot),
            counted: spot
                .counted_at
                .map_or("not counted".to_owned(), |at| at.words(viewer.zone())),
            spot: spot.clone(),
        })
        .collect();
    let stand_ins = parts::stand_ins::stand_ins(&mut db, account.line.part)
        .await?
        .into_iter()
        .filter(|one| one.ended_at.is_none() && one.for_part == account.line.part)
        .map(|one| {
            let words = format!("{}, {}", one.part_words, one.allowed.words());
            (format!("/parts/{}", one.part), words)
        })
        .collect();
    Ok(Page(PartPage {
        stand_ins,
        film: hides_under_film(&account.line.how_to_know),
        frame,
        kit,
        account,
        ways,
        more_ways,
        spots,
        alikes,
    }))
}

pub(super) fn looks(account: &Account) -> Looks<'_> {
    Looks {
        number: &account.line.number,
        name: &account.line.name,
        colour: &account.line.colour,
    }
}

/// "12 good, 1 doubtful".
fn states(spot: &Spot) -> String {
    let words: Vec<String> = [
        (spot.good, "good"),
        (spot.doubtful, "doubtful"),
        (spot.practice_only, "practice only"),
        (spot.broken, "broken"),
    ]
    .into_iter()
    .filter(|(count, _)| *count > 0)
    .map(|(count, word)| format!("{count} {word}"))
    .collect();
    if words.is_empty() {
        "none".to_owned()
    } else {
        words.join(", ")
    }
}

fn ways_to(
    lines: &[Line<PartId, AssemblyId>],
    part: PartId,
    names: &HashMap<AssemblyId, String>,
) -> (Vec<String>, bool) {
    // A stored list was added up before; one that cannot be is shown without its ways.
    let Ok(rolled) = need(lines) else {
        return (Vec::new(), false);
    };
    let (ways, more) = rolled.first_paths(part, MOST_WAYS);
    let words = ways.iter().map(|way| in_words(way, lines, names)).collect();
    (words, more)
}

/// "2 × Gate, 6 in each: 12".
fn in_words(
    way: &Way<AssemblyId>,
    lines: &[Line<PartId, AssemblyId>],
    names: &HashMap<AssemblyId, String>,
) -> String {
    let name = |assembly: AssemblyId| names.get(&assembly).map_or("", String::as_str);
    let quantity = lines
        .get(way.line)
        .map_or(0, |line: &need::Line<_, _>| line.quantity);
    if let Start::AllOf { assembly, copies } = way.start {
        return format!(
            "for all {copies} of {} together: {}",
            name(assembly),
            way.pieces
        );
    }
    if way.steps.is_empty() {
        return format!("directly in the kit: {}", way.pieces);
    }
    let steps: Vec<String> = way
        .steps
        .iter()
        .map(|step| format!("{} × {}", step.times, name(step.assembly)))
        .collect();
    format!("{}, {quantity} in each: {}", steps.join(" → "), way.pieces)
}
