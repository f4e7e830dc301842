//! The one form by which a kit, crates or pieces are handed out.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use std::collections::BTreeMap;

use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::ids::{DraftId, FormId, KitId, LoanId, PlaceId};
use crate::kits::{self, Kit};
use crate::loans::rules::lending::{AS_CLOSED, NOT_COUNTED, Typed};
use crate::loans::rules::words::State as LoanState;
use crate::loans::{self, Chosen, Loan, Offer, store};
use crate::people::Viewer;
use crate::places::Pieces;
use crate::places::rules::words::{Ways, called, sentence};
use crate::web::extract::{Form, Path, Query};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "loans/new.html")]
pub(super) struct LendPage {
    frame: Frame,
    form_id: FormId,
    kit: Kit,
    agreed: Option<Loan>,
    typed: Typed,
    teams: Vec<String>,
    counted: Vec<Choice>,
    /// What is lent already: "Gable 2, gate and hut is with Upper Quern Workshop".
    away: Vec<String>,
    crates: Vec<CrateLine>,
    pieces: Vec<PieceLine>,
    open_count: Option<crate::ids::CountId>,
    wrongs: Vec<Wrong>,
}

struct CrateLine {
    place: PlaceId,
    name: String,
    is_inside: bool,
    /// Who has it already.
    with: Option<String>,
    is_ticked: bool,
}

struct PieceLine {
    name: String,
    lies: String,
    there: i64,
    field: String,
    typed: String,
}

impl LendPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn title_prefix(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn some_crates(&self) -> bool {
        self.crates.iter().any(|line| line.is_ticked)
    }

    fn some_pieces(&self) -> bool {
        self.pieces
            .iter()
            .any(|line| !line.typed.is_empty() || self.wrong(&line.field).is_some())
    }
}

#[derive(Deserialize)]
pub(super) struct Wanted {
    /// What was asked for and agreed to.
    loan: Option<LoanId>,
    /// A form that waited until what goes was counted.
    draft: Option<DraftId>,
}

/// The form's fields: those of `Typed`, `crate-…` for ticks and `qty-…` for pieces.
type Fields = BTreeMap<String, String>;

fn read(fields: &Fields) -> (Option<LoanId>, Typed, Chosen) {
    let field = |name: &str| fields.get(name).cloned().unwrap_or_default();
    let typed = Typed {
        borrower: field("borrower"),
        contact: field("contact"),
        purpose: field("purpose"),
        out_on: field("out_on"),
        due_on: field("due_on"),
        counted: field("counted"),
        not_counted: field("not_counted"),
        despite: field("despite"),
    };
    let chosen = Chosen {
        crates: fields
            .keys()
            .filter_map(|name| name.strip_prefix("crate-"))
            .map(str::to_owned)
            .collect(),
        pieces: fields
            .iter()
            .filter(|(name, _)| name.starts_with("qty-"))
            .map(|(name, value)| (name.clone(), value.clone()))
            .collect(),
    };
    (field("loan").parse().ok(), typed, chosen)
}

pub(super) async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    Query(wanted): Query<Wanted>,
) -> Result<Page<LendPage>, AppError> {
    let mut db = app.db.read().await?;
    if let Some(draft) = wanted.draft
        && let Some((fields, closed)) = loans::draft(&mut db, kit, draft).await?
    {
        let (asked, mut typed, chosen) = read(&fields);
        if closed.is_some() {
            typed.counted = AS_CLOSED.into();
            typed.not_counted = String::new();
        }
        drop(db);
        return page(
            &app,
            &viewer,
            frame,
            (kit, asked),
            typed,
            chosen,
            Vec::new(),
        )
        .await
        .map(Page);
    }
    let mut typed = Typed {
        out_on: viewer.today(&app).to_string(),
        ..Typed::default()
    };
    if let Some(loan) = agreed(&mut db, kit, wanted.loan).await? {
        typed.borrower = loan.borrower_name;
        typed.purpose = loan.purpose;
        typed.due_on = loan.due_on.to_string();
    }
    page(
        &app,
        &viewer,
        frame,
        (kit, wanted.loan),
        typed,
        Chosen::default(),
        Vec::new(),
    )
    .await
    .map(Page)
}

