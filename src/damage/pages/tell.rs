//! The page on which a member tells what broke, was lost or was found.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::response::Response;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{SEVERAL, at_fields};
use crate::app::App;
use crate::clock::Day;
use crate::code::Code;
use crate::codes;
use crate::damage::photo::{self, Photo};
use crate::damage::rules::telling::{HAPPENED, Typed, Usable, What};
use crate::damage::store::{self, Stand};
use crate::damage::{self, AboutTyped, Refused};
use crate::error::{AppError, NotDone};
use crate::events;
use crate::ids::{FormId, PartId, PlaceId, TeamId};
use crate::people::Viewer;
use crate::pictures::rules::MOST_BYTES;
use crate::places;
use crate::places::rules::words::part;
use crate::receipts::Outcome;
use crate::web::extract::Query;
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::web::upload::{self, Files, Words};

/// A part of which pieces lie in more places than this is asked for again.
const OFFERED: i64 = 12;
/// Parts that are offered by their pictures.
const PICTURED: i64 = 120;
const FEW: usize = 12;
/// Events of so many days back are offered.
const EVENT_DAYS: i64 = 30;

#[derive(Template)]
#[template(path = "damage/tell.html")]
pub(super) struct TellPage {
    frame: Frame,
    form_id: FormId,
    fields: TellForm,
    teams: Vec<Choice>,
    /// Parts to choose from by their pictures.
    pictured: Vec<Pick>,
    events: Vec<Choice>,
    /// Pieces that fit, each a button that records it.
    several: Vec<Offer>,
    /// Reports of the viewer's teams that wait.
    waiting: i64,
    wrongs: Vec<Wrong>,
}

/// A part that can be chosen by its picture.
pub(super) struct Pick {
    pub key: String,
    pub words: String,
    /// Where the small picture is.
    pub src: String,
    pub is_chosen: bool,
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

