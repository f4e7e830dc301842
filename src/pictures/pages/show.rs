//! The page of one picture: large, what is said about it, what was done with it, and what can be done.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PictureId};
use crate::people::{Viewer, shown_name};
use crate::pictures::rules::{Said, Wrongs};
use crate::pictures::{self, Of, Picture, store};
use crate::receipts::Outcome;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "pictures/show.html")]
struct ShowPage {
    frame: Frame,
    describe_form: FormId,
    first_form: FormId,
    hide_form: FormId,
    erase_form: FormId,
    picture: Picture,
    /// What it shows, and the page of that.
    subject: Option<(String, String)>,
    /// "added by Ama, 4 Mar 2027, 18:00".
    done: Vec<String>,
    may_work: bool,
    may_erase: bool,
    fields: DescribeForm,
    wrongs: Vec<Wrong>,
}

impl ShowPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn day_label(&self) -> &'static str {
        super::day_label(self.picture.place.is_some())
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn title(&self) -> &str {
        if self.picture.words.is_empty() {
            "Erased picture"
        } else {
            &self.picture.words
        }
    }

    fn layer(&self) -> Option<String> {
        self.picture.layer.map(pictures::layer_words)
    }

    /// Another picture took its place, and goes when this one comes back.
    fn was_replaced(&self) -> bool {
        self.picture.replaced_by.is_some()
    }
}

#[derive(Deserialize)]
pub(super) struct DescribeForm {
    version: i64,
    #[serde(default)]
    words: String,
    #[serde(default)]
    taken_on: String,
    #[serde(default)]
    layer: String,
}

impl DescribeForm {
    fn of(picture: &Picture) -> Self {
        Self {
            version: picture.version,
            words: picture.words.clone(),
            taken_on: picture.taken_on.to_string(),
            layer: picture
                .layer
                .map(|layer| layer.to_string())
                .unwrap_or_default(),
        }
    }
}

async fn show_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    picture: PictureId,
    typed: Option<DescribeForm>,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let mut db = app.db.read().await?;
    let picture = store::find(&mut db, picture)
        .await?
        .ok_or(AppError::NotFound("picture"))?;
    let subject = match picture.of() {
        Of::Part(part) => store::part_words(&mut db, part)
            .await?
            .map(|words| (words, format!("/parts/{part}"))),
        Of::Place(place) => store::place_words(&mut db, place)
            .await?
            .map(|(words, _)| (words, format!("/places/{place}"))),
        Of::Other => store::report_of(&mut db, picture.id)
            .await?
            .map(|report| ("What it shows".to_owned(), format!("/damage/{report}"))),
    };
    let done = store::acts(&mut db, picture.id)
        .await?
        .into_iter()
        .map(|done| {
            let by = done
                .by
                .as_deref()
                .map_or("somebody without an account", shown_name);
            format!("{} by {by}, {}", done.act, done.at.words(viewer.zone()))
        })
        .collect();
    // Sending a refused form again means: keep what is in it.
    let fields = match typed {
        Some(typed) => DescribeForm {
            version: picture.version,
            ..typed
        },
        None => DescribeForm::of(&picture),
    };
    Ok(ShowPage {
        describe_form: frame.form_id(),
        first_form: frame.form_id(),
        hide_form: frame.form_id(),
        erase_form: frame.form_id(),
        frame,
        subject,
        done,
        may_work: viewer.role_in(picture.team).is_some(),
        may_erase: viewer.keeps(picture.team),
        fields,
        picture,
        wrongs,
    })
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(picture): Path<PictureId>,
) -> Result<Response, AppError> {
    let page = show_page(&app, &viewer, frame, picture, None, Vec::new()).await?;
    Ok(Page(page).into_response())
}

pub(super) async fn describe(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(picture): Path<PictureId>,
    form: Form<DescribeForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let said = Said {
        words: fields.words.clone(),
        taken_on: fields.taken_on.clone(),
        layer: fields.layer.clone(),
    };
    let done = pictures::describe(&app, &viewer, &form.sent, picture, fields.version, &said).await;
    answer(&app, &viewer, frame, picture, Some(fields), done, "Kept.").await
}

pub(super) async fn put_first(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(picture): Path<PictureId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = pictures::put_first(&app, &viewer, &form.sent, picture).await;
    answer(&app, &viewer, frame, picture, None, done, "Shown first.").await
}

pub(super) async fn remove(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(picture): Path<PictureId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = pictures::remove(&app, &viewer, &form.sent, picture).await;
    let told = "Removed. Bring it back here if that was a mistake.";
    answer(&app, &viewer, frame, picture, None, done, told).await
}

pub(super) async fn bring_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(picture): Path<PictureId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = pictures::bring_back(&app, &viewer, &form.sent, picture).await;
    answer(&app, &viewer, frame, picture, None, done, "Brought back.").await
}

pub(super) async fn erase(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(picture): Path<PictureId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = pictures::erase(&app, &viewer, &form.sent, picture).await;
    let told = "Erased for good. Backups made before still hold it.";
    answer(&app, &viewer, frame, picture, None, done, told).await
}

async fn answer(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    picture: PictureId,
    typed: Option<DescribeForm>,
    done: Result<Outcome, NotDone<Wrongs>>,
    told: &str,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, told, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let wrongs = super::told(wrongs);
            let page = show_page(app, viewer, frame, picture, typed, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
