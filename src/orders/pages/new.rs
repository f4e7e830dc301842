//! The form that puts pieces on the list for the next order.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PartId};
use crate::orders::{self, Typed};
use crate::people::Viewer;
use crate::web::extract::{Form, Query};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::{kits, parts};

#[derive(Template)]
#[template(path = "orders/new.html")]
pub(super) struct NewPage {
    frame: Frame,
    form_id: FormId,
    kits: Vec<Choice>,
    fields: NewForm,
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

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct NewForm {
    kit: String,
    part: String,
    qty: String,
    needed_on: String,
    why: String,
}

/// What a link says of the line: the kit, the part by its id, how many.
#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct NewQuery {
    kit: String,
    part: String,
    qty: String,
}

async fn page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    fields: NewForm,
    wrongs: Vec<Wrong>,
) -> Result<NewPage, AppError> {
    let mut db = app.db.read().await?;
    let mut choices = Vec::new();
    for membership in viewer.memberships() {
        if !membership.role.keeps() {
            continue;
        }
        for kit in kits::of_team(&mut db, membership.team).await? {
            if !kit.put_away {
                choices.push(Choice::one_of(kit.id, &kit.name, &fields.kit));
            }
        }
    }
    Ok(NewPage {
        form_id: frame.form_id(),
        frame,
        kits: choices,
        fields,
        wrongs,
    })
}

pub(super) async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(query): Query<NewQuery>,
) -> Result<Page<NewPage>, AppError> {
    let mut fields = NewForm {
        kit: query.kit,
        qty: query.qty,
        ..NewForm::default()
    };
    if let Ok(part) = query.part.parse::<PartId>() {
        let mut db = app.db.read().await?;
        if let Some(part) = parts::find(&mut db, part).await? {
            fields.part = parts::full_words(&part);
        }
    }
    page(&app, &viewer, frame, fields, Vec::new())
        .await
        .map(Page)
}

pub(super) async fn want(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<NewForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let typed = Typed {
        kit: fields.kit.clone(),
        part: fields.part.clone(),
        qty: fields.qty.clone(),
        needed_on: fields.needed_on.clone(),
        why: fields.why.clone(),
    };
    match orders::want(&app, &viewer, &form.sent, &typed).await {
        Ok(outcome) => Ok(flash::told(&outcome, "It is on the list.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = page(&app, &viewer, frame, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
