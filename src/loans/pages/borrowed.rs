//! What a team borrowed outside the league: writing it in, its page, giving it back.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::ids::{BorrowedId, FormId, TeamId};
use crate::loans;
use crate::loans::rules::borrowed::Typed;
use crate::loans::store::{self, Borrowed, NotOurs};
use crate::people::Viewer;
use crate::places::rules::words::part;
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Fields {
    team: String,
    lender: String,
    contact: String,
    crates: String,
    pieces: String,
    purpose: String,
    out_on: String,
    due_on: String,
}

#[derive(Template)]
#[template(path = "loans/borrowed_new.html")]
pub(super) struct NewPage {
    frame: Frame,
    form_id: FormId,
    teams: Vec<Choice>,
    fields: Fields,
    wrongs: Vec<Wrong>,
}

impl NewPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

fn new_page(viewer: &Viewer, frame: Frame, fields: Fields, wrongs: Vec<Wrong>) -> NewPage {
    NewPage {
        form_id: frame.form_id(),
        frame,
        teams: viewer
            .memberships()
            .iter()
            .filter(|one| one.role.keeps())
            .map(|one| Choice::one_of(one.team, &one.team_name, &fields.team))
            .collect(),
        fields,
        wrongs,
    }
}

pub(super) async fn new(State(app): State<App>, viewer: Viewer, frame: Frame) -> Page<NewPage> {
    let fields = Fields {
        out_on: viewer.today(&app).to_string(),
        ..Fields::default()
    };
    Page(new_page(&viewer, frame, fields, Vec::new()))
}

pub(super) async fn borrow(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let typed = Typed {
        lender: fields.lender.clone(),
        contact: fields.contact.clone(),
        crates: fields.crates.clone(),
        pieces: fields.pieces.clone(),
        purpose: fields.purpose.clone(),
        out_on: fields.out_on.clone(),
        due_on: fields.due_on.clone(),
    };
    let done = match fields.team.parse::<TeamId>() {
        Ok(team) => loans::borrow(&app, &viewer, &sent, team, &typed).await,
        Err(_) => Err(NotDone::Refused(vec![Wrong::at(
            "team",
            "choose the team that has it",
        )])),
    };
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, "Written in.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => Ok(page::again(new_page(&viewer, frame, fields, wrongs))),
    }
}

#[derive(Template)]
#[template(path = "loans/borrowed.html")]
pub(super) struct BorrowedPage {
    frame: Frame,
    borrowed: Borrowed,
    today: Day,
    zone: String,
    /// "4 Peg, black (B-4)".
    lines: Vec<String>,
    /// Of it, what turned up while places of ours were counted.
    seen: Vec<NotOurs>,
    works: bool,
    /// "Until 14 Mar 2027 instead of 9 Mar 2027: they need it later".
    laters: Vec<String>,
    typed: StayForm,
    wrongs: Vec<Wrong>,
}

/// What was typed into one of the page's forms.
#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct StayForm {
    given_on: String,
    given_words: String,
    due_on: String,
    later_why: String,
}

impl BorrowedPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn is_overdue(&self) -> bool {
        self.borrowed.is_overdue(self.today)
    }

    fn status(&self) -> String {
        match self.borrowed.given_on {
            Some(day) => format!("Given back on {}.", day.words()),
            None => format!("With us, {}.", self.borrowed.due_words(self.today)),
        }
    }

    fn seen_words(&self, one: &NotOurs) -> String {
        let when = one.done_at.day(&self.zone).words();
        format!("{} {} in {}, {when}", one.qty, one.words, one.place_name)
    }
}

async fn borrowed_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    borrowed: BorrowedId,
    mut typed: StayForm,
    wrongs: Vec<Wrong>,
) -> Result<BorrowedPage, AppError> {
    let mut db = app.db.read().await?;
    let borrowed = store::find_borrowed(&mut db, borrowed)
        .await?
        .ok_or(AppError::NotFound("page"))?;
    let lines = store::borrowed_lines(&mut db, borrowed.id)
        .await?
        .into_iter()
        .map(|line| match (&line.name, &line.colour, &line.number) {
            (Some(name), Some(colour), Some(number)) => {
                format!("{} {}", line.qty, part(name, colour, number))
            }
            _ => format!("{} {}", line.qty, line.words),
        })
        .collect();
    let laters = store::laters(&mut db, borrowed.id)
        .await?
        .into_iter()
        .map(|one| {
            let (due, was) = (one.due_on.words(), one.was_on.words());
            format!("Until {due} instead of {was}: {}", one.why)
        })
        .collect();
    let today = viewer.today(app);
    if typed.given_on.is_empty() {
        typed.given_on = today.to_string();
    }
    Ok(BorrowedPage {
        frame,
        today,
        zone: viewer.zone().to_owned(),
        lines,
        seen: store::not_ours_of_borrowed(&mut db, borrowed.id).await?,
        works: viewer.role_in(borrowed.team).is_some(),
        laters,
        typed,
        borrowed,
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(borrowed): Path<BorrowedId>,
) -> Result<Page<BorrowedPage>, AppError> {
    let nothing = StayForm::default();
    borrowed_page(&app, &viewer, frame, borrowed, nothing, Vec::new())
        .await
        .map(Page)
}

async fn answered(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    borrowed: BorrowedId,
    done: Result<Outcome, NotDone<Vec<Wrong>>>,
    text: &str,
    typed: StayForm,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, text, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = borrowed_page(app, viewer, frame, borrowed, typed, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn bring_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(borrowed): Path<BorrowedId>,
    form: Form<StayForm>,
) -> Result<Response, AppError> {
    let (sent, typed) = (form.sent, form.fields);
    let (day, said) = (&typed.given_on, &typed.given_words);
    let done = loans::bring_back(&app, &viewer, &sent, borrowed, day, said).await;
    answered(&app, &viewer, frame, borrowed, done, "Given back.", typed).await
}

pub(super) async fn keep_until(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(borrowed): Path<BorrowedId>,
    form: Form<StayForm>,
) -> Result<Response, AppError> {
    let (sent, typed) = (form.sent, form.fields);
    let (day, why) = (&typed.due_on, &typed.later_why);
    let done = loans::keep_until(&app, &viewer, &sent, borrowed, day, why).await;
    answered(&app, &viewer, frame, borrowed, done, "Noted.", typed).await
}

pub(super) async fn still_with_us(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(borrowed): Path<BorrowedId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = loans::still_with_us(&app, &viewer, &form.sent, borrowed).await;
    let typed = StayForm::default();
    answered(
        &app,
        &viewer,
        frame,
        borrowed,
        done,
        "It is still with you.",
        typed,
    )
    .await
}
