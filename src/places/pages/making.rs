//! Making a place, and changing what is written about it.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{choices_or, chosen_place, kinds, nowhere};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId, PlaceId, TeamId};
use crate::people::Viewer;
use crate::places::rules::making::{self, Typed, tare_text};
use crate::places::rules::words::{called, sentence};
use crate::places::rules::{Wrong, wrong_at};
use crate::places::{Asked, ChangeRefused, Kind, Place};
use crate::web::extract::{Form, Path, Query};
use crate::web::flash;
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::{kits, places};

#[derive(Template)]
#[template(path = "places/new.html")]
pub struct NewPage {
    frame: Frame,
    form_id: FormId,
    fields: NewForm,
    teams: Vec<Choice>,
    kinds: Vec<Choice>,
    parents: Vec<Choice>,
    usual: Vec<Choice>,
    kit_name: Option<String>,
    wrongs: Vec<Wrong>,
}

impl NewPage {
    fn wrong(&self, field: &str) -> Option<String> {
        wrong_at(&self.wrongs, field)
    }
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct NewForm {
    kind: String,
    team: String,
    kit: String,
    name: String,
    make: String,
    tare: String,
    parent: String,
    usual: String,
    note: String,
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct NewQuery {
    kind: String,
    kit: String,
    team: String,
    parent: String,
}

pub async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(query): Query<NewQuery>,
) -> Result<Page<NewPage>, AppError> {
    let mut db = app.db.read().await?;
    let fields = NewForm {
        kind: Kind::from_word(&query.kind)
            .unwrap_or(Kind::Crate)
            .word()
            .to_owned(),
        team: query.team,
        kit: query.kit,
        parent: query.parent,
        ..NewForm::default()
    };
    new_page(&mut db, &viewer, frame, fields, Vec::new())
        .await
        .map(Page)
}

async fn new_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    mut fields: NewForm,
    wrongs: Vec<Wrong>,
) -> Result<NewPage, AppError> {
    let kit = match fields.kit.parse::<KitId>() {
        Ok(kit) => kits::find(db, kit).await?,
        Err(_) => None,
    };
    let kit = kit.filter(|kit| viewer.role_in(kit.team).is_some());
    let team = kit
        .as_ref()
        .map(|kit| kit.team)
        .or_else(|| team_of(viewer, &fields.team))
        .ok_or_else(|| {
            AppError::Forbidden("Places belong to a team, and you belong to none.".into())
        })?;
    fields.team = team.to_string();
    fields.kit = kit
        .as_ref()
        .map_or_else(String::new, |kit| kit.id.to_string());
    let teams = viewer
        .memberships()
        .iter()
        .map(|m| Choice::one_of(m.team.to_string(), m.team_name.as_str(), &fields.team))
        .collect();
    let role = viewer.role_in(team);
    let kinds = kinds(&fields.kind, |kind| {
        making::may_make(kind, role) && (kit.is_none() || kind.is_carried())
    });
    let parents = choices_or(nowhere(&fields.parent), db, team, &fields.parent, |_| true).await?;
    let none = Choice::one_of("", "none", &fields.usual);
    let usual = choices_or(none, db, team, &fields.usual, |_| true).await?;
    Ok(NewPage {
        form_id: frame.form_id(),
        frame,
        teams,
        kinds,
        parents,
        usual,
        kit_name: kit.map(|kit| kit.name),
        fields,
        wrongs,
    })
}

/// The team that was asked for, if the viewer belongs to it; else the one they are here for.
fn team_of(viewer: &Viewer, asked: &str) -> Option<TeamId> {
    asked
        .parse()
        .ok()
        .filter(|team| viewer.role_in(*team).is_some())
        .or_else(|| viewer.main_team().map(|membership| membership.team))
}

