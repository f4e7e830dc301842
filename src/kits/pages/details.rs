//! Adding a kit, changing what is written on it, putting it away.

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, KitId, TeamId};
use crate::kits::rules::details::{self, Typed};
use crate::kits::{self, ChangeRefused, Kit, Offer, PutAwayRefused, store};
use crate::people::Viewer;
use crate::web::extract::{Form, Nothing, Path};
use crate::web::flash;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

#[derive(Deserialize, Default)]
pub(super) struct KitForm {
    #[serde(default)]
    team: Option<TeamId>,
    #[serde(default)]
    version: i64,
    #[serde(default)]
    name: String,
    #[serde(default)]
    checked: String,
    #[serde(default)]
    supplier: String,
    #[serde(default)]
    serial: String,
    #[serde(default)]
    purchase_reference: String,
    #[serde(default)]
    received_on: String,
    #[serde(default)]
    report_by: String,
    #[serde(default)]
    brought_in: Option<String>,
    #[serde(default)]
    note: String,
}

impl KitForm {
    fn typed(self) -> Typed {
        Typed {
            name: self.name,
            checked: self.checked,
            supplier: self.supplier,
            serial: self.serial,
            purchase_reference: self.purchase_reference,
            received_on: self.received_on,
            report_by: self.report_by,
            brought_in: self.brought_in.is_some(),
            note: self.note,
        }
    }
}

/// A field as it was typed, where somebody else wrote another thing in the meantime.
struct Differs {
    what: &'static str,
    saved: String,
    typed: String,
}

#[derive(Template)]
#[template(path = "kits/details.html")]
pub(super) struct DetailsPage {
    frame: Frame,
    form_id: FormId,
    /// None for a new kit.
    kit: Option<Kit>,
    version: i64,
    typed: Typed,
    teams: Vec<Choice>,
    /// Empty where the choice is no longer open.
    checked: Vec<Choice>,
    differs: Vec<Differs>,
    wrongs: Vec<Wrong>,
}

impl DetailsPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn asks_team(&self) -> bool {
        self.teams.len() > 1
    }

    fn the_team(&self) -> &str {
        self.teams.first().map_or("", |team| team.value.as_str())
    }
}

pub(super) async fn new(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<DetailsPage>, AppError> {
    let typed = Typed {
        received_on: viewer.today(&app).to_string(),
        ..Typed::default()
    };
    Ok(Page(
        new_page(&app, &viewer, frame, None, typed, Vec::new()).await?,
    ))
}

async fn new_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    team: Option<TeamId>,
    typed: Typed,
    wrongs: Vec<Wrong>,
) -> Result<DetailsPage, AppError> {
    let mut db = app.db.read().await?;
    let offers = kits::offers(&mut db).await?;
    Ok(DetailsPage {
        form_id: frame.form_id(),
        frame,
        kit: None,
        version: 0,
        teams: viewer
            .memberships()
            .iter()
            .filter(|membership| membership.role.keeps())
            .map(|membership| {
                Choice::new(
                    membership.team,
                    &membership.team_name,
                    Some(membership.team) == team,
                )
            })
            .collect(),
        checked: choices(&offers, &typed.checked),
        typed,
        differs: Vec::new(),
        wrongs,
    })
}

fn choices(offers: &[Offer], chosen: &str) -> Vec<Choice> {
    let mut choices = vec![Choice::new("", "Choose", chosen.is_empty())];
    choices.extend(offers.iter().map(|offer| {
        let value = details::choice(Some((offer.revision, offer.size)));
        let is_chosen = value == chosen;
        Choice::new(value, &offer.text, is_chosen)
    }));
    let spares = details::choice(None);
    let is_chosen = spares == chosen;
    choices.push(Choice::new(
        spares,
        "A spares box, checked against nothing",
        is_chosen,
    ));
    choices
}

fn shown(wrongs: Vec<details::Wrong>) -> Vec<Wrong> {
    wrongs
        .into_iter()
        .map(|wrong| Wrong::at(wrong.field, wrong.text))
        .collect()
}

