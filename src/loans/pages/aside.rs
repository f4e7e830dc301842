//! Pieces that are not ours, found while counting a place: set aside, in no total.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::counts::{self, Stint};
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, NotOursId, StintId};
use crate::loans::store::{self, NotOurs};
use crate::loans::{self, AsideTyped};
use crate::people::Viewer;
use crate::places;
use crate::places::rules::words::{named, sentence};
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct Fields {
    qty: String,
    what: String,
    whose: String,
}

#[derive(Template)]
#[template(path = "loans/not_ours.html")]
pub(super) struct AsidePage {
    frame: Frame,
    stint: Stint,
    place: String,
    found: Vec<NotOurs>,
    whose: Vec<Choice>,
    fields: Fields,
    wrongs: Vec<Wrong>,
}

impl AsidePage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

async fn aside_page(
    app: &App,
    frame: Frame,
    stint: StintId,
    fields: Fields,
    wrongs: Vec<Wrong>,
) -> Result<AsidePage, AppError> {
    let mut db = app.db.read().await?;
    let (stint, sheet) = counts::stint_and_count(&mut db, stint).await?;
    let place = places::find(&mut db, stint.place)
        .await?
        .ok_or(AppError::NotFound("place"))?;
    let mut whose = vec![Choice::one_of("", "nobody knows", &fields.whose)];
    for one in store::borrowed_by(&mut db, sheet.team).await? {
        let text = format!("{}: {}", one.lender, one.what());
        whose.push(Choice::one_of(format!("b-{}", one.id), text, &fields.whose));
    }
    for loan in loans::with_us(&mut db, sheet.team).await? {
        let text = format!("{}: {}", loan.lender_name, loan.kit_name);
        whose.push(Choice::one_of(
            format!("l-{}", loan.id),
            text,
            &fields.whose,
        ));
    }
    Ok(AsidePage {
        frame,
        place: sentence(&named(&place)),
        found: store::not_ours_of_stint(&mut db, stint.id).await?,
        stint,
        whose,
        fields,
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    frame: Frame,
    Path(stint): Path<StintId>,
) -> Result<Page<AsidePage>, AppError> {
    aside_page(&app, frame, stint, Fields::default(), Vec::new())
        .await
        .map(Page)
}

async fn answered(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    stint: StintId,
    done: Result<Outcome, NotDone<Vec<Wrong>>>,
    text: &str,
    fields: Fields,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, text, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = aside_page(app, frame, stint, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn set_aside(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(stint): Path<StintId>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let typed = AsideTyped {
        qty: fields.qty.clone(),
        what: fields.what.clone(),
        whose: fields.whose.clone(),
    };
    let done = loans::set_aside(&app, &viewer, &sent, stint, &typed).await;
    let text = "Set aside. It is in no total.";
    answered(&app, &viewer, frame, stint, done, text, fields).await
}

pub(super) async fn withdraw(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path((stint, found)): Path<(StintId, NotOursId)>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = loans::withdraw_aside(&app, &viewer, &form.sent, stint, found).await;
    let text = "It is ours after all: count it.";
    answered(&app, &viewer, frame, stint, done, text, Fields::default()).await
}
