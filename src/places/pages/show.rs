//! The page of one place, and putting it away.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PlaceId};
use crate::people::Viewer;
use crate::places::rules::Wrong;
use crate::places::rules::making::may_make;
use crate::places::rules::mass::{self, Mass};
use crate::places::rules::tree::{self, Node};
use crate::places::rules::words::{Ways, named, pieces, sentence};
use crate::places::{self, Pieces, Place, store};
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};
use crate::{kits, pictures, receipts};

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
    zone: String,
    may_work: bool,
    may_change: bool,
    wrongs: Vec<Wrong>,
}

impl ShowPage {
    fn code(&self) -> String {
        self.place.code.to_string()
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
    Ok(ShowPage {
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