async fn agreed(
    db: &mut sqlx::SqliteConnection,
    kit: KitId,
    loan: Option<LoanId>,
) -> Result<Option<Loan>, AppError> {
    let Some(loan) = loan else {
        return Ok(None);
    };
    let found = store::find(db, loan).await?;
    Ok(found.filter(|loan| loan.kit == kit && loan.state == LoanState::Agreed))
}

async fn page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    (kit, asked): (KitId, Option<LoanId>),
    mut typed: Typed,
    chosen: Chosen,
    wrongs: Vec<Wrong>,
) -> Result<LendPage, AppError> {
    let mut db = app.db.read().await?;
    let kit = kits::find(&mut db, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    let last = kits::last_count(&mut db, kit.id).await?;
    if typed.counted.is_empty() {
        let likely = if last.is_some() {
            AS_CLOSED
        } else {
            NOT_COUNTED
        };
        typed.counted = likely.into();
    }
    let mut counted = Vec::new();
    if let Some(last) = &last {
        let text = format!("As last closed on {}", day(viewer, last).words());
        counted.push(Choice::one_of(AS_CLOSED, text, &typed.counted));
    }
    let text = "Not counted before it leaves, because";
    counted.push(Choice::one_of(NOT_COUNTED, text, &typed.counted));
    let offer = loans::offer(&mut db, &kit).await?;
    let lying: Vec<PlaceId> = offer.pieces.iter().map(|line| line.place).collect();
    let ways = crate::places::ways(&mut db, &lying).await?;
    let crates = offer
        .crates
        .iter()
        .map(|one| CrateLine {
            place: one.place.id,
            name: sentence(&called(&one.place)),
            is_inside: one.inside.is_some(),
            with: one.with.clone(),
            is_ticked: chosen.crates.contains(&one.place.id.to_string()),
        })
        .collect();
    let pieces = offer
        .pieces
        .iter()
        .map(|line| piece_line(line, &ways, &chosen))
        .collect();
    Ok(LendPage {
        form_id: frame.form_id(),
        frame,
        agreed: agreed(&mut db, kit.id, asked).await?,
        typed,
        teams: store::other_teams(&mut db, kit.team)
            .await?
            .into_iter()
            .map(|(_, name)| name)
            .collect(),
        counted,
        away: offer.away(),
        crates,
        pieces,
        open_count: kits::arrival(&mut db, kit.id).await?.open,
        wrongs,
        kit,
    })
}

fn day(viewer: &Viewer, last: &kits::LastCount) -> Day {
    last.closed_at.day(viewer.zone())
}

fn piece_line(line: &Pieces, ways: &Ways, chosen: &Chosen) -> PieceLine {
    let field = Offer::field(line);
    let mut name = line.part_words();
    if line.state != crate::ledger::State::Good {
        name.push_str(&format!(" ({})", line.state.word()));
    }
    PieceLine {
        name,
        lies: sentence(&ways.called(line.place)),
        there: line.qty,
        typed: chosen.pieces.get(&field).cloned().unwrap_or_default(),
        field,
    }
}

pub(super) async fn lend(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (asked, typed, chosen) = read(&form.fields);
    if form.fields.get("count").is_some_and(|count| count == "now") {
        let mut fields = form.fields;
        fields.retain(|name, _| name != "count" && name != "form_id");
        return match loans::count_first(&app, &viewer, &form.sent, kit, &fields, &chosen).await {
            Ok(outcome) => {
                let text = "Count what goes. When the count is closed, the form comes back as you typed it.";
                Ok(flash::told(&outcome, text, viewer.zone()))
            }
            Err(NotDone::Failed(error)) => Err(error),
            Err(NotDone::Refused(wrongs)) => {
                let page = page(&app, &viewer, frame, (kit, asked), typed, chosen, wrongs).await?;
                Ok(page::again(page))
            }
        };
    }
    match loans::lend(&app, &viewer, &form.sent, kit, asked, &typed, &chosen).await {
        Ok(outcome) => {
            let text = "Handed out. Print the sheet for both to sign.";
            Ok(flash::told(&outcome, text, viewer.zone()))
        }
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = page(&app, &viewer, frame, (kit, asked), typed, chosen, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
