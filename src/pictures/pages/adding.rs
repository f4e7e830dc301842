//! Adding a picture of a part or of a place: take one or choose one, and say what is to be seen.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::response::{IntoResponse, Response};
use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PartId, PictureId, PlaceId, TeamId};
use crate::people::Viewer;
use crate::pictures::rules::{self, MOST_BYTES, Refused, Said};
use crate::pictures::{self, NewPicture, Of, store};
use crate::web::extract::Path;
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::upload;

#[derive(Template)]
#[template(path = "pictures/new.html")]
struct AddPage {
    frame: Frame,
    form_id: FormId,
    /// "Peg 40, grey".
    subject: String,
    /// The page of the subject.
    above: String,
    /// Where the form goes.
    action: String,
    is_place: bool,
    said: Said,
    /// Whose it is, where more than one team may be meant.
    teams: Vec<Choice>,
    /// What it may take the place of.
    instead_of: Vec<Choice>,
    wrongs: Vec<Wrong>,
}

impl AddPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn day_label(&self) -> &'static str {
        super::day_label(self.is_place)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }
}

/// What was typed into the form.
struct Typed {
    said: Said,
    team: String,
    instead_of: String,
}

pub(super) async fn new_of_part(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(part): Path<PartId>,
) -> Result<Response, AppError> {
    let page = add_page(&app, &viewer, frame, Of::Part(part), None, Vec::new()).await?;
    Ok(Page(page).into_response())
}

pub(super) async fn new_of_place(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
) -> Result<Response, AppError> {
    let page = add_page(&app, &viewer, frame, Of::Place(place), None, Vec::new()).await?;
    Ok(Page(page).into_response())
}

pub(super) async fn add_of_part(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(part): Path<PartId>,
    parts: Multipart,
) -> Result<Response, AppError> {
    add(&app, &viewer, frame, Of::Part(part), parts).await
}

pub(super) async fn add_of_place(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    parts: Multipart,
) -> Result<Response, AppError> {
    add(&app, &viewer, frame, Of::Place(place), parts).await
}

async fn add(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    of: Of,
    parts: Multipart,
) -> Result<Response, AppError> {
    // Taken before the body is read: what waits outside costs no memory.
    let room = app.pictures.room().await?;
    let mut upload = upload::read(parts, &frame.path, MOST_BYTES).await?;
    let typed = Typed {
        said: Said {
            words: upload.text("words").into(),
            taken_on: upload.text("taken_on").into(),
            layer: upload.text("layer").into(),
        },
        team: upload.text("team").into(),
        instead_of: upload.text("instead_of").into(),
    };
    let mut wrongs = Vec::new();
    let developed = match pictures::only(std::mem::take(&mut upload.files)) {
        Ok(bytes) => match app.pictures.develop(bytes).await {
            Ok(developed) => Some(developed),
            Err(NotDone::Refused(refused)) => {
                wrongs.push(Wrong::at("take", refused));
                None
            }
            Err(NotDone::Failed(error)) => return Err(error),
        },
        Err(refused) => {
            wrongs.push(Wrong::at("take", refused));
            None
        }
    };
    drop(room);
    let caption = match rules::caption(&typed.said, viewer.today(app)) {
        Ok(caption) => Some(caption),
        Err(more) => {
            wrongs.extend(super::told(more));
            None
        }
    };
    let team = team_of(app, viewer, of, &typed.team).await?;
    if team.is_none() {
        wrongs.push(Wrong::at("team", Refused::NoTeam));
    }
    if let (Some(developed), Some(caption), Some(team)) = (developed, caption, team) {
        let new = NewPicture {
            of,
            team,
            caption,
            by: Some(viewer.person),
        };
        let old: Option<PictureId> = typed.instead_of.parse().ok();
        match pictures::add(app, viewer, &upload.sent, &new, &developed, old).await {
            Ok(outcome) => return Ok(flash::told(&outcome, "Picture added.", viewer.zone())),
            Err(NotDone::Refused(refused)) => wrongs.extend(super::told(refused)),
            Err(NotDone::Failed(error)) => return Err(error),
        }
    }
    let page = add_page(app, viewer, frame, of, Some(typed), wrongs).await?;
    Ok(page::again(page))
}

/// Whose the picture will be: the place's team, or of the person's teams the chosen one.
async fn team_of(
    app: &App,
    viewer: &Viewer,
    of: Of,
    chosen: &str,
) -> Result<Option<TeamId>, AppError> {
    if let Of::Place(place) = of {
        let mut db = app.db.read().await?;
        let found = store::place_words(&mut db, place).await?;
        return Ok(found.map(|(_, team)| team));
    }
    if chosen.is_empty() {
        return Ok(viewer.main_team().map(|membership| membership.team));
    }
    let chosen = chosen.parse().ok();
    Ok(chosen.filter(|team| viewer.role_in(*team).is_some()))
}

async fn add_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    of: Of,
    typed: Option<Typed>,
    wrongs: Vec<Wrong>,
) -> Result<AddPage, AppError> {
    let mut db = app.db.read().await?;
    let (subject, default_words, above) = subject(&mut db, of).await?;
    let typed = typed.unwrap_or_else(|| Typed {
        said: Said {
            words: default_words,
            taken_on: viewer.today(app).to_string(),
            layer: String::new(),
        },
        team: String::new(),
        instead_of: String::new(),
    });
    let shown = match of {
        Of::Part(part) => store::of_part(&mut db, part, viewer.person, false).await?,
        Of::Place(place) => store::of_place(&mut db, place).await?,
        Of::Other => Vec::new(),
    };
    let mut instead_of = vec![Choice::one_of(
        "",
        "none: it is one more",
        &typed.instead_of,
    )];
    instead_of.extend(
        shown
            .iter()
            .filter(|picture| !picture.is_removed)
            .map(|picture| {
                let layer = picture.layer_words().map(|layer| format!("{layer}: "));
                let text = format!(
                    "{}{}, {}",
                    layer.unwrap_or_default(),
                    picture.words,
                    picture.taken_on.words()
                );
                Choice::one_of(picture.id, text, &typed.instead_of)
            }),
    );
    let is_place = matches!(of, Of::Place(_));
    let teams = viewer.memberships().iter().filter(|_| !is_place);
    Ok(AddPage {
        form_id: frame.form_id(),
        frame,
        subject,
        action: format!("{above}/pictures"),
        above,
        is_place,
        said: typed.said,
        teams: teams
            .map(|one| Choice::one_of(one.team, &one.team_name, &typed.team))
            .collect(),
        instead_of,
        wrongs,
    })
}

/// What it is called, what a picture of it shows by default, and its page.
async fn subject(db: &mut SqliteConnection, of: Of) -> Result<(String, String, String), AppError> {
    match of {
        Of::Part(part) => {
            let words = store::part_words(db, part)
                .await?
                .ok_or(AppError::NotFound("part"))?;
            Ok((words.clone(), words, format!("/parts/{part}")))
        }
        Of::Place(place) => {
            let (words, _) = store::place_words(db, place)
                .await?
                .ok_or(AppError::NotFound("place"))?;
            let default = format!("How {words} is packed");
            Ok((words, default, format!("/places/{place}")))
        }
        Of::Other => Err(AppError::NotFound("page")),
    }
}
