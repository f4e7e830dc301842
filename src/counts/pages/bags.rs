//! All counts, and the bag list of one.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use super::super::opening::OpenRefused;
use super::super::rules::close::Purpose;
use super::super::rules::progress::{PlaceProgress, PlaceState};
use super::super::store::{self, CountPlace, CountSheet, LateTally, Part};
use super::super::{Whole, whole, worth_a_second_count};
use super::{film, moment, parts_by_id, several};
use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{CountId, KitId};
use crate::kits::{self, Kit};
use crate::people::Viewer;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "counts/index.html")]
pub struct IndexPage {
    frame: Frame,
    team: Option<crate::ids::TeamId>,
    open: Vec<OpenRow>,
    closed: Vec<ClosedRow>,
    /// Kits without an open count, which may be counted.
    kits: Vec<KitRow>,
}

struct OpenRow {
    sheet: CountSheet,
    words: String,
    since: String,
}

struct ClosedRow {
    sheet: CountSheet,
    words: String,
}

struct KitRow {
    kit: Kit,
    /// A delivery is expected; else everything arrived and it is counted again.
    arriving: bool,
}

const CLOSED_SHOWN: i64 = 30;

pub async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let (mut open, mut closed, mut kits) = (Vec::new(), Vec::new(), Vec::new());
    for membership in viewer.memberships() {
        for sheet in store::of_teams(&mut db, membership.team, CLOSED_SHOWN).await? {
            if sheet.is_open() {
                let words = whole(&mut db, sheet.id).await?.progress().words();
                let since = moment(&app, &viewer, sheet.opened_at);
                open.push(OpenRow {
                    sheet,
                    words,
                    since,
                });
            } else {
                let words = closed_words(&app, &viewer, &sheet);
                closed.push(ClosedRow { sheet, words });
            }
        }
        for kit in kits::of_team(&mut db, membership.team).await? {
            let arrival = kits::arrival(&mut db, kit.id).await?;
            if arrival.open.is_none() {
                let arriving = !arrival.complete;
                kits.push(KitRow { kit, arriving });
            }
        }
    }
    Ok(Page(IndexPage {
        frame,
        team: viewer.main_team().map(|main| main.team),
        open,
        closed,
        kits,
    }))
}

/// "closed 4 Mar 2027, 18:40 by Ama · everything arrived".
fn closed_words(app: &App, viewer: &Viewer, sheet: &CountSheet) -> String {
    let mut words = Vec::new();
    if let (Some(at), Some(by)) = (sheet.closed_at, &sheet.closed_by) {
        words.push(format!("closed {} by {by}", moment(app, viewer, at)));
    }
    if sheet.reopened_as.is_some() {
        words.push("reopened".into());
    } else if sheet.purpose == Purpose::Arrival {
        words.push(match sheet.more_to_come {
            Some(true) => "more boxes to come".into(),
            _ => "everything arrived".into(),
        });
    }
    if !sheet.left_reason.is_empty() {
        words.push("lines left uncounted".into());
    }
    words.join(" · ")
}

#[derive(Deserialize)]
pub struct OpenForm {
    #[serde(default)]
    purpose: String,
}

pub async fn open(
    State(app): State<App>,
    viewer: Viewer,
    Path(kit): Path<KitId>,
    form: Form<OpenForm>,
) -> Result<Response, AppError> {
    let purpose = Purpose::from_word(&form.fields.purpose);
    match super::super::open(&app, &viewer, &form.sent, kit, purpose).await {
        Ok(outcome) => Ok(flash::told(
            &outcome,
            "The count is open. Begin with any bag.",
            viewer.zone(),
        )),
        Err(NotDone::Refused(OpenRefused::OpenAlready(count))) => Ok(flash::look(
            &format!("/counts/{count}"),
            "This kit is being counted already. This is its count.",
        )),
        Err(NotDone::Refused(OpenRefused::PutAway)) => Ok(flash::look(
            "/counts",
            "This kit is put away. Bring it back before it is counted.",
        )),
        Err(NotDone::Failed(error)) => Err(error),
    }
}

#[derive(Template)]
#[template(path = "counts/show.html")]
pub struct ShowPage {
    frame: Frame,
    sheet: CountSheet,
    words: String,
    due_lines: usize,
    done_lines: usize,
    rows: Vec<Row>,
    /// The first bag that nobody began.
    first: Option<Row>,
    may_work: bool,
    may_keep: bool,
    closed: String,
    /// What the count does not go over: "Ridge, with Upper Quern".
    left_out: Vec<String>,
    late: Vec<LateRow>,
    /// Lines worth a second count.
    again: Vec<AgainRow>,
    /// Lines whose colour hides under film.
    under_film: usize,
}

#[derive(Clone)]
struct Row {
    place: CountPlace,
    progress: PlaceProgress,
    href: String,
    mine: bool,
    who: String,
    more: String,
    begins: bool,
}

/// A line that is worth a second count, and why.
struct AgainRow {
    href: String,
    place: String,
    part: String,
    why: &'static str,
}

struct LateRow {
    tally: LateTally,
    words: String,
    at: String,
}

impl ShowPage {
    fn differs(&self) -> bool {
        self.rows
            .iter()
            .any(|row| row.progress.state == PlaceState::Differs)
    }
}

