//! Writing down that a report was sent.

use std::collections::BTreeMap;

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId};
use crate::kits::letter::{self, Letter};
use crate::kits::rules::plural;
use crate::people::Viewer;
use crate::pictures::Shown;
use crate::reports;
use crate::reports::rules::typed::Typed;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// What the field of a picture begins with.
const PICTURE: &str = "picture-";

#[derive(Template)]
#[template(path = "reports/new.html")]
pub(super) struct NewPage {
    frame: Frame,
    form_id: FormId,
    letter: Letter,
    pictures: Vec<Shown>,
    /// Reports of this kit that are under way already.
    under_way: usize,
    typed: Typed,
    chosen: Vec<String>,
    wrongs: Vec<Wrong>,
}

impl NewPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn title_prefix(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn is_chosen(&self, picture: &Shown) -> bool {
        let id = picture.id.to_string();
        self.chosen.contains(&id)
    }

    fn says(&self) -> String {
        let report = &self.letter.report;
        format!(
            "{} {} short, {} over",
            report.short.len(),
            plural(report.short.len(), "line", "lines"),
            report.over.len()
        )
    }
}

async fn page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    kit: KitId,
    typed: Typed,
) -> Result<NewPage, AppError> {
    let mut db = app.db.read().await?;
    let letter = letter::write(&mut db, viewer.zone(), kit, viewer.today(app)).await?;
    let under_way = reports::of_kit(&mut db, kit)
        .await?
        .iter()
        .filter(|report| report.standing.is_under_way())
        .count();
    Ok(NewPage {
        form_id: frame.form_id(),
        frame,
        pictures: reports::pictures(&mut db, &letter.kit).await?,
        letter,
        under_way,
        typed,
        chosen: Vec::new(),
        wrongs: Vec::new(),
    })
}

pub(super) async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Page<NewPage>, AppError> {
    let typed = Typed {
        day: viewer.today(&app).to_string(),
        words: String::new(),
    };
    page(&app, &viewer, frame, kit, typed).await.map(Page)
}

pub(super) async fn send(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<BTreeMap<String, String>>,
) -> Result<Response, AppError> {
    let field = |name: &str| form.fields.get(name).cloned().unwrap_or_default();
    let typed = Typed {
        day: field("day"),
        words: field("words"),
    };
    let chosen: Vec<String> = form
        .fields
        .keys()
        .filter_map(|name| name.strip_prefix(PICTURE))
        .map(str::to_owned)
        .collect();
    match reports::send(&app, &viewer, &form.sent, kit, &typed, &chosen).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Written down as sent.",
            viewer.zone(),
        )),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = page(&app, &viewer, frame, kit, typed).await?;
            Ok(page::again(NewPage {
                wrongs,
                chosen,
                ..page
            }))
        }
    }
}
