//! The page of one place, and putting it away.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PlaceId};
use crate::people::Viewer;
use crate::places::rules::making::may_make;
use crate::places::rules::mass::{self, Mass};
use crate::places::rules::tree::{self, Node};
use crate::places::rules::words::{Ways, named, pieces, sentence};
use crate::places::rules::{Wrong, seals, wrong_at};
use crate::places::{self, Pieces, Place, SealOf, store};
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::{kits, people, pictures, receipts};

#[derive(Template)]
#[template(path = "places/show.html")]
pub struct ShowPage {
    frame: Frame,
    /// For the one form on the page.
    form_id: FormId,
    place: Place,
    kit_name: Option<String>,
    ways: Ways,
    pieces: Vec<Pieces>,
    below: Vec<Node>,
    pictures: pictures::Gallery,
    mass: Mass,
    seal: SealOf,
    /// What was done about the seal, the newest first: line, words, whether it counts no more.
    seal_steps: Vec<(i64, String, bool)>,
    typed: Typed,
    zone: String,
    may_work: bool,
    may_change: bool,
    wrongs: Vec<Wrong>,
}

/// What was typed in the forms about the seal.
#[derive(Default)]
pub(super) struct Typed {
    pub number: String,
    pub intact: String,
    pub words: String,
}

impl ShowPage {
    fn code(&self) -> String {
        self.place.code.to_string()
    }

    fn wrong(&self, field: &str) -> Option<String> {
        wrong_at(&self.wrongs, field)
    }

    fn next_form(&self) -> FormId {
        self.frame.form_id()
    }

    fn can_be_sealed(&self) -> bool {
        self.place.kind.is_sealed() && !self.place.put_away
    }

    /// Whether this is the newest step about the seal that counts.
    fn is_last_step(&self, line: &i64) -> bool {
        let newest = self.seal_steps.iter().find(|(_, _, undone)| !undone);
        newest.is_some_and(|(newest, ..)| newest == line)
    }

    fn seal_words(&self) -> String {
        self.seal.words(&self.zone)
    }

    fn intact(&self) -> Vec<Choice> {
        let number = self.seal.number().unwrap_or_default();
        let chosen = &self.typed.intact;
        vec![
            Choice::one_of("yes", format!("Yes, {number}, and whole"), chosen),
            Choice::one_of("no", "No: broken, gone, or another number", chosen),
        ]
    }

    fn kind(&self) -> String {
        sentence(self.place.kind.word())
    }

    fn add_picture(&self) -> String {
        format!("/places/{}/pictures/new", self.place.id)
    }

    fn pictures_title(&self) -> &'static str {
        if self.is_lifted() {
            "Packed like this"
        } else {
            "Pictures"
        }
    }

    fn title(&self) -> String {
        sentence(&named(&self.place))
    }

    /// "On shelf Middle, in store Cellar."
    fn stands(&self) -> String {
        sentence(&self.ways.stands(self.place.id))
    }

    fn usual(&self) -> Option<String> {
        self.place.usual_parent.map(|usual| self.ways.inside(usual))
    }

    fn is_elsewhere(&self) -> bool {
        self.place
            .usual_parent
            .is_some_and(|usual| self.place.parent != Some(usual))
    }

    fn is_lifted(&self) -> bool {
        self.place.kind.is_carried()
    }

    fn mass_words(&self) -> String {
        let words = self.mass.words();
        if self.mass.empties_g > 0.0 {
            format!("{words} (empty: {})", mass::amount(self.mass.empties_g))
        } else {
            words
        }
    }

    fn caution(&self) -> Option<(String, String)> {
        mass::caution(self.place.kind, &self.mass)
    }

    fn total(&self) -> i64 {
        self.pieces.iter().map(|line| line.qty).sum()
    }

    /// Which bag of this place a line lies in.
    fn lies_in(&self, line: &Pieces) -> String {
        if line.place == self.place.id {
            return "loose".into();
        }
        self.ways
            .get(line.place)
            .map_or_else(String::new, |place| sentence(&named(place)))
    }

    fn child_name(&self, node: &Node) -> String {
        sentence(&named(&node.place))
    }

    fn step(&self, node: &Node) -> usize {
        node.depth.min(4)
    }

    /// Pieces that lie in a place below this one, where the page knows them.
    fn child_holds(&self, node: &Node) -> String {
        let held: i64 = self
            .pieces
            .iter()
            .filter(|line| line.place == node.place.id)
            .map(|line| line.qty)
            .sum();
        match (held, self.is_lifted()) {
            (_, false) => String::new(),
            (0, true) => "nothing loose in it".into(),
            (held, true) => pieces(held),
        }
    }
}