pub async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(count): Path<CountId>,
) -> Result<Page<ShowPage>, AppError> {
    let mut db = app.db.read().await?;
    let whole = whole(&mut db, count).await?;
    let late = store::late(&mut db, count).await?;
    let progress = whole.place_progress();
    let all = super::super::rules::progress::of_count(&progress);
    let rows: Vec<Row> = whole
        .places
        .iter()
        .zip(progress)
        .map(|(place, progress)| row(&app, &viewer, &whole, place, progress))
        .collect();
    // A box of which nothing is due by itself is no place to begin while bags wait.
    let begins = || rows.iter().filter(|row| row.begins);
    let first = begins()
        .find(|row| row.progress.due_lines > 0)
        .or_else(|| begins().next())
        .cloned();
    let parts = parts_by_id(&mut db, count).await?;
    let again = worth_a_second_count(&mut db, &whole)
        .await?
        .into_iter()
        .map(|second| {
            let place = whole.places.iter().find(|place| place.id == second.place);
            AgainRow {
                href: format!("/counts/{count}/places/{}", second.place),
                place: place.map_or_else(String::new, |place| place.name.clone()),
                part: parts
                    .get(&second.part)
                    .map_or_else(String::new, Part::full_name),
                why: second.why.words(),
            }
        })
        .collect();
    let under_film = film::lines(&whole, &parts).len();
    let sheet = whole.sheet;
    Ok(Page(ShowPage {
        again,
        under_film,
        words: all.words(),
        due_lines: all.due_lines,
        done_lines: all.done_lines,
        first: first.filter(|_| sheet.is_open()),
        may_work: viewer.role_in(sheet.team).is_some(),
        may_keep: viewer.keeps(sheet.team),
        closed: closed_words(&app, &viewer, &sheet),
        left_out: left_out(&mut db, count).await?,
        late: late
            .into_iter()
            .map(|tally| LateRow {
                words: super::tap_words(tally.amount, false),
                at: moment(&app, &viewer, tally.recorded_at),
                tally,
            })
            .collect(),
        rows,
        sheet,
        frame,
    }))
}

/// What a count does not go over, without the bags inside of it: "Moss, Ridge, with Upper Quern".
async fn left_out(db: &mut sqlx::SqliteConnection, count: CountId) -> sqlx::Result<Vec<String>> {
    let all = store::left_out(db, count).await?;
    let mut grouped: Vec<(Option<String>, Vec<String>)> = Vec::new();
    for one in all.into_iter().filter(|one| !one.is_inside) {
        match grouped.iter_mut().find(|(holder, _)| *holder == one.holder) {
            Some((_, names)) => names.push(one.name),
            None => grouped.push((one.holder, vec![one.name])),
        }
    }
    let told = |(holder, names): (Option<String>, Vec<String>)| {
        let them = names.join(", ");
        match holder {
            Some(holder) => format!("{them}, with {holder}"),
            None if names.len() == 1 => format!("{them}, which stays here"),
            None => format!("{them}, which stay here"),
        }
    };
    Ok(grouped.into_iter().map(told).collect())
}

fn row(
    app: &App,
    viewer: &Viewer,
    whole: &Whole,
    place: &CountPlace,
    progress: PlaceProgress,
) -> Row {
    let here = || {
        whole
            .stints
            .iter()
            .filter(|stint| stint.place == place.id && !stint.is_set_aside())
    };
    let own = here().find(|stint| stint.is_open() && stint.person == viewer.person);
    let counting = own.or_else(|| here().find(|stint| stint.is_open()));
    let mut more = Vec::new();
    if progress.due_lines > 0 {
        more.push(format!(
            "{} of {} lines",
            progress.done_lines, progress.due_lines
        ));
    }
    if progress.other_lines > 0 {
        let lines = if progress.due_lines > 0 {
            several(progress.other_lines, "other line", "other lines")
        } else {
            several(progress.other_lines, "line counted", "lines counted")
        };
        more.push(lines);
    }
    match (counting, own) {
        (Some(stint), Some(_)) => more.push(format!(
            "you are counting this {} since {}",
            place.kind.word(),
            moment(app, viewer, stint.began_at)
        )),
        (Some(stint), None) => more.push(format!(
            "{} is counting this {} since {}",
            stint.person_name,
            place.kind.word(),
            moment(app, viewer, stint.began_at)
        )),
        (None, _) => {
            let names: Vec<String> = here()
                .map(|stint| {
                    let at = moment(app, viewer, stint.done_at.unwrap_or(stint.last_at));
                    format!("{}, {at}", stint.person_name)
                })
                .collect();
            if !names.is_empty() {
                more.push(names.join(" and "));
            }
        }
    }
    if progress.state == PlaceState::NotBegun
        && let Some(at) = place.counted_at
    {
        more.push(format!("counted on {}", at.words(viewer.zone())));
    }
    if progress.sent_back > 0 {
        more.push(several(progress.sent_back, "line", "lines") + " to count again");
    }
    if progress.doubted {
        more.push("two devices counted one line: look at it".into());
    }
    let begins = progress.state == PlaceState::NotBegun
        && (progress.due_lines > 0 || place.counted_at.is_none());
    Row {
        href: match own {
            Some(stint) => format!("/stints/{}", stint.id),
            None => format!("/counts/{}/places/{}", whole.sheet.id, place.id),
        },
        mine: own.is_some(),
        who: counting.map_or_else(String::new, |stint| {
            if own.is_some() {
                "you".into()
            } else {
                stint.person_name.clone()
            }
        }),
        more: more.join(" · "),
        begins,
        place: place.clone(),
        progress,
    }
}
