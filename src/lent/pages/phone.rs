//! The one loan that a phone sees, and what is said on it.

use std::collections::BTreeMap;

use askama::Template;
use axum::Extension;
use axum::extract::State;
use axum::http::header;
use axum::response::Response;

use super::opening::kept;
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::FormId;
use crate::lent::Phone;
use crate::loans::pages::{
    Asked, CountPage, Differing, Sheet, Tick, asked, askings, count_page, differing, of_loan,
    onward_typed, ticks,
};
use crate::loans::rules::stretches::Stretch;
use crate::loans::{self, Answered, Speaker};
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// A crate of the loan.
struct Crate {
    /// "Ridge".
    name: String,
    code: String,
    /// "with you", "back", "with Tin Mill".
    stands: String,
    /// Where damage in it is told; blank once it is back.
    tell: String,
}

#[derive(Template)]
#[template(path = "lent/show.html")]
pub(super) struct ShowPage {
    frame: Frame,
    phone: Phone,
    sentence: String,
    is_overdue: bool,
    sheet: Sheet,
    crates: Vec<Crate>,
    differences: Vec<Differing>,
    /// Askings to hand crates on, answered or not.
    onwards: Vec<Asked>,
    /// Who else has some of it.
    others: Vec<Stretch>,
    /// What can be handed on.
    ticks: Vec<Tick>,
    fields: Fields,
    wrongs: Vec<Wrong>,
}

/// The forms' fields by name; those about a difference end with its line.
type Fields = BTreeMap<String, String>;

impl ShowPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: impl AsRef<str>) -> Option<&str> {
        form::at(&self.wrongs, field.as_ref())
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn is_out(&self) -> bool {
        self.sheet.loan.is_out()
    }

    fn still_out(&self) -> bool {
        self.is_out() && self.sheet.loan.still_out > 0
    }

    fn typed(&self, field: &str) -> &str {
        self.fields.get(field).map_or("", String::as_str)
    }

    fn there(&self) -> Vec<Choice> {
        let chosen = self.typed("there");
        vec![
            Choice::one_of("yes", "All of it is there, as the sheet says", chosen),
            Choice::one_of("no", "Something differs", chosen),
        ]
    }
}

fn field(fields: &Fields, name: &str) -> String {
    fields.get(name).cloned().unwrap_or_default()
}

