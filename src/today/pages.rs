//! The page of Today, and whom to ask for help.

use askama::Template;
use axum::extract::State;
use axum::response::Response;

use super::lent::{self, LoanLine};
use super::rules::{self, Job};
use super::store;
use crate::app::App;
use crate::backups;
use crate::clock::Day;
use crate::damage;
use crate::error::AppError;
use crate::events::{self, KitDays};
use crate::ids::EventId;
use crate::orders;
use crate::people::Viewer;
use crate::people::access::{Routes, Rule, allowed};
use crate::web::frame::Frame;
use crate::web::page::Page;

/// More than this many other jobs are not read any more.
const ALSO_WAITING: usize = 5;

/// Events that begin within so many days are told.
const EVENTS_AHEAD_DAYS: i64 = 21;

pub fn routes() -> Routes {
    Routes::new()
        .get("/", Rule::SignedIn, today)
        .get("/help", Rule::Anyone, help)
}

#[derive(Template)]
#[template(path = "today/today.html")]
struct TodayPage {
    frame: Frame,
    form_id: crate::ids::FormId,
    day: String,
    first: Option<Job>,
    waiting: Vec<Job>,
    kits: Vec<rules::KitFacts>,
    /// What we lent: what waits for our answer, then what is due, the longest due first.
    due: Vec<LoanLine>,
    /// Lines of that kind for which there was no room.
    more_due: usize,
    /// What others answered us about loans.
    answers: Vec<LoanLine>,
    /// What others lent us, the longest due first.
    with_us: Vec<LoanLine>,
    /// Events of the next weeks that the viewer's kits go to.
    events: Vec<ComingEvent>,
}

/// An event that some of the viewer's kits go to.
struct ComingEvent {
    event: EventId,
    name: String,
    /// "in 3 days, 6 Mar 2027 to 7 Mar 2027: Kettlehorn, Long Gable".
    more: String,
}

impl Job {
    /// The job in a few words: a heading, or the name of a line.
    fn heading(&self) -> String {
        match self {
            Job::AddGuide => "Begin with the season’s guide".into(),
            Job::ReadList { .. } => "Read the parts list in".into(),
            Job::AddKit => "Add a kit".into(),
            Job::Unpack { name, .. } => format!("Unpack {name}"),
            Job::GoOnCounting { name, .. } => format!("{name} is being unpacked"),
            Job::Report { name, short, .. } => format!("{name}: {short} short"),
            Job::MoreToCome { name, .. } => format!("More of {name} is to come"),
            Job::NewerRevision { label, .. } => format!("Revision {label} is out"),
            Job::LookAtReports { waiting: 1 } => "Something was reported".into(),
            Job::LookAtReports { waiting } => format!("{waiting} things were reported"),
            Job::Orders { late: 1, .. } => "Something ordered is late".into(),
            Job::Orders {
                late: 0,
                waiting: 1,
            } => "1 line waits for the next order".into(),
            Job::Orders { late: 0, waiting } => format!("{waiting} lines wait for the next order"),
            Job::Orders { late, .. } => format!("{late} things ordered are late"),
            Job::LookAtBackups { .. } => "Backups need a look".into(),
            Job::Shop { parts: 1 } => "One thing to buy".into(),
            Job::Shop { parts } => format!("{parts} things to buy"),
        }
    }

    /// One sentence more.
    fn more(&self) -> String {
        match self {
            Job::AddGuide => "It says what a kit must hold.".into(),
            Job::ReadList { .. } => {
                "From the file its publisher gives out, or from a pasted table.".into()
            }
            Job::AddKit => "A kit is checked against a parts list, bag by bag.".into(),
            Job::Unpack { .. } => "Count every bag before anybody builds with it.".into(),
            Job::GoOnCounting {
                bags,
                bags_counted,
                counting,
                ..
            } => {
                let mut text = format!("{bags_counted} of {bags} bags counted.");
                match counting.as_slice() {
                    [] => {}
                    [one] => text.push_str(&format!(" {one} is counting.")),
                    many => text.push_str(&format!(" {} are counting.", many.join(", "))),
                }
                text
            }
            Job::Report { by, days_left, .. } => match (by, days_left) {
                (Some(by), Some(0)) => {
                    format!("Today, {}, is the last day to report it.", by.words())
                }
                (Some(by), Some(1)) => {
                    format!("It can be reported until tomorrow, {}.", by.words())
                }
                (Some(by), Some(days)) => {
                    format!(
                        "It can be reported until {}: {days} days are left.",
                        by.words()
                    )
                }
                _ => "Look first, then report it to the supplier.".into(),
            },
            Job::MoreToCome { pieces, .. } => {
                format!(
                    "{pieces} pieces are still to come. Count the next boxes when they are here."
                )
            }
            Job::NewerRevision { name, .. } => {
                format!("{name} was checked against an older one.")
            }
            Job::LookAtBackups { why } => why.clone(),
            Job::Shop { .. } => "Tape, ties and the like are low or gone.".into(),
            Job::Orders { late: 0, .. } => "Say when they are ordered, and from whom.".into(),
            Job::Orders { waiting: 0, .. } => "Ask where it is.".into(),
            Job::Orders { waiting, .. } => format!(
                "Ask where it is. Besides, {} for the next order.",
                match waiting {
                    1 => "1 line waits".to_owned(),
                    lines => format!("{lines} lines wait"),
                }
            ),
            Job::LookAtReports { .. } => {
                "Nothing of it is in the books until somebody of the team has looked at it.".into()
            }
        }
    }

