//! One event: its days, the kits that go, what was done about it.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use sqlx::SqliteConnection;

use crate::app::App;
use crate::error::AppError;
use crate::events::{self, Event, Kind, KitDays, store};
use crate::ids::{EventId, FormId, KitId, PersonId};
use crate::kits;
use crate::people::{self, Viewer};
use crate::web::extract::Path;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::Page;

/// A kit that goes, as this viewer sees it.
struct Going {
    kit: KitDays,
    /// The viewer keeps it, so they may say that it stays.
    is_ours: bool,
    /// The viewer may open its page.
    opens: bool,
}

/// One thing that was done, as this viewer may read it.
struct Told {
    when: String,
    who: String,
    what: String,
}

/// What was typed into one of the page's forms.
#[derive(Default)]
pub(super) struct Kept {
    pub kit: Option<KitId>,
    pub why: String,
    pub call_off_why: String,
}

#[derive(Template)]
#[template(path = "events/show.html")]
pub(super) struct ShowPage {
    frame: Frame,
    event: Event,
    going: Vec<Going>,
    /// Kits of the viewer's that could go.
    choices: Vec<Choice>,
    steps: Vec<Told>,
    keeps: bool,
    /// A kit of the viewer's teams goes.
    brings: bool,
    typed: Kept,
    wrongs: Vec<Wrong>,
}

impl ShowPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    /// Asked for only once two events take the same day.
    fn asks_why(&self) -> bool {
        self.wrong("why").is_some() || !self.typed.why.is_empty()
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(event): Path<EventId>,
) -> Result<Page<ShowPage>, AppError> {
    let mut db = app.db.read().await?;
    let page = show_page(&mut db, &viewer, frame, event, Kept::default(), Vec::new()).await?;
    Ok(Page(page))
}

pub(super) async fn show_page(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    event: EventId,
    typed: Kept,
    wrongs: Vec<Wrong>,
) -> Result<ShowPage, AppError> {
    let event = events::find(db, event)
        .await?
        .ok_or(AppError::NotFound("event"))?;
    let kits = events::kits_of(db, event.id).await?;
    let mut choices = Vec::new();
    for membership in viewer.memberships() {
        if !membership.role.keeps() {
            continue;
        }
        for kit in kits::of_team(db, membership.team).await? {
            if kits.iter().all(|goes| goes.kit != kit.id) {
                choices.push(Choice::new(kit.id, &kit.name, typed.kit == Some(kit.id)));
            }
        }
    }
    let sees = |team| viewer.role_in(team).is_some() || viewer.is_coordinator();
    let brings = kits.iter().any(|kit| viewer.role_in(kit.team).is_some());
    let going = kits
        .into_iter()
        .map(|kit| Going {
            is_ours: viewer.keeps(kit.team),
            opens: sees(kit.team),
            kit,
        })
        .collect();
    let done = store::steps(db, event.id).await?;
    let people: Vec<PersonId> = done.iter().map(|step| step.by).collect();
    let names: HashMap<_, _> = people::names(db, &people).await?.into_iter().collect();
    let steps = done
        .into_iter()
        .map(|step| {
            // Teams do not see each other's people.
            let is_seen = sees(step.kit_team.unwrap_or(event.team));
            let who = match names.get(&step.by) {
                Some(name) if is_seen && !name.is_empty() => name.clone(),
                Some(_) if !is_seen => "its team".into(),
                _ => "somebody who was removed".into(),
            };
            Told {
                when: step.at.words(viewer.zone()),
                who,
                what: words(step.kind, &step.words, step.kit_name.as_deref()),
            }
        })
        .collect();
    Ok(ShowPage {
        frame,
        keeps: viewer.keeps(event.team),
        brings,
        event,
        going,
        choices,
        steps,
        typed,
        wrongs,
    })
}

/// "Kettlehorn goes.", "Called off: the hall is closed."
fn words(kind: Kind, why: &str, kit: Option<&str>) -> String {
    let kit = kit.unwrap_or("a kit");
    let said = match kind {
        Kind::Planned => "planned".to_owned(),
        Kind::Changed => "changed to".to_owned(),
        Kind::CalledOff => "called off".to_owned(),
        Kind::TakesPlace => "takes place after all".to_owned(),
        Kind::KitGoes => format!("{kit} goes"),
        Kind::KitStays => format!("{kit} stays at home"),
    };
    match why {
        "" => format!("{said}."),
        why => format!("{said}: {why}"),
    }
}