async fn show_page(
    app: &App,
    frame: Frame,
    phone: Phone,
    fields: Fields,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let loan = loans::find(&mut db, phone.loan)
        .await?
        .ok_or(AppError::NotFound("loan"))?;
    let today = app.clock.now().day(&phone.link.zone);
    let places = loans::places(&mut db, loan.id).await?;
    let mut onwards = askings(&mut db, loan.id, &places).await?;
    onwards.retain(|one| one.is_waiting() || one.is_declined());
    let mut others = loans::hands(&mut db, &loan, "").await?;
    others.retain(|hand| hand.n > 0 && hand.until.is_none() && hand.who != loan.borrower_name);
    let crates = places
        .into_iter()
        .filter(|place| !place.is_owed())
        .map(|place| Crate {
            stands: match (place.back_at, loan.is_out()) {
                (Some(_), _) => "back".into(),
                (None, true) => format!("with {}", place.holder(&loan.borrower_name)),
                (None, false) => String::new(),
            },
            tell: if place.back_at.is_none() && loan.is_out() {
                format!("/c/{}/tell", place.code.plain())
            } else {
                String::new()
            },
            name: place.name,
            code: place.code.to_string(),
        })
        .collect();
    Ok(ShowPage {
        frame,
        sentence: loan.sentence(today),
        is_overdue: loan.is_overdue(today),
        crates,
        onwards,
        others,
        ticks: ticks(&mut db, loan.id, &fields).await?,
        differences: differing(&mut db, &loan, false).await?,
        sheet: of_loan(&mut db, loan, &phone.link.zone).await?,
        phone,
        fields,
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    frame: Frame,
    Extension(phone): Extension<Phone>,
) -> Result<Page<ShowPage>, AppError> {
    show_page(&app, frame, phone, Fields::new(), Vec::new())
        .await
        .map(Page)
}

async fn answered(
    app: &App,
    frame: Frame,
    phone: Phone,
    result: Result<Outcome, NotDone<Vec<Wrong>>>,
    text: &str,
    fields: Fields,
) -> Result<Response, AppError> {
    match result {
        Ok(outcome) => Ok(flash::told(&outcome, text, &phone.link.zone)),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = show_page(app, frame, phone, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn confirm_count(
    State(app): State<App>,
    frame: Frame,
    Extension(phone): Extension<Phone>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let speaker = Speaker::phone(phone.id);
    let (there, differs) = (field(&fields, "there"), field(&fields, "differs"));
    let done = loans::confirm_count(&app, &speaker, &sent, phone.loan, &there, &differs).await;
    let text = "The lender sees what you said.";
    answered(&app, frame, phone, done, text, fields).await
}

pub(super) async fn give_back(
    State(app): State<App>,
    frame: Frame,
    Extension(phone): Extension<Phone>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let speaker = Speaker::phone(phone.id);
    let given = field(&fields, "given");
    let done = loans::say_given_back(&app, &speaker, &sent, phone.loan, &given).await;
    let text = "The lender sees it, and counts it back.";
    answered(&app, frame, phone, done, text, fields).await
}

pub(super) async fn answer_difference(
    State(app): State<App>,
    frame: Frame,
    Extension(phone): Extension<Phone>,
    Path(line): Path<i64>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let said = Answered {
        agrees: field(&fields, &format!("agrees-{line}")),
        words: field(&fields, &format!("otherwise-{line}")),
        name: field(&fields, &format!("name-{line}")),
    };
    let speaker = Speaker::phone(phone.id);
    let done = loans::answer_difference(&app, &speaker, &sent, (phone.loan, line), &said).await;
    let text = "The lender sees what you said.";
    answered(&app, frame, phone, done, text, fields).await
}

pub(super) async fn ask_onward(
    State(app): State<App>,
    frame: Frame,
    Extension(phone): Extension<Phone>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let speaker = Speaker::phone(phone.id);
    let typed = onward_typed(&fields);
    let done = loans::ask_onward(&app, &speaker, &sent, phone.loan, &typed).await;
    let text = done.as_ref().map_or("", asked);
    answered(&app, frame, phone, done, text, fields).await
}

/// The count at a handing on that the lender said yes to.
pub(super) async fn count_onward(
    State(app): State<App>,
    frame: Frame,
    Extension(phone): Extension<Phone>,
    Path(n): Path<i64>,
) -> Result<Page<CountPage>, AppError> {
    let (of, at) = ((phone.loan, n), "/lent".to_owned());
    count_page(&app, frame, of, at, Fields::new(), Vec::new())
        .await
        .map(Page)
}

pub(super) async fn hand_on(
    State(app): State<App>,
    frame: Frame,
    Extension(phone): Extension<Phone>,
    Path(n): Path<i64>,
    form: Form<Fields>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let speaker = Speaker::phone(phone.id);
    let of = (phone.loan, n);
    match loans::handed_on(&app, &speaker, &sent, of, &fields).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Handed on.", &phone.link.zone)),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = count_page(&app, frame, of, "/lent".to_owned(), fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

pub(super) async fn drop_onward(
    State(app): State<App>,
    frame: Frame,
    Extension(phone): Extension<Phone>,
    Path(n): Path<i64>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let speaker = Speaker::phone(phone.id);
    let done = loans::drop_onward(&app, &speaker, &form.sent, (phone.loan, n)).await;
    let text = "It is not handed on.";
    answered(&app, frame, phone, done, text, Fields::new()).await
}

/// Forgets the loan on this phone.
pub(super) async fn stop(State(app): State<App>, _: Form<Nothing>) -> Result<Response, AppError> {
    let mut response = flash::see("/lent/open", "This phone has forgotten the loan.");
    let forget = kept(&app, String::new(), 0)?;
    response.headers_mut().append(header::SET_COOKIE, forget);
    Ok(response)
}
