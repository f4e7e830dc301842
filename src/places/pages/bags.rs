//! The boxes, bags, trays, heaps and crates of a kit.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::{choices_or, chosen_place, kinds, nowhere};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId, PlaceId};
use crate::kits::{self, Kit};
use crate::people::Viewer;
use crate::people::rules::own_path;
use crate::places::rules::making::Typed;
use crate::places::rules::words::{Ways, named, sentence};
use crate::places::rules::{Wrong, wrong_at};
use crate::places::{self, Asked, Kind, Place};
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Template)]
#[template(path = "places/bags.html")]
pub struct BagsPage {
    frame: Frame,
    form_id: FormId,
    /// The button for a bag without a label is a form of its own.
    unlabelled_form_id: FormId,
    kit: Kit,
    bags: Vec<Place>,
    ways: Ways,
    holdings: HashMap<PlaceId, String>,
    may_work: bool,
    typed_name: String,
    kinds: Vec<Choice>,
    parents: Vec<Choice>,
    wrongs: Vec<Wrong>,
}

impl BagsPage {
    fn wrong(&self, field: &str) -> Option<String> {
        wrong_at(&self.wrongs, field)
    }

    fn bag_name(&self, bag: &Place) -> String {
        sentence(&named(bag))
    }

    fn stands(&self, bag: &Place) -> String {
        self.ways.stands(bag.id)
    }

    fn holds(&self, bag: &Place) -> &str {
        self.holdings.get(&bag.id).map_or("", String::as_str)
    }
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub struct BagForm {
    kind: String,
    name: String,
    parent: String,
}

pub async fn bags(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Page<BagsPage>, AppError> {
    let mut db = app.db.read().await?;
    let fields = BagForm {
        kind: Kind::Bag.word().into(),
        ..BagForm::default()
    };
    bags_page(&mut db, &viewer, frame, kit, fields, Vec::new())
        .await
        .map(Page)
}

async fn bags_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    kit: KitId,
    fields: BagForm,
    wrongs: Vec<Wrong>,
) -> Result<BagsPage, AppError> {
    let kit = kits::find(db, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    let bags = places::in_kit(db, kit.id).await?;
    let ids: Vec<PlaceId> = bags.iter().map(|bag| bag.id).collect();
    let ways = places::ways(db, &ids).await?;
    let holdings = places::holdings(db, kit.id)
        .await?
        .into_iter()
        .map(|holding| (holding.place, holding.words()))
        .collect();
    let parents = choices_or(
        nowhere(&fields.parent),
        db,
        kit.team,
        &fields.parent,
        |place| place.kit.is_none_or(|of| of == kit.id),
    )
    .await?;
    Ok(BagsPage {
        form_id: frame.form_id(),
        unlabelled_form_id: frame.form_id(),
        frame,
        may_work: viewer.role_in(kit.team).is_some(),
        kinds: kinds(&fields.kind, Kind::is_carried),
        parents,
        typed_name: fields.name,
        kit,
        bags,
        ways,
        holdings,
        wrongs,
    })
}

pub async fn add(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<BagForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let team = {
        let mut db = app.db.read().await?;
        let kit = kits::find(&mut db, kit).await?;
        kit.ok_or(AppError::NotFound("kit"))?.team
    };
    let kind = Kind::from_word(&fields.kind).filter(|kind| kind.is_carried());
    let done = match kind {
        None => Err(NotDone::Refused(vec![Wrong::new(
            "kind",
            "choose what it is from the list",
        )])),
        Some(kind) => {
            let asked = Asked {
                kind,
                team,
                kit: Some(kit),
                typed: Typed {
                    name: fields.name.clone(),
                    ..Typed::default()
                },
                parent: chosen_place(&fields.parent),
                usual_parent: None,
            };
            let then = Some(format!("/kits/{kit}/bags"));
            places::add(&app, &viewer, &sent, &asked, then).await
        }
    };
    match done {
        Ok(outcome) => {
            let told = format!("{} added.", fields.name.trim());
            Ok(flash::told(&outcome, told, viewer.zone()))
        }
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => again(&app, &viewer, frame, kit, fields, wrongs).await,
    }
}

/// Where the button stood, so that it leads back there.
#[derive(Deserialize)]
pub struct WithoutLabel {
    #[serde(default)]
    then: String,
}

pub async fn add_unlabelled(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<WithoutLabel>,
) -> Result<Response, AppError> {
    let bags = format!("/kits/{kit}/bags");
    let then = own_path(&form.fields.then).unwrap_or(&bags);
    match places::add_unlabelled(&app, &viewer, &form.sent, kit, then).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Bag made. Write its code on it.",
            viewer.zone(),
        )),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            again(&app, &viewer, frame, kit, BagForm::default(), wrongs).await
        }
    }
}

async fn again(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    kit: KitId,
    fields: BagForm,
    wrongs: Vec<Wrong>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let page = bags_page(&mut db, viewer, frame, kit, fields, wrongs).await?;
    Ok(page::again(page))
}
