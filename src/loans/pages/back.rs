//! Counting back.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, LoanId};
use crate::loans::sheet_back::{AS_IT_IS, BackPlace, COUNTED};
use crate::loans::{self, Loan};
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "loans/back.html")]
pub(super) struct BackPage {
    frame: Frame,
    form_id: FormId,
    loan: Loan,
    places: Vec<BackPlace>,
    fields: BTreeMap<String, String>,
    wrongs: Vec<Wrong>,
}

impl BackPage {
    fn wrong(&self, field: impl AsRef<str>) -> Option<&str> {
        form::at(&self.wrongs, field.as_ref())
    }

    fn title_prefix(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn typed(&self, field: impl AsRef<str>) -> &str {
        self.fields.get(field.as_ref()).map_or("", String::as_str)
    }

    fn choices(&self, place: &BackPlace) -> Vec<Choice> {
        let chosen = self.typed(place.field());
        vec![
            Choice::one_of("", "still out", chosen),
            Choice::one_of(AS_IT_IS, "back, nobody opened it: taken as it is", chosen),
            Choice::one_of(COUNTED, "back, and counted below", chosen),
        ]
    }
}

async fn page(
    app: &App,
    frame: Frame,
    loan: LoanId,
    fields: BTreeMap<String, String>,
    wrongs: Vec<Wrong>,
) -> Result<BackPage, AppError> {
    let mut db = app.db.read().await?;
    let loan = super::found(&mut db, loan).await?;
    Ok(BackPage {
        form_id: frame.form_id(),
        frame,
        places: loans::still_out(&mut db, loan.id).await?,
        loan,
        fields,
        wrongs,
    })
}

pub(super) async fn ask(
    State(app): State<App>,
    frame: Frame,
    Path(loan): Path<LoanId>,
) -> Result<Page<BackPage>, AppError> {
    page(&app, frame, loan, BTreeMap::new(), Vec::new())
        .await
        .map(Page)
}

pub(super) async fn give_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(loan): Path<LoanId>,
    form: Form<BTreeMap<String, String>>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    match loans::give_back(&app, &viewer, &sent, loan, &fields).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Recorded.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = page(&app, frame, loan, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