pub(super) async fn begin(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    form: Form<KitForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let team = fields
        .team
        .ok_or_else(|| AppError::BadRequest("The form came without its team.".into()))?;
    let typed = fields.typed();
    match kits::begin(&app, &viewer, &sent, team, &typed).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Kit added.", viewer.zone())),
        Err(NotDone::Refused(wrongs)) => {
            let wrongs = shown(wrongs);
            Ok(page::again(
                new_page(&app, &viewer, frame, Some(team), typed, wrongs).await?,
            ))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

fn typed_of(kit: &Kit) -> Typed {
    let day = |day: Option<crate::clock::Day>| day.map_or(String::new(), |day| day.to_string());
    Typed {
        name: kit.name.clone(),
        checked: details::choice(kit.revision.zip(kit.size)),
        supplier: kit.supplier.clone(),
        serial: kit.serial.clone(),
        purchase_reference: kit.purchase_reference.clone(),
        received_on: day(kit.received_on),
        report_by: day(kit.report_by),
        brought_in: kit.brought_in,
        note: kit.note.clone(),
    }
}

/// The fields in which two texts differ, in the order of the form.
fn differing(saved: &Typed, typed: &Typed, checked: &[Choice]) -> Vec<Differs> {
    let list = |value: &str| {
        checked
            .iter()
            .find(|choice| choice.value == value)
            .map_or(String::new(), |choice| choice.text.clone())
    };
    let yes = |yes: bool| if yes { "yes" } else { "no" }.to_owned();
    let note = |note: &str| note.trim().replace("\r\n", "\n");
    [
        ("Name", saved.name.clone(), typed.name.clone()),
        (
            "Checked against",
            list(&saved.checked),
            list(&typed.checked),
        ),
        ("Supplier", saved.supplier.clone(), typed.supplier.clone()),
        ("Serial number", saved.serial.clone(), typed.serial.clone()),
        (
            "Purchase reference",
            saved.purchase_reference.clone(),
            typed.purchase_reference.clone(),
        ),
        (
            "Received on",
            saved.received_on.clone(),
            typed.received_on.clone(),
        ),
        (
            "Report shorts by",
            saved.report_by.clone(),
            typed.report_by.clone(),
        ),
        ("Brought in", yes(saved.brought_in), yes(typed.brought_in)),
        ("Note", note(&saved.note), note(&typed.note)),
    ]
    .into_iter()
    .filter(|(_, saved, typed)| saved != typed)
    .map(|(what, saved, typed)| Differs { what, saved, typed })
    .collect()
}

async fn edit_page(
    app: &App,
    frame: Frame,
    kit: KitId,
    typed: Option<(i64, Typed)>,
    wrongs: Vec<Wrong>,
    changed: bool,
) -> Result<DetailsPage, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::found(&mut db, kit).await?;
    let offers = kits::offers(&mut db).await?;
    let is_open = !store::counted_before(&mut db, kit.id).await?;
    let saved = typed_of(&kit);
    // After a conflict the form carries the new version: sending it again says that the words in it
    // are to stand.
    let (version, typed) = match typed {
        Some((version, typed)) if !changed => (version, typed),
        Some((_, typed)) => (kit.version, typed),
        None => (kit.version, saved.clone()),
    };
    let checked = if is_open {
        choices(&offers, &typed.checked)
    } else {
        Vec::new()
    };
    Ok(DetailsPage {
        form_id: frame.form_id(),
        frame,
        version,
        differs: if changed {
            differing(&saved, &typed, &checked)
        } else {
            Vec::new()
        },
        typed,
        teams: Vec::new(),
        checked,
        kit: Some(kit),
        wrongs,
    })
}

pub(super) async fn edit(
    State(app): State<App>,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let page = edit_page(&app, frame, kit, None, Vec::new(), false).await?;
    Ok(Page(page).into_response())
}

pub(super) async fn change(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    form: Form<KitForm>,
) -> Result<Response, AppError> {
    let (sent, fields) = (form.sent, form.fields);
    let version = fields.version;
    let typed = fields.typed();
    let (wrongs, changed) = match kits::change(&app, &viewer, &sent, kit, version, &typed).await {
        Ok(outcome) => return Ok(flash::told(&outcome, "Changed.", viewer.zone())),
        Err(NotDone::Refused(ChangeRefused::Wrong(wrongs))) => (shown(wrongs), false),
        Err(NotDone::Refused(ChangeRefused::Changed)) => (
            vec![Wrong::at(
                "",
                "Somebody else changed this kit while you wrote. Both texts are below; nothing \
                     was lost and nothing was saved yet.",
            )],
            true,
        ),
        Err(NotDone::Failed(error)) => return Err(error),
    };
    let typed = Some((version, typed));
    Ok(page::again(
        edit_page(&app, frame, kit, typed, wrongs, changed).await?,
    ))
}

pub(super) async fn put_away(
    State(app): State<App>,
    viewer: Viewer,
    Path(kit): Path<KitId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match kits::put_away(&app, &viewer, &form.sent, kit, true).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "Put away. It can be brought back at any time.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(refused @ PutAwayRefused::CountOpen)) => {
            Ok(flash::look(&format!("/kits/{kit}"), refused.to_string()))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}

pub(super) async fn bring_back(
    State(app): State<App>,
    viewer: Viewer,
    Path(kit): Path<KitId>,
    form: Form<Nothing>,
) -> Result<Response, AppError> {
    match kits::put_away(&app, &viewer, &form.sent, kit, false).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Brought back.", viewer.zone())),
        Err(NotDone::Refused(refused)) => {
            Ok(flash::look(&format!("/kits/{kit}"), refused.to_string()))
        }
        Err(NotDone::Failed(error)) => Err(error),
    }
}
