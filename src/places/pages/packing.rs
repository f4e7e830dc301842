//! The packing list: what is on the screen is what comes out of the printer.

use askama::Template;
use axum::extract::State;

use crate::app::App;
use crate::error::AppError;
use crate::ids::PlaceId;
use crate::kits;
use crate::ledger::State as PieceState;
use crate::people::Viewer;
use crate::pictures::{self, Shown};
use crate::places::rules::mass::{self, Mass};
use crate::places::rules::packing::{self, Row, Section, Sheet};
use crate::places::rules::tree;
use crate::places::rules::words::{called, named, pieces, sentence};
use crate::places::{self, Pieces, Place, store};
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;
use crate::web::qr::{self, Qr};

/// Lines on a sheet of A4 or Letter at the size paper.css sets.
const LINES: usize = 18;

#[derive(Template)]
#[template(path = "places/packing_list.html")]
pub struct PackingPage {
    frame: Frame,
    place: Place,
    kit_name: Option<String>,
    revision: Option<String>,
    sheets: Vec<Sheet>,
    total: String,
    mass: Mass,
    qr: Option<Qr>,
    pictures: Vec<Shown>,
    /// How its seal stands, where it ever had one.
    seal: Option<String>,
    may_seal: bool,
}

impl PackingPage {
    fn title(&self) -> String {
        sentence(&named(&self.place))
    }

    fn lifts(&self) -> Option<&'static str> {
        self.place
            .kind
            .is_carried()
            .then(|| mass::lifters(&self.mass))
    }

    fn caution(&self) -> Option<(String, String)> {
        mass::caution(self.place.kind, &self.mass)
    }
}

pub async fn packing_list(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(place): Path<PlaceId>,
) -> Result<Page<PackingPage>, AppError> {
    let mut db = app.db.read().await?;
    let place = places::find(&mut db, place)
        .await?
        .ok_or(AppError::NotFound("place"))?;
    let lines = store::pieces(&mut db, place.id, true).await?;
    let below = store::below(&mut db, place.id).await?;
    let kit = match place.kit.or_else(|| one_kit(&lines)) {
        Some(kit) => kits::find(&mut db, kit).await?,
        None => None,
    };
    let mass = mass::weigh(
        below.iter().chain([&place]).map(|p| (p.kind, p.tare_g)),
        lines.iter().map(|line| (line.part, line.qty, line.mass_g)),
    );
    let mut sections = vec![section(&place, "loose in it", &lines)];
    for node in tree::below(&below, Some(place.id)) {
        sections.push(section(&node.place, "", &lines));
    }
    // A crate that holds only bags needs no empty heading of its own.
    if sections.len() > 1 && sections[0].rows.is_empty() {
        sections.remove(0);
    }
    let seal = places::seal_of(&mut db, place.id).await?;
    Ok(Page(PackingPage {
        may_seal: viewer.role_in(place.team).is_some() && place.kind.is_sealed() && !place.put_away,
        seal: seal.is_used().then(|| seal.words(viewer.zone())),
        frame,
        qr: qr::of_code(app.public_url(), &place.code),
        sheets: packing::sheets(sections, LINES),
        pictures: pictures::of_place(&mut db, place.id).await?.shown,
        total: pieces(lines.iter().map(|line| line.qty).sum()),
        mass,
        revision: kit.as_ref().and_then(|kit| kit.revision_label.clone()),
        kit_name: kit.map(|kit| kit.name),
        place,
    }))
}

/// The kit of all pieces, if they are of one.
fn one_kit(lines: &[Pieces]) -> Option<crate::ids::KitId> {
    let first = lines.first()?.kit;
    lines.iter().all(|line| line.kit == first).then_some(first)
}

fn section(place: &Place, what: &str, lines: &[Pieces]) -> Section {
    let mut title = sentence(&called(place));
    if !what.is_empty() {
        title.push_str(", ");
        title.push_str(what);
    }
    Section {
        title,
        goes_on: false,
        rows: lines
            .iter()
            .filter(|line| line.place == place.id)
            .map(|line| Row {
                number: line.number.clone(),
                name: line.name.clone(),
                colour: line.colour.clone(),
                state: match line.state {
                    PieceState::Good => "",
                    other => other.word(),
                },
                qty: line.qty,
            })
            .collect(),
    }
}
