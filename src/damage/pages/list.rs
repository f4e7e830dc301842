//! The lists: reports that wait, pieces to decide about, pieces to order; and what broke most.

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use crate::app::App;
use crate::clock::{Day, Instant};
use crate::damage::rules::most::{Loss, Sum, add_up};
use crate::damage::rules::words;
use crate::damage::{self, Slip};
use crate::error::AppError;
use crate::ids::PartId;
use crate::people::Viewer;
use crate::seasons;
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

    fn holds(self, slip: &Slip) -> bool {
        match self {
            Show::All => true,
            Show::Waiting => slip.is_waiting(),
            Show::Open => slip.is_open(),
            Show::ToOrder => slip.stands.to_order > 0,
        }
    }
}

#[derive(Template)]
#[template(path = "damage/list.html")]
pub(super) struct ListPage {
    frame: Frame,
    zone: String,
    shows: Vec<Choice>,
    part: String,
    slips: Vec<Slip>,
}

impl ListPage {
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
    let mut slips = Vec::new();
    for membership in viewer.memberships() {
        slips.extend(damage::of_team(&mut db, membership.team, part).await?);
    }
    slips.retain(|slip| show.holds(slip));
    Ok(Page(ListPage {
        frame,
        zone: viewer.zone().to_owned(),
        shows: Show::ALL
            .into_iter()
            .map(|one| Choice::new(one.word(), one.sentence(), one == show))
            .collect(),
        part: part.map_or_else(String::new, |part| part.to_string()),
        slips,
    }))
}

#[derive(Template)]
#[template(path = "damage/most.html")]
pub(super) struct MostPage {
    frame: Frame,
    seasons: Vec<Choice>,
    parts: Vec<Sum<(PartId, String)>>,
    events: Vec<Sum<String>>,
}

impl MostPage {
    /// How long a bar is drawn: the most is 100.
    fn share(&self, pieces: i64) -> i64 {
        let most = self.parts.first().map_or(1, Sum::together).max(1);
        pieces * 100 / most
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
    // The newest first: a season ends where the next one begins.
    let all = seasons::all(&mut db).await?;
    let chosen = all
        .iter()
        .position(|season| season.id.to_string() == query.season);
    let from = chosen.map(|at| all[at].starts_on);
    let to = chosen
        .and_then(|at| at.checked_sub(1))
        .map(|next| all[next].starts_on);
    let zone = viewer.zone();
    let is_in = |at: Instant| {
        let day: Day = at.day(zone);
        from.is_none_or(|from| day >= from) && to.is_none_or(|to| day < to)
    };
    let mut losses = Vec::new();
    for membership in viewer.memberships() {
        for slip in damage::since(&mut db, membership.team, None).await? {
            if slip.stands.accepted > 0
                && is_in(slip.report.reported_at)
                && let (Some(part), Some(words)) = (slip.report.part, slip.report.part_words())
            {
                losses.push(Loss {
                    part: (part, words),
                    what: slip.report.what,
                    pieces: slip.stands.accepted,
                    event: slip.report.event.clone(),
                    one_off: slip.stands.one_off,
                });
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
        seasons,
        parts: add_up(&losses, |loss| loss.part.clone()),
        events: add_up(&losses, |loss| loss.event.clone()),
    }))
}
