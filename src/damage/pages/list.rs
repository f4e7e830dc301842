//! The lists: reports that wait, pieces to decide about, pieces to order; and what broke most.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use crate::app::App;
use crate::clock::{Day, Instant};
use crate::damage::rules::most::{Loss, Sum, add_up};
use crate::damage::rules::words;
use crate::damage::{self, Slip};
use crate::error::AppError;
use crate::ids::{DamageId, EventId, KitId, PartId, SeasonId};
use crate::kits;
use crate::orders::rules::standing::Standing as Ordering;
use crate::orders::{self, Line};
use crate::people::Viewer;
use crate::people::viewer::form_encode;
use crate::seasons::{self, Season};
use crate::web::extract::Query;
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Which reports a list shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Show {
    All,
    Waiting,
    Open,
    ToOrder,
}

impl Show {
    const ALL: [Show; 4] = [Show::All, Show::Waiting, Show::Open, Show::ToOrder];

    fn word(self) -> &'static str {
        match self {
            Show::All => "all",
            Show::Waiting => "waiting",
            Show::Open => "open",
            Show::ToOrder => "order",
        }
    }

    fn sentence(self) -> &'static str {
        match self {
            Show::All => "everything",
            Show::Waiting => "reports that wait",
            Show::Open => "pieces to decide about",
            Show::ToOrder => "pieces for the next order",
        }
    }

    fn holds(self, slip: &Slip, orders: &[Line]) -> bool {
        match self {
            Show::All => true,
            Show::Waiting => slip.is_waiting(),
            Show::Open => slip.is_open(),
            Show::ToOrder => orders
                .iter()
                .any(|line| matches!(line.standing, Ordering::Waiting { .. })),
        }
    }
}

#[derive(Template)]
#[template(path = "damage/list.html")]
pub(super) struct ListPage {
    frame: Frame,
    zone: String,
    shows: Vec<Choice>,
    /// What else is asked for, to be asked for again.
    asked: Vec<(&'static str, String)>,
    slips: Vec<Slip>,
    /// What was ordered instead of the pieces of each report.
    orders: Orders,
}

type Orders = HashMap<DamageId, Vec<Line>>;

fn orders_of<'o>(orders: &'o Orders, slip: &Slip) -> &'o [Line] {
    orders.get(&slip.report.id).map_or(&[], Vec::as_slice)
}

impl ListPage {
    /// "2 for the next order.", "1 ordered.".
    fn ordered(&self, slip: &Slip) -> String {
        let lines = orders_of(&self.orders, slip).iter();
        let words: Vec<_> = lines
            .filter_map(|line| orders::rules::words::briefly(&line.standing))
            .collect();
        words.join(" ")
    }

    fn stands(&self, slip: &Slip) -> String {
        words::stands(slip.report.what, slip.stands.standing)
    }

    fn no_error(&self) -> Option<&str> {
        None
    }
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct ListQuery {
    show: String,
    part: String,
    /// An event that was chosen, or the words for one.
    event: String,
    at: String,
    season: String,
}

pub(super) async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(query): Query<ListQuery>,
) -> Result<Page<ListPage>, AppError> {
    let mut db = app.db.read().await?;
    let show = Show::ALL
        .into_iter()
        .find(|show| show.word() == query.show)
        .unwrap_or(Show::All);
    let part = query.part.parse::<PartId>().ok();
    let event = query.event.parse::<EventId>().ok();
    let seasons = seasons::all(&mut db).await?;
    let days = Days::of(&seasons, &query.season, viewer.zone());
    let mut slips = Vec::new();
    for membership in viewer.memberships() {
        slips.extend(damage::of_team(&mut db, membership.team, part).await?);
    }
    let ids = slips.iter().map(|slip| slip.report.id);
    let mut orders = Orders::new();
    for line in orders::of_reports(&mut db, ids).await? {
        if let Some(report) = line.brief.report {
            orders.entry(report).or_default().push(line);
        }
    }
    slips.retain(|slip| {
        let report = &slip.report;
        show.holds(slip, orders_of(&orders, slip))
            && event.is_none_or(|event| report.event_id == Some(event))
            && (query.at.is_empty() || (report.event_id.is_none() && report.event == query.at))
            && days.hold(report.reported_at)
    });
    let asked = [
        ("part", query.part),
        ("event", query.event),
        ("at", query.at),
        ("season", query.season),
    ];
    Ok(Page(ListPage {
        frame,
        zone: viewer.zone().to_owned(),
        shows: Show::ALL
            .into_iter()
            .map(|one| Choice::new(one.word(), one.sentence(), one == show))
            .collect(),
        asked: asked
            .into_iter()
            .filter(|(_, text)| !text.is_empty())
            .collect(),
        slips,
        orders,
    }))
}

