//! The loan sheet for two signatures: what is on the screen is what comes out of the printer.

use askama::Template;
use axum::extract::State;

use crate::app::App;
use crate::error::AppError;
use crate::ids::LoanId;
use crate::loans::Loan;
use crate::loans::store::{self, LoanLine};
use crate::people::Viewer;
use crate::places;
use crate::places::rules::mass;
use crate::places::rules::words::{part, pieces, sentence};
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// A crate on the sheet.
struct CrateRow {
    name: String,
    code: String,
    pieces: String,
    mass: String,
    lifts: &'static str,
    /// "As counted on 12 Mar 2027, seal 0451, put on 12 Mar 2027 and not opened since."; blank without a seal.
    seal: String,
}

#[derive(Template)]
#[template(path = "loans/sheet.html")]
pub(super) struct SheetPage {
    frame: Frame,
    loan: Loan,
    crates: Vec<CrateRow>,
    /// Pieces that left loose.
    loose: Vec<(String, i64)>,
    /// "2 Peg, black (B-4): broken, in Bag 2".
    noted: Vec<String>,
    heaviest: Option<(String, String)>,
}

impl SheetPage {
    fn counted(&self) -> String {
        sentence(&super::show::counted(&self.loan))
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
) -> Result<Page<SheetPage>, AppError> {
    let mut db = app.db.read().await?;
    let loan = super::found(&mut db, loan).await?;
    let lines = store::lines(&mut db, loan.id).await?;
    let mut crates = Vec::new();
    let mut heaviest: Option<(f64, (String, String))> = None;
    for place in store::places(&mut db, loan.id).await? {
        if place.is_owed() || place.is_loose() {
            continue;
        }
        let below = places::below(&mut db, place.place).await?;
        let held = places::pieces(&mut db, place.place, true).await?;
        let empties = below
            .iter()
            .map(|inner| (inner.kind, inner.tare_g))
            .chain([(place.kind, place.tare_g)]);
        let mass = mass::weigh(
            empties,
            held.iter().map(|line| (line.part, line.qty, line.mass_g)),
        );
        if let Some(caution) = mass::caution(place.kind, &mass)
            && heaviest
                .as_ref()
                .is_none_or(|(known, _)| *known < mass.known_g)
        {
            heaviest = Some((mass.known_g, caution));
        }
        let seal = places::seal_of(&mut db, place.place).await?;
        crates.push(CrateRow {
            seal: seal
                .number()
                .map_or_else(String::new, |_| seal.words(viewer.zone())),
            name: place.name,
            code: place.code.to_string(),
            pieces: pieces(held.iter().map(|line| line.qty).sum()),
            mass: mass.words(),
            lifts: mass::lifters(&mass),
        });
    }
    Ok(Page(SheetPage {
        frame,
        loose: lines
            .iter()
            .filter(|line| line.loose)
            .map(|line| (named(line), line.qty))
            .collect(),
        noted: lines
            .iter()
            .filter(|line| line.state != "good")
            .map(noted)
            .collect(),
        crates,
        heaviest: heaviest.map(|(_, caution)| caution),
        loan,
    }))
}

fn named(line: &LoanLine) -> String {
    part(&line.name, &line.colour, &line.number)
}

fn noted(line: &LoanLine) -> String {
    let what = format!("{} {}: {}", line.qty, named(line), line.state);
    match &line.place_name {
        Some(place) => format!("{what}, in {place}"),
        None => what,
    }
}
