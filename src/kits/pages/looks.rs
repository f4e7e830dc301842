//! What is only looked at: the looks of one kit, and the shopping list of all the viewer's kits.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;
use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId, PartId, PlaceId};
use crate::kits::looks::{self, LookRefused};
use crate::kits::rules::looks::{LookedAt, Said};
use crate::kits::{self, Kit, store};
use crate::people::Viewer;
use crate::people::rules::own_path;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{Choice, Wrong, title_prefix};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// Earlier looks listed on a kit's page.
const EARLIER_SHOWN: i64 = 50;

#[derive(Template)]
#[template(path = "kits/looks.html")]
struct LooksPage {
    frame: Frame,
    kit: Kit,
    parts: Vec<LookedAt>,
    /// The kit's crates and bags, by name.
    places: Vec<(PlaceId, String)>,
    /// What was seen, in one line each, the newest first.
    earlier: Vec<String>,
    may_work: bool,
    wrongs: Vec<Wrong>,
    zone: String,
}

impl LooksPage {
    fn error(&self) -> &'static str {
        title_prefix(&self.wrongs)
    }

    fn form_id(&self) -> FormId {
        FormId::new()
    }

    /// "Bag 3: low, Ama, 4 Mar 2027, 18:04".
    fn seen(&self, part: &LookedAt) -> Vec<String> {
        part.looks
            .iter()
            .map(|look| {
                format!(
                    "{}: {}, {}, {}",
                    look.place_name,
                    look.said.word(),
                    crate::people::shown_name(&look.by),
                    look.at.words(&self.zone)
                )
            })
            .collect()
    }

    /// Where one may look: where it was seen or should be comes first.
    fn choices(&self, part: &LookedAt) -> Vec<Choice> {
        let known = part
            .looks
            .first()
            .map(|look| look.place)
            .or_else(|| part.planned.first().copied());
        self.places
            .iter()
            .map(|(place, name)| Choice::new(place, name, Some(*place) == known))
            .collect()
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    Ok(Page(looks_page(&mut db, &viewer, frame, kit, Vec::new()).await?).into_response())
}

async fn looks_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    kit: KitId,
    wrongs: Vec<Wrong>,
) -> Result<LooksPage, AppError> {
    let kit = super::found(db, kit).await?;
    let zone = viewer.zone().to_owned();
    let earlier = store::earlier_looks(db, kit.id, EARLIER_SHOWN)
        .await?
        .into_iter()
        .map(|(part, look)| {
            format!(
                "{}: {part} in {}, {}, {}",
                look.said.word(),
                look.place_name,
                crate::people::shown_name(&look.by),
                look.at.words(&zone)
            )
        })
        .collect();
    Ok(LooksPage {
        frame,
        parts: looks::looked_at(db, kit.id).await?,
        places: store::places_to_look(db, kit.id).await?,
        earlier,
        may_work: viewer.role_in(kit.team).is_some() && !kit.put_away,
        wrongs,
        zone,
        kit,
    })
}

#[derive(Deserialize)]
pub(super) struct LookForm {
    part: PartId,
    #[serde(default)]
    place: String,
    #[serde(default)]
    said: String,
    /// Where the keys stood, so that they lead back there.
    #[serde(default)]
    then: String,
}

pub(super) async fn look(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<LookForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let own = format!("/kits/{kit}/looks");
    let then = own_path(&fields.then).unwrap_or(&own);
    let place: Option<PlaceId> = fields.place.parse().ok();
    let seen = (fields.part, place, fields.said.as_str());
    match looks::look(&app, &viewer, &form.sent, kit, seen, then).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Written down.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(refused)) => {
            let field = match refused {
                LookRefused::Nowhere => format!("place-{}", fields.part),
                LookRefused::Nothing | LookRefused::Counted => String::new(),
            };
            let mut db = app.db.read().await?;
            let wrongs = vec![Wrong::at(field, refused)];
            let page = looks_page(&mut db, &viewer, frame, kit, wrongs).await?;
            Ok(page::again(page))
        }
    }
}

#[derive(Template)]
#[template(path = "kits/shopping.html")]
pub(super) struct ShoppingPage {
    frame: Frame,
    lines: Vec<ToBuy>,
    /// Parts nobody looked at yet: kit, its name, how many.
    unseen: Vec<(KitId, String, usize)>,
}

/// One thing to buy for one kit.
struct ToBuy {
    kit: KitId,
    kit_name: String,
    part: LookedAt,
    said: Said,
    /// "Bag 3 low, Ama, 4 Mar 2027", place by place.
    seen: Vec<String>,
}

pub(super) async fn shopping(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<ShoppingPage>, AppError> {
    let mut db = app.db.read().await?;
    let (mut lines, mut unseen) = (Vec::new(), Vec::new());
    for membership in viewer.memberships() {
        for kit in kits::of_team(&mut db, membership.team).await? {
            let mut nobody = 0;
            for part in looks::looked_at(&mut db, kit.id).await? {
                match part.said() {
                    None => nobody += 1,
                    Some(said) if said.is_to_buy() => lines.push(ToBuy {
                        kit: kit.id,
                        kit_name: kit.name.clone(),
                        seen: seen_words(&part, viewer.zone()),
                        said,
                        part,
                    }),
                    Some(_) => {}
                }
            }
            if nobody > 0 {
                unseen.push((kit.id, kit.name, nobody));
            }
        }
    }
    // What one shop has together, whichever kit it is for; what there is none of first.
    lines.sort_by(|one, other| {
        let key = |line: &ToBuy| (line.part.full_name(), std::cmp::Reverse(line.said));
        key(one).cmp(&key(other))
    });
    Ok(Page(ShoppingPage {
        frame,
        lines,
        unseen,
    }))
}

fn seen_words(part: &LookedAt, zone: &str) -> Vec<String> {
    part.looks
        .iter()
        .map(|look| {
            format!(
                "{} {}, {}, {}",
                look.place_name,
                look.said.word(),
                crate::people::shown_name(&look.by),
                look.at.day(zone).words()
            )
        })
        .collect()
}