    /// A few pictures are shown at once; many wait until they are asked for.
    fn shows_pictures(&self) -> bool {
        self.pictured.len() <= FEW || !self.fields.part_id.is_empty()
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

#[derive(Default)]
pub(super) struct TellForm {
    pub team: String,
    pub what: String,
    pub part: String,
    pub part_id: String,
    pub stand: String,
    pub code: String,
    pub qty: String,
    pub usable: String,
    pub happened: String,
    pub event_id: String,
    pub event: String,
    pub note: String,
}

impl TellForm {
    fn of<P>(words: &Words<P>) -> Self {
        let text = |name| words.text(name).to_owned();
        Self {
            team: text("team"),
            what: text("what"),
            part: text("part"),
            part_id: text("part_id"),
            stand: text("stand"),
            code: text("code"),
            qty: text("qty"),
            usable: text("usable"),
            happened: text("happened"),
            event_id: text("event_id"),
            event: text("event"),
            note: text("note"),
        }
    }

    pub fn typed(&self) -> Typed {
        Typed {
            what: self.what.clone(),
            qty: self.qty.clone(),
            usable: self.usable.clone(),
            happened: self.happened.clone(),
            event_id: self.event_id.clone(),
            event: self.event.clone(),
            note: self.note.clone(),
            reporter: String::new(),
        }
    }

    pub fn about(&self) -> AboutTyped {
        AboutTyped {
            stand: self.stand.clone(),
            part: self.part.clone(),
            part_id: self.part_id.clone(),
            code: self.code.clone(),
            has_picture: false,
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
    tell_page(&app, &mut db, &viewer, frame, fields, several, Vec::new())
        .await
        .map(Page)
}

async fn tell_page(
    app: &App,
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
    let mut pictured = Vec::new();
    let team = fields.team.parse().ok();
    if let Some(team) = team.or(viewer.main_team().map(|of| of.team)) {
        let within = match Code::parse(&fields.code) {
            Ok(code) => codes::find(db, &code).await?.map(|(_, id)| PlaceId(id)),
            Err(_) => None,
        };
        pictured = store::pictured(db, team, within, PICTURED)
            .await?
            .into_iter()
            .map(|one| Pick {
                is_chosen: one.part.to_string() == fields.part_id,
                key: one.part.to_string(),
                words: part(&one.name, &one.colour, &one.number),
                src: format!("/pictures/{}/thumb.jpg", one.picture),
            })
            .collect();
    }
    let events = offered_events(db, viewer.today(app), &fields.event_id).await?;
    Ok(TellPage {
        form_id: frame.form_id(),
        frame,
        fields,
        pictured,
        events,
        teams,
        several,
        waiting,
        wrongs,
    })
}

/// "Peg, black (B-4): 1 missing from kit 07, belongs in Bag 2 (7K3-F28)".
fn offered_words(stand: &Stand, lay: &str) -> String {
    let (part, kit) = (stand.part_words(), &stand.kit_name);
    match stand.missing {
        0 => format!("{part}: {} {lay}, kit {kit}", stand.in_use()),
        missing => format!("{part}: {missing} missing from kit {kit}, belongs {lay}"),
    }
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
            words: offered_words(stand, &ways.inside(stand.place)),
        })
        .collect())
}

/// Events of these days; going on or the nearest first. None is chosen unless one goes on today.
pub(super) async fn offered_events(
    db: &mut SqliteConnection,
    today: Day,
    chosen: &str,
) -> sqlx::Result<Vec<Choice>> {
    let events = events::around(db, today, EVENT_DAYS, 1).await?;
    if events.is_empty() {
        return Ok(Vec::new());
    }
    let mut choices = vec![Choice::one_of("", "none of these", chosen)];
    choices.extend(events.iter().map(|event| {
        let text = format!("{}, {}", event.name, event.days());
        Choice::one_of(event.id, text, chosen)
    }));
    Ok(choices)
}

pub(super) async fn tell(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    parts: Multipart,
) -> Result<Response, AppError> {
    let desk = app.pictures.clone();
    let mut words = upload::read_words_first(parts, &frame.path, MOST_BYTES, desk.room()).await?;
    let files = std::mem::replace(&mut words.files, Files::Came(Vec::new()));
    let photo = Photo::develop(&app, files).await?;
    let (sent, fields) = (words.sent, TellForm::of(&words));
    let team = match fields.team.parse::<TeamId>() {
        Ok(team) => team,
        Err(_) => match viewer.main_team() {
            Some(membership) => membership.team,
            None => return Err(AppError::NotFound("team")),
        },
    };
    let had_picture = photo.came();
    let about = AboutTyped {
        has_picture: had_picture,
        ..fields.about()
    };
    match damage::tell(&app, &viewer, &sent, team, &fields.typed(), &about).await {
        Ok(outcome) => {
            let (by, today) = (Some(viewer.person), viewer.today(&app));
            let report = damage::report_at(outcome.location())?;
            let lacks = photo::keep(&app, sent.id, report, by, today, photo).await?;
            Ok(recorded(&outcome, "Recorded.", lacks, viewer.zone()))
        }
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let mut db = app.db.read().await?;
            let (several, mut wrongs) = match refused {
                Refused::Wrong(wrongs) => (Vec::new(), at_fields(wrongs)),
                Refused::Several(stands) => (
                    offers(&mut db, stands).await?,
                    vec![Wrong::at("stand", SEVERAL)],
                ),
            };
            if had_picture {
                wrongs.push(Wrong::at("take", FORGOT));
            }
            let page = tell_page(&app, &mut db, &viewer, frame, fields, several, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

/// What a browser does with a picture when a form comes back.
pub(super) const FORGOT: &str = "the browser forgot the picture; take or choose it again";

/// The page of what was recorded; where its picture was not kept, why.
pub(super) fn recorded(
    outcome: &Outcome,
    told: &str,
    lacks: Option<String>,
    zone: &str,
) -> Response {
    match lacks {
        None => flash::told(outcome, told, zone),
        Some(why) => flash::look(
            outcome.location(),
            format!("{told} Its picture was not kept: {why}."),
        ),
    }
}
