//! Writing a packing slip into a kit: bring a table, look through what it comes to, make the bags.
//!
//! The text travels in the form, so the preview survives a reload and nothing is stored before it is
//! taken over.

use askama::Template;
use axum::extract::{Multipart, State};
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::guides::import::decode;
use crate::ids::{FormId, KitId};
use crate::kits::rules::plural;
use crate::kits::rules::slip::{self, Known, MOST_BYTES, Plan};
use crate::kits::{self, Kit, store};
use crate::people::Viewer;
use crate::places;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// Every byte of a text may be sent as three, and some room for the rest of the form.
pub(super) const BODY_BYTES: usize = 4 * MOST_BYTES;

#[derive(Template)]
#[template(path = "kits/slip.html")]
struct SlipPage {
    frame: Frame,
    form_id: FormId,
    kit: Kit,
    text: String,
    plan: Option<Plan>,
    /// Bags of the kit that the slip does not name.
    left_over: Vec<String>,
    started: bool,
    wrongs: Vec<Wrong>,
}

impl SlipPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn comes_to(&self, plan: &Plan) -> String {
        let (boxes, bags, lines) = (plan.boxes.len(), plan.bags.len(), plan.lines());
        format!(
            "{boxes} {}, {bags} {}, {lines} {}",
            plural(boxes, "box", "boxes"),
            plural(bags, "bag", "bags"),
            plural(lines, "line", "lines")
        )
    }
}

async fn slip_page(
    app: &App,
    frame: Frame,
    kit: KitId,
    text: String,
    plan: Option<Plan>,
    wrongs: Vec<Wrong>,
) -> Result<SlipPage, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::found(&mut db, kit).await?;
    let left_over = match &plan {
        Some(plan) => places::in_kit(&mut db, kit.id)
            .await?
            .into_iter()
            .filter(|place| place.kind == places::Kind::Bag)
            .map(|place| place.name)
            .filter(|name| {
                plan.bags
                    .iter()
                    .all(|bag| crate::text::fold(&bag.name) != crate::text::fold(name))
            })
            .collect(),
        None => Vec::new(),
    };
    Ok(SlipPage {
        form_id: frame.form_id(),
        frame,
        started: store::started(&mut db, kit.id).await?,
        kit,
        text,
        plan,
        left_over,
        wrongs,
    })
}

pub(super) async fn ask(
    State(app): State<App>,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let page = slip_page(&app, frame, kit, String::new(), None, Vec::new()).await?;
    Ok(Page(page).into_response())
}

#[derive(Deserialize)]
pub(super) struct SlipForm {
    #[serde(default)]
    text: String,
    /// "make" takes the slip over; everything else shows what it comes to.
    #[serde(default)]
    step: String,
    #[serde(default)]
    leave_out: Option<String>,
}

/// The parts that the kit's list names.
async fn known(app: &App, kit: KitId) -> Result<Vec<Known>, AppError> {
    let mut db = app.db.read().await?;
    Ok(kits::listed(&mut db, kit).await?)
}

async fn preview(
    app: &App,
    frame: Frame,
    kit: KitId,
    text: String,
    field: &'static str,
) -> Result<Response, AppError> {
    match slip::read(&text) {
        Ok(rows) => {
            let plan = slip::check(rows, &known(app, kit).await?);
            let page = slip_page(app, frame, kit, text, Some(plan), Vec::new()).await?;
            Ok(Page(page).into_response())
        }
        Err(refused) => {
            let wrongs = vec![Wrong::at(field, refused)];
            // What is too long to keep in a form is not sent back.
            let text = if text.len() > MOST_BYTES {
                String::new()
            } else {
                text
            };
            Ok(page::again(
                slip_page(app, frame, kit, text, None, wrongs).await?,
            ))
        }
    }
}

pub(super) async fn go_on(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<SlipForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    if fields.step != "make" {
        return preview(&app, frame, kit, fields.text, "text").await;
    }
    let Ok(rows) = slip::read(&fields.text) else {
        return preview(&app, frame, kit, fields.text, "text").await;
    };
    let plan = slip::check(rows, &known(&app, kit).await?);
    let refused = if !plan.doubts.is_empty() && fields.leave_out.is_none() {
        Wrong::at(
            "leave_out",
            "Some rows could not be understood. Put them right in the table, or say that they are to \
             be left out.",
        )
    } else {
        let of = {
            let mut db = app.db.read().await?;
            super::found(&mut db, kit).await?
        };
        match kits::pack(&app, &viewer, &sent, &of, &plan).await {
            Ok(outcome) => {
                let bags = plan.bags.len();
                let told = format!(
                    "{bags} {} packed by the slip.",
                    plural(bags, "bag is", "bags are")
                );
                return Ok(flash::told(&outcome, told, viewer.zone()));
            }
            Err(NotDone::Refused(refused)) => Wrong::at("", refused),
            Err(NotDone::Failed(error)) => return Err(error),
        }
    };
    let page = slip_page(&app, frame, kit, fields.text, Some(plan), vec![refused]).await?;
    Ok(page::again(page))
}

pub(super) async fn upload(
    State(app): State<App>,
    frame: Frame,
    Path(kit): Path<KitId>,
    mut parts: Multipart,
) -> Result<Response, AppError> {
    let broken = |_| {
        AppError::BadRequest(
            "The file did not arrive whole, or is too large. Send it again.".into(),
        )
    };
    let mut bytes = Vec::new();
    while let Some(part) = parts.next_field().await.map_err(broken)? {
        if part.name() == Some("file") {
            bytes = part.bytes().await.map_err(broken)?.to_vec();
        }
    }
    match decode::decode(&bytes) {
        Ok(decoded) => preview(&app, frame, kit, decoded.text, "file").await,
        Err(refused) => {
            let wrongs = vec![Wrong::at("file", refused)];
            Ok(page::again(
                slip_page(&app, frame, kit, String::new(), None, wrongs).await?,
            ))
        }
    }
}
