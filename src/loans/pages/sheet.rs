//! The loan sheet for two signatures: what is on the screen is what comes out of the printer.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::AppError;
use crate::ids::LoanId;
use crate::loans::Loan;
use crate::loans::rules::stretches::Stretch;
use crate::loans::store::{self, LoanLine, LoanPlace};
use crate::people::Viewer;
use crate::places;
use crate::places::rules::mass;
use crate::places::rules::words::{part, pieces, sentence};
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// A crate on the sheet.
pub struct CrateRow {
    pub name: String,
    pub code: String,
    pub pieces: String,
    pub mass: String,
    pub lifts: &'static str,
    /// "As counted on 12 Mar 2027, seal 0451, put on 12 Mar 2027 and not opened since."; blank without a seal.
    pub seal: String,
}

/// The pieces of one place, as they left: what, how many.
pub struct SheetPlace {
    pub place: String,
    pub lines: Vec<(String, i64)>,
}

/// All that a loan sheet says; the borrower's page without an account says the same.
pub struct Sheet {
    pub loan: Loan,
    pub crates: Vec<CrateRow>,
    /// "Bag of loan 3 (7K3-F28)", where pieces left in a bag of their own.
    pub bag: String,
    /// Those pieces.
    pub loose: Vec<(String, i64)>,
    /// What was in the crates when they left, place by place, as it is counted back.
    pub places: Vec<SheetPlace>,
    /// "2 Peg, black (B-4): broken, in Bag 2".
    pub noted: Vec<String>,
    pub heaviest: Option<(String, String)>,
    /// What the borrower said of the count at the start.
    pub confirmed: String,
    /// "Tin Mill had Moss from 5 Mar 2027 to 6 Mar 2027: not counted: in a hurry"; none where nothing was handed on.
    pub hands: Vec<String>,
}

impl Sheet {
    /// Nothing of what left is in the books, so that they tell neither what is in it nor what lacks.
    pub fn is_unknown(&self) -> bool {
        !self.crates.is_empty()
            && self.places.is_empty()
            && self.loose.is_empty()
            && self.noted.is_empty()
    }

    pub fn counted(&self) -> String {
        sentence(&super::show::counted(&self.loan))
    }
}

#[derive(Template)]
#[template(path = "loans/sheet.html")]
pub(super) struct SheetPage {
    frame: Frame,
    sheet: Sheet,
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
) -> Result<Page<SheetPage>, AppError> {
    let mut db = app.db.read().await?;
    let loan = super::found(&mut db, loan).await?;
    let sheet = of_loan(&mut db, loan, viewer.zone()).await?;
    Ok(Page(SheetPage { frame, sheet }))
}

/// Crates as a sheet names them, and the caution for the heaviest of them.
pub(super) async fn crate_rows(
    db: &mut SqliteConnection,
    places: &[LoanPlace],
    zone: &str,
) -> sqlx::Result<(Vec<CrateRow>, Option<(String, String)>)> {
    let mut crates = Vec::new();
    let mut heaviest: Option<(f64, (String, String))> = None;
    for place in places {
        let below = places::below(db, place.place).await?;
        let held = places::pieces(db, place.place, true).await?;
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
        let seal = places::seal_of(db, place.place).await?;
        crates.push(CrateRow {
            seal: seal.number().map_or_else(String::new, |_| seal.words(zone)),
            name: place.name.clone(),
            code: place.code.to_string(),
            pieces: pieces(held.iter().map(|line| line.qty).sum()),
            mass: mass.words(),
            lifts: mass::lifters(&mass),
        });
    }
    Ok((crates, heaviest.map(|(_, caution)| caution)))
}

/// The sheet of a loan, with times as they are in a zone.
pub async fn of_loan(db: &mut SqliteConnection, loan: Loan, zone: &str) -> sqlx::Result<Sheet> {
    let lines = store::lines(db, loan.id).await?;
    let mut places = store::places(db, loan.id).await?;
    let bag = places.iter().find(|place| place.is_loose());
    let bag = bag.map_or_else(String::new, |bag| format!("{} ({})", bag.name, bag.code));
    places.retain(|place| !place.is_owed() && !place.is_loose());
    let (crates, heaviest) = crate_rows(db, &places, zone).await?;
    let count = super::show::counted(&loan);
    let hands = crate::loans::hands(db, &loan, &count).await?;
    let was_handed_on = hands.iter().any(|hand| hand.n > 0);
    Ok(Sheet {
        hands: hands
            .iter()
            .filter(|_| was_handed_on)
            .map(|hand| had(hand, zone))
            .collect(),
        loose: lines
            .iter()
            .filter(|line| line.loose)
            .map(|line| (named(line), line.qty))
            .collect(),
        places: inside(&lines),
        noted: lines
            .iter()
            .filter(|line| line.state != "good")
            .map(noted)
            .collect(),
        bag,
        crates,
        heaviest,
        confirmed: confirmed(db, &loan, zone).await?,
        loan,
    })
}

/// "Tin Mill said on 5 Mar 2027 that all of it is there."; blank while they said nothing.
pub(super) async fn confirmed(
    db: &mut SqliteConnection,
    loan: &Loan,
    zone: &str,
) -> sqlx::Result<String> {
    let Some(said) = store::last_note(db, loan.id, "count ").await? else {
        return Ok(String::new());
    };
    let who = &loan.borrower_name;
    let who = if said.name.is_empty() {
        who.clone()
    } else {
        format!("{} of {who}", said.name)
    };
    let when = said.done_at.day(zone).words();
    Ok(if said.words.is_empty() {
        format!("{who} said on {when} that all of it is there")
    } else {
        format!("{who} said on {when} that it differs: {}", said.words)
    })
}

fn had(hand: &Stretch, zone: &str) -> String {
    let Stretch {
        who, crates, count, ..
    } = hand;
    let crates = crates.join(", ");
    let from = hand.from.day(zone).words();
    match hand.until {
        Some(until) => {
            let until = until.day(zone).words();
            format!("{who} had {crates} from {from} to {until} ({count})")
        }
        None => format!("{who} has {crates} since {from} ({count})"),
    }
}

/// Part by part, whatever state it was in; what was not good is noted besides.
fn inside(lines: &[LoanLine]) -> Vec<SheetPlace> {
    let mut all: BTreeMap<&str, BTreeMap<String, i64>> = BTreeMap::new();
    for line in lines.iter().filter(|line| !line.loose) {
        if let Some(place) = &line.place_name {
            let inside = all.entry(place).or_default();
            *inside.entry(named(line)).or_default() += line.qty;
        }
    }
    all.into_iter()
        .map(|(place, inside)| SheetPlace {
            place: place.to_owned(),
            lines: inside.into_iter().collect(),
        })
        .collect()
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