pub async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
) -> Result<Page<ShowPage>, AppError> {
    let mut db = app.db.read().await?;
    show_page(&mut db, &viewer, frame, place, Vec::new())
        .await
        .map(Page)
}

async fn show_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    place: PlaceId,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let place = places::find(db, place)
        .await?
        .ok_or(AppError::NotFound("place"))?;
    let is_lifted = place.kind.is_carried();
    // A store may hold a league: of rooms and vehicles only what lies loose in them is listed.
    let pieces = store::pieces(db, place.id, is_lifted).await?;
    let below = store::below(db, place.id).await?;
    let empties = below.iter().chain([&place]);
    let mass = mass::weigh(
        empties.map(|place| (place.kind, place.tare_g)),
        pieces.iter().map(|line| (line.part, line.qty, line.mass_g)),
    );
    let mut known: Vec<Place> = below.clone();
    let outwards: Vec<PlaceId> = [Some(place.id), place.usual_parent]
        .into_iter()
        .flatten()
        .collect();
    known.extend(store::around(db, &outwards).await?);
    let kit_name = match place.kit {
        Some(kit) => kits::find(db, kit).await?.map(|kit| kit.name),
        None => None,
    };
    let role = viewer.role_in(place.team);
    let pictures = pictures::of_place(db, place.id).await?;
    let seal = places::seal_of(db, place.id).await?;
    let seal_steps = seal_steps(db, viewer, &seal).await?;
    Ok(ShowPage {
        seal,
        seal_steps,
        typed: Typed::default(),
        form_id: frame.form_id(),
        frame,
        kit_name,
        ways: Ways::new(known),
        pieces,
        below: tree::below(&below, Some(place.id)),
        pictures,
        mass,
        zone: viewer.zone().to_owned(),
        may_work: role.is_some(),
        may_change: may_make(place.kind, role),
        place,
        wrongs,
    })
}

/// What was done about a seal, the newest first.
async fn seal_steps(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    seal: &SealOf,
) -> sqlx::Result<Vec<(i64, String, bool)>> {
    let ids: Vec<_> = seal.steps.iter().map(|step| step.person).collect();
    let names: HashMap<_, _> = people::names(db, &ids).await?.into_iter().collect();
    let steps = seal.steps.iter().rev();
    Ok(steps
        .filter(|step| step.kind != seals::Kind::TakenBack)
        .map(|step| {
            let name = names.get(&step.person).map_or("", String::as_str);
            let words = format!(
                "{}: {} {}",
                step.done_at.words(viewer.zone()),
                people::shown_name(name),
                seals::step(step)
            );
            let counts = seals::is_in_force(step, &seal.steps);
            (step.line, words, !counts)
        })
        .collect())
}

/// The page again, with what was typed about its seal and what has to be put right.
pub(super) async fn again(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    place: PlaceId,
    typed: Typed,
    wrongs: Vec<Wrong>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let page = show_page(&mut db, viewer, frame, place, wrongs).await?;
    Ok(page::again(ShowPage { typed, ..page }))
}

pub async fn put_away(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = places::put_away(&app, &viewer, &form.sent, place).await;
    answer(&app, &viewer, frame, place, done, "Put away.").await
}

pub async fn bring_back(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    let done = places::bring_back(&app, &viewer, &form.sent, place).await;
    answer(&app, &viewer, frame, place, done, "Brought back.").await
}

async fn answer(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    place: PlaceId,
    done: Result<receipts::Outcome, NotDone<Wrong>>,
    told: &str,
) -> Result<Response, AppError> {
    match done {
        Ok(outcome) => Ok(flash::told(&outcome, told, viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrong)) => {
            let mut db = app.db.read().await?;
            let page = show_page(&mut db, viewer, frame, place, vec![wrong]).await?;
            Ok(page::again(page))
        }
    }
}
