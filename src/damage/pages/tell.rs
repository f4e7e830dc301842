//! The page on which a member tells what broke, was lost or was found.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{SEVERAL, at_fields};
use crate::app::App;
use crate::codes;
use crate::damage::rules::telling::{HAPPENED, Typed, Usable, What};
use crate::damage::store::{self, Stand};
use crate::damage::{self, AboutTyped, Refused};
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PartId, PlaceId, TeamId};
use crate::people::Viewer;
use crate::places;
use crate::web::extract::{Form, Query};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// A part of which pieces lie in more places than this is asked for again.
const OFFERED: i64 = 12;

#[derive(Template)]
#[template(path = "damage/tell.html")]
pub(super) struct TellPage {
    frame: Frame,
    form_id: FormId,
    fields: TellForm,
    teams: Vec<Choice>,
    /// Pieces that fit, each a button that records it.
    several: Vec<Offer>,
    /// Reports of the viewer's teams that wait.
    waiting: i64,
    wrongs: Vec<Wrong>,
}

/// One of several pieces that may be meant.
pub(super) struct Offer {
    pub key: String,
    pub words: String,
}

impl TellPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn whats(&self) -> Vec<Choice> {
        let chosen = What::from_word(&self.fields.what).unwrap_or(What::Broken);
        What::ALL
            .into_iter()
            .map(|what| Choice::new(what.word(), what.sentence(), what == chosen))
            .collect()
    }

    fn usables(&self) -> Vec<Choice> {
        usables(&self.fields.usable)
    }

    fn happened(&self) -> Vec<Choice> {
        happened(&self.fields.happened)
    }
}

pub(super) fn usables(chosen: &str) -> Vec<Choice> {
    let chosen = Usable::from_word(chosen).unwrap_or(Usable::No);
    Usable::ALL
        .into_iter()
        .map(|usable| Choice::new(usable.word(), usable.sentence(), usable == chosen))
        .collect()
}

pub(super) fn happened(chosen: &str) -> Vec<Choice> {
    let mut all = vec![Choice::one_of(
        "",
        "I do not know, or something else",
        chosen,
    )];
    all.extend(HAPPENED.map(|word| Choice::one_of(word, word, chosen)));
    all
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct TellForm {
    pub team: String,
    pub what: String,
    pub part: String,
    pub stand: String,
    pub code: String,
    pub qty: String,
    pub usable: String,
    pub happened: String,
    pub event: String,
    pub note: String,
}

impl TellForm {
    pub fn typed(&self) -> Typed {
        Typed {
            what: self.what.clone(),
            qty: self.qty.clone(),
            usable: self.usable.clone(),
            happened: self.happened.clone(),
            event: self.event.clone(),
            note: self.note.clone(),
            reporter: String::new(),
        }
    }

    pub fn about(&self) -> AboutTyped {
        AboutTyped {
            stand: self.stand.clone(),
            part: self.part.clone(),
            code: self.code.clone(),
        }
    }
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct AskQuery {
    part: String,
    place: String,
}

/// The empty form; a part or a place that the link names is filled in.
pub(super) async fn ask(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(query): Query<AskQuery>,
) -> Result<Page<TellPage>, AppError> {
    let mut db = app.db.read().await?;
    let mut fields = TellForm::default();
    let mut several = Vec::new();
    if let Ok(place) = query.place.parse::<PlaceId>()
        && let Some(place) = places::find(&mut db, place).await?
        && viewer.role_in(place.team).is_some()
    {
        fields.team = place.team.to_string();
        if let Some(code) = codes::of(&mut db, place.id.0).await? {
            fields.code = code.to_string();
        }
    }
    if let Ok(part) = query.part.parse::<PartId>() {
        for membership in viewer.memberships() {
            let stands =
                store::stands(&mut db, membership.team, Some(part), None, None, OFFERED).await?;
            if let Some(first) = stands.first() {
                fields.team = membership.team.to_string();
                fields.part = first.part_words();
                several = offers(&mut db, stands).await?;
                break;
            }
        }
    }
    tell_page(&mut db, &viewer, frame, fields, several, Vec::new())
        .await
        .map(Page)
}

async fn tell_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    fields: TellForm,
    several: Vec<Offer>,
    wrongs: Vec<Wrong>,
) -> Result<TellPage, AppError> {
    let mut waiting = 0;
    for membership in viewer.memberships() {
        waiting += damage::waiting(db, membership.team).await?;
    }
    let teams = viewer
        .memberships()
        .iter()
        .map(|of| Choice::one_of(of.team, &of.team_name, &fields.team))
        .collect();
    Ok(TellPage {
        form_id: frame.form_id(),
        frame,
        fields,
        teams,
        several,
        waiting,
        wrongs,
    })
}

/// Pieces to choose from: "Peg, black (B-4): 8 in Bag 2 (7K3-F28), kit 07".
pub(super) async fn offers(
    db: &mut SqliteConnection,
    stands: Vec<Stand>,
) -> sqlx::Result<Vec<Offer>> {
    let places: Vec<PlaceId> = stands.iter().map(|stand| stand.place).collect();
    let ways = places::ways(db, &places).await?;
    Ok(stands
        .iter()
        .map(|stand| Offer {
            key: stand.key(),
            words: format!(
                "{}: {} {}, kit {}",
                stand.part_words(),
                stand.in_use(),
                ways.inside(stand.place),
                stand.kit_name
            ),
        })
        .collect())
}

pub(super) async fn tell(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<TellForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let team = match fields.team.parse::<TeamId>() {
        Ok(team) => team,
        Err(_) => match viewer.main_team() {
            Some(membership) => membership.team,
            None => return Err(AppError::NotFound("team")),
        },
    };
    let (typed, about) = (fields.typed(), fields.about());
    match damage::tell(&app, &viewer, &sent, team, &typed, &about).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Recorded.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let mut db = app.db.read().await?;
            let (several, wrongs) = match refused {
                Refused::Wrong(wrongs) => (Vec::new(), at_fields(wrongs)),
                Refused::Several(stands) => (
                    offers(&mut db, stands).await?,
                    vec![Wrong::at("stand", SEVERAL)],
                ),
            };
            let page = tell_page(&mut db, &viewer, frame, fields, several, wrongs).await?;
            Ok(page::again(page))
        }
    }
}