pub async fn add(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<NewForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let not_done = match asked(&fields) {
        Err(wrong) => NotDone::Refused(vec![wrong]),
        Ok(asked) => match places::add(&app, &viewer, &sent, &asked, None).await {
            Ok(outcome) => {
                let told = format!("{} made.", sentence(asked.kind.word()));
                return Ok(flash::told(&outcome, told, viewer.zone()));
            }
            Err(not_done) => not_done,
        },
    };
    match not_done {
        NotDone::Failed(error) => Err(error),
        NotDone::Refused(wrongs) => {
            let mut db = app.db.read().await?;
            let page = new_page(&mut db, &viewer, frame, fields, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

fn asked(fields: &NewForm) -> Result<Asked, Wrong> {
    let kind = Kind::from_word(&fields.kind)
        .ok_or_else(|| Wrong::new("kind", "choose what it is from the list"))?;
    let team = fields
        .team
        .parse()
        .map_err(|_| Wrong::new("team", "choose the team it belongs to"))?;
    Ok(Asked {
        kind,
        team,
        kit: fields.kit.parse().ok(),
        typed: Typed {
            name: fields.name.clone(),
            make: fields.make.clone(),
            tare: fields.tare.clone(),
            note: fields.note.clone(),
        },
        parent: chosen_place(&fields.parent),
        usual_parent: chosen_place(&fields.usual),
    })
}

#[derive(Template)]
#[template(path = "places/edit.html")]
pub struct EditPage {
    frame: Frame,
    form_id: FormId,
    place: Place,
    fields: EditForm,
    usual: Vec<Choice>,
    /// As somebody else wrote it meanwhile.
    meanwhile: Option<Meanwhile>,
    wrongs: Vec<Wrong>,
}

struct Meanwhile {
    name: String,
    make: String,
    tare: String,
    usual: String,
    note: String,
}

impl EditPage {
    fn wrong(&self, field: &str) -> Option<String> {
        wrong_at(&self.wrongs, field)
    }

    fn called(&self) -> String {
        called(&self.place)
    }
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct EditForm {
    version: i64,
    name: String,
    make: String,
    tare: String,
    usual: String,
    note: String,
}

pub async fn edit(
    State(app): State<App>,
    frame: Frame,
    Path(place): Path<PlaceId>,
) -> Result<Page<EditPage>, AppError> {
    let mut db = app.db.read().await?;
    let place = found(&mut db, place).await?;
    let fields = EditForm {
        version: place.version,
        name: place.name.clone(),
        make: place.make.clone(),
        tare: tare_text(place.tare_g),
        usual: place
            .usual_parent
            .map_or_else(String::new, |usual| usual.to_string()),
        note: place.note.clone(),
    };
    edit_page(&mut db, frame, place, fields, Vec::new(), false)
        .await
        .map(Page)
}

async fn found(db: &mut SqliteConnection, place: PlaceId) -> Result<Place, AppError> {
    places::find(db, place)
        .await?
        .ok_or(AppError::NotFound("place"))
}

async fn edit_page(
    db: &mut SqliteConnection,
    frame: Frame,
    place: Place,
    mut fields: EditForm,
    wrongs: Vec<Wrong>,
    changed_meanwhile: bool,
) -> Result<EditPage, AppError> {
    let none = Choice::one_of("", "none", &fields.usual);
    let usual = choices_or(none, db, place.team, &fields.usual, |other| {
        other.id != place.id && making::may_stand_in(place.kind, other.kind)
    })
    .await?;
    let mut meanwhile = None;
    if changed_meanwhile {
        let ways = match place.usual_parent {
            Some(parent) => places::ways(db, &[parent]).await?,
            None => Default::default(),
        };
        meanwhile = Some(Meanwhile {
            name: place.name.clone(),
            make: place.make.clone(),
            tare: tare_text(place.tare_g),
            usual: place
                .usual_parent
                .map_or_else(String::new, |usual| ways.called(usual)),
            note: place.note.clone(),
        });
        // Sent again, it is written over what both texts on the page show.
        fields.version = place.version;
    }
    Ok(EditPage {
        form_id: frame.form_id(),
        frame,
        place,
        fields,
        usual,
        meanwhile,
        wrongs,
    })
}

pub async fn change(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    form: Form<EditForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let typed = Typed {
        name: fields.name.clone(),
        make: fields.make.clone(),
        tare: fields.tare.clone(),
        note: fields.note.clone(),
    };
    let usual = chosen_place(&fields.usual);
    let done = places::change(&app, &viewer, &sent, place, fields.version, &typed, usual).await;
    let (wrongs, meanwhile) = match done {
        Ok(outcome) => return Ok(flash::told(&outcome, "Changed.", viewer.zone())),
        Err(NotDone::Failed(error)) => return Err(error),
        Err(NotDone::Refused(ChangeRefused::Wrong(wrongs))) => (wrongs, false),
        Err(NotDone::Refused(ChangeRefused::Meanwhile)) => {
            let text = "somebody changed this meanwhile; both texts are here, look which is right";
            (vec![Wrong::new("name", text)], true)
        }
    };
    let mut db = app.db.read().await?;
    let place = found(&mut db, place).await?;
    let page = edit_page(&mut db, frame, place, fields, wrongs, meanwhile).await?;
    Ok(page::again(page))
}