#[derive(Template)]
#[template(path = "damage/most.html")]
pub(super) struct MostPage {
    frame: Frame,
    seasons: Vec<Choice>,
    /// "&season=…" where one is chosen.
    season: String,
    parts: Vec<Sum<(PartId, String)>>,
    events: Vec<Sum<(Option<EventId>, String)>>,
    by_season: Vec<Sum<(Option<SeasonId>, String)>>,
    /// Kits whose spares can be reckoned.
    kits: Vec<(KitId, String)>,
}

/// The days of a season: it ends where the next one begins.
pub(super) struct Days<'a> {
    from: Option<Day>,
    to: Option<Day>,
    zone: &'a str,
}

impl<'a> Days<'a> {
    /// `all` has the newest season first; where none is chosen, all days.
    pub fn of(all: &[Season], chosen: &str, zone: &'a str) -> Self {
        let at = all
            .iter()
            .position(|season| season.id.to_string() == chosen);
        Self {
            from: at.map(|at| all[at].starts_on),
            to: at
                .and_then(|at| at.checked_sub(1))
                .map(|next| all[next].starts_on),
            zone,
        }
    }

    /// The first of them; `None` where they go back for ever.
    pub fn first(&self) -> Option<Day> {
        self.from
    }

    pub fn hold(&self, at: Instant) -> bool {
        self.hold_day(at.day(self.zone))
    }

    pub fn hold_day(&self, day: Day) -> bool {
        self.from.is_none_or(|from| day >= from) && self.to.is_none_or(|to| day < to)
    }
}

impl MostPage {
    /// How long a bar is drawn: the most is 100.
    fn share(&self, pieces: i64) -> i64 {
        let most = self.parts.first().map_or(1, Sum::together).max(1);
        pieces * 100 / most
    }

    /// Where the reports of an event are.
    fn event_address(&self, (event, words): &(Option<EventId>, String)) -> String {
        let asked = match event {
            Some(event) => format!("event={event}"),
            None => format!("at={}", form_encode(words)),
        };
        format!("/damage?{asked}{}", self.season)
    }

    fn no_error(&self) -> Option<&str> {
        None
    }
}

#[derive(Deserialize, Default)]
#[serde(default)]
pub(super) struct MostQuery {
    season: String,
}

pub(super) async fn most(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(query): Query<MostQuery>,
) -> Result<Page<MostPage>, AppError> {
    let mut db = app.db.read().await?;
    let all = seasons::all(&mut db).await?;
    let days = Days::of(&all, &query.season, viewer.zone());
    let mut losses = Vec::new();
    for membership in viewer.memberships() {
        for slip in damage::since(&mut db, membership.team, None).await? {
            if slip.stands.accepted > 0
                && days.hold(slip.report.reported_at)
                && let (Some(part), Some(words)) = (slip.report.part, slip.report.part_words())
            {
                losses.push(Loss {
                    part: (part, words),
                    what: slip.report.what,
                    pieces: slip.stands.accepted,
                    event: (slip.report.event_id, slip.report.event.clone()),
                    season: season_of(&all, slip.report.reported_at.day(viewer.zone())),
                    one_off: slip.stands.one_off,
                });
            }
        }
    }
    let mut kits = Vec::new();
    for membership in viewer.memberships() {
        for kit in kits::of_team(&mut db, membership.team).await? {
            if kit.revision.is_some() && !kit.put_away {
                kits.push((kit.id, kit.name));
            }
        }
    }
    let mut seasons = vec![Choice::one_of("", "all seasons", &query.season)];
    seasons.extend(
        all.iter()
            .map(|season| Choice::one_of(season.id, &season.name, &query.season)),
    );
    Ok(Page(MostPage {
        frame,
        kits,
        seasons,
        parts: add_up(&losses, |loss| loss.part.clone()),
        events: add_up(&losses, |loss| loss.event.clone()),
        by_season: add_up(&losses, |loss| loss.season.clone()),
        season: match query.season.as_str() {
            "" => String::new(),
            season => format!("&season={}", form_encode(season)),
        },
    }))
}

/// The season that a day lies in: the newest that had begun.
fn season_of(all: &[Season], day: Day) -> (Option<SeasonId>, String) {
    all.iter()
        .find(|season| season.starts_on <= day)
        .map_or((None, "before the first season".into()), |season| {
            (Some(season.id), season.name.clone())
        })
}