    fn href(&self) -> String {
        match self {
            Job::AddGuide => "/guides/new".into(),
            Job::ReadList { revision } => format!("/revisions/{revision}/import"),
            Job::AddKit => "/kits/new".into(),
            Job::Unpack { kit, .. } | Job::MoreToCome { kit, .. } => format!("/kits/{kit}"),
            Job::GoOnCounting { count, .. } => format!("/counts/{count}"),
            Job::Report { kit, .. } => format!("/kits/{kit}/shorts"),
            Job::NewerRevision { revision, .. } => format!("/revisions/{revision}"),
            Job::LookAtReports { .. } => "/damage?show=waiting".into(),
            Job::Orders { .. } => "/orders".into(),
            Job::LookAtBackups { .. } => "/league/backups".into(),
            Job::Shop { .. } => "/shopping".into(),
        }
    }

    /// The words of the wide button.
    fn button(&self) -> String {
        match self {
            Job::AddGuide => "Add the guide".into(),
            Job::ReadList { .. } => "Read a list in".into(),
            Job::AddKit => "Add a kit".into(),
            Job::Unpack { name, .. } => format!("Unpack and count {name}"),
            Job::GoOnCounting { name, .. } => format!("Go on counting {name}"),
            Job::Report { .. } => "See what is short".into(),
            Job::MoreToCome { name, .. } => format!("Open {name}"),
            Job::NewerRevision { .. } => "See its parts list".into(),
            Job::LookAtReports { .. } => "Look at what was reported".into(),
            Job::Orders { .. } => "See the orders".into(),
            Job::LookAtBackups { .. } => "Look at the backups".into(),
            Job::Shop { .. } => "See the shopping list".into(),
        }
    }
}

async fn today(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<TodayPage>, AppError> {
    let mut db = app.db.read().await?;
    let may_keep = allowed(Rule::KeepsGuides, Some(viewer.standing(None)));
    let lists = store::lists(&mut db, may_keep).await?;
    let mut kits = Vec::new();
    let mut open = rules::OpenFacts::default();
    for membership in viewer.memberships() {
        open.reports += damage::waiting(&mut db, membership.team).await?;
        kits.extend(store::kits(&mut db, membership.team, membership.role.keeps()).await?);
    }
    let day = viewer.today(&app);
    for membership in viewer.memberships().iter().filter(|of| of.role.keeps()) {
        let waiting = orders::waiting(&mut db, membership.team, day).await?;
        open.to_order += waiting.lines;
        open.late += waiting.late;
    }
    let going_on = lent::going_on(&mut db, &viewer).await?;
    let (due, more_due) = lent::due(&going_on, day, ALSO_WAITING);
    let answers = lent::answers(&mut db, &going_on, app.clock.now()).await?;
    let with_us = lent::with_us(&mut db, &going_on, day).await?;
    let events = coming_events(&mut db, &viewer, day).await?;
    let mut jobs = rules::choose(&kits, lists, open, day).into_iter();
    let first = jobs.next();
    let mut waiting: Vec<Job> = jobs.take(ALSO_WAITING).collect();
    // Whoever answers for the machine is told above all else that waits.
    if viewer.is_coordinator()
        && let Some(why) = backups::worry(&app)
    {
        waiting.insert(0, Job::LookAtBackups { why });
    }
    let day = day.0.strftime("%A %-d %B").to_string();
    Ok(Page(TodayPage {
        form_id: frame.form_id(),
        frame,
        day,
        first,
        waiting,
        kits,
        due,
        more_due,
        answers,
        with_us,
        events,
    }))
}

/// The events of the next weeks that the viewer's kits go to, the next one first.
async fn coming_events(
    db: &mut sqlx::SqliteConnection,
    viewer: &Viewer,
    today: Day,
) -> Result<Vec<ComingEvent>, AppError> {
    let mut days: Vec<KitDays> = Vec::new();
    for membership in viewer.memberships() {
        days.extend(events::of_team(db, membership.team, today).await?);
    }
    days.retain(|kit| today.days_until(kit.first_on) <= EVENTS_AHEAD_DAYS);
    days.sort_by_key(|kit| (kit.first_on, kit.event));
    let coming = days.chunk_by(|a, b| a.event == b.event).map(|kits| {
        let names: Vec<&str> = kits.iter().map(|kit| kit.kit_name.as_str()).collect();
        let when = match today.days_until(kits[0].first_on) {
            ..=0 => "Going on".to_owned(),
            1 => "Tomorrow".to_owned(),
            days => format!("In {days} days"),
        };
        ComingEvent {
            event: kits[0].event,
            name: kits[0].event_name.clone(),
            more: format!("{when}, {}: {}", kits[0].days(), names.join(", ")),
        }
    });
    Ok(coming.take(ALSO_WAITING).collect())
}

#[derive(Template)]
#[template(path = "today/help.html")]
struct HelpPage {
    frame: Frame,
    /// Keepers and deputies of the viewer's teams: team, then names.
    keepers: Vec<(String, String)>,
}

async fn help(
    State(app): State<App>,
    viewer: Option<axum::Extension<Viewer>>,
    frame: Frame,
) -> Result<Response, AppError> {
    let mut keepers = Vec::new();
    if let Some(axum::Extension(viewer)) = viewer {
        let mut db = app.db.read().await?;
        for membership in viewer.memberships() {
            let names = crate::people::keepers(&mut db, membership.team).await?;
            keepers.push((membership.team_name.clone(), names.join(", ")));
        }
    }
    Ok(axum::response::IntoResponse::into_response(Page(
        HelpPage { frame, keepers },
    )))
}
