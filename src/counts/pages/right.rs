//! How often the books were right, and which lines were wrong most.

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use super::moment;
use crate::app::App;
use crate::counts::rules::right::{Line, Share, Wrong, by_count, total, wrong_most};
use crate::counts::store;
use crate::error::AppError;
use crate::ids::{CountId, PartId, PlaceId};
use crate::people::Viewer;
use crate::web::extract::Query;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Parts that were wrong are listed up to this many.
const MOST_WRONG: usize = 50;

struct CountLine {
    count: CountId,
    kit_name: String,
    when: String,
    share: Share,
}

/// One line of the part that was asked for, as it was counted once.
struct Once {
    count: CountId,
    place: PlaceId,
    place_name: String,
    kit_name: String,
    when: String,
    book: i64,
    counted: i64,
}

#[derive(Template)]
#[template(path = "counts/right.html")]
pub(super) struct RightPage {
    frame: Frame,
    total: Option<Share>,
    counts: Vec<CountLine>,
    wrong: Vec<Wrong>,
    more_wrong: usize,
    /// The part whose lines are told one by one.
    part: Option<(PartId, String)>,
    once: Vec<Once>,
}

#[derive(Deserialize)]
pub(super) struct Wanted {
    #[serde(default)]
    part: String,
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(wanted): Query<Wanted>,
) -> Result<Page<RightPage>, AppError> {
    let mut db = app.db.read().await?;
    let mut lines: Vec<Line> = Vec::new();
    for membership in viewer.memberships() {
        lines.extend(store::counted_again(&mut db, membership.team).await?);
    }
    let asked: Option<PartId> = wanted.part.parse().ok();
    let of_part = lines.iter().filter(|line| Some(line.part) == asked);
    let once: Vec<Once> = of_part
        .clone()
        .filter(|line| !line.is_right())
        .map(|line| Once {
            count: line.count,
            place: line.place,
            place_name: line.place_name.clone(),
            kit_name: line.kit_name.clone(),
            when: moment(&app, &viewer, line.closed_at),
            book: line.book(),
            counted: line.counted,
        })
        .collect();
    let part = of_part
        .clone()
        .next()
        .map(|line| (line.part, line.part_name.clone()));
    let counts = by_count(&lines)
        .into_iter()
        .map(|(line, share)| CountLine {
            count: line.count,
            kit_name: line.kit_name.clone(),
            when: moment(&app, &viewer, line.closed_at),
            share,
        })
        .collect();
    let mut wrong = wrong_most(&lines);
    let more_wrong = wrong.len().saturating_sub(MOST_WRONG);
    wrong.truncate(MOST_WRONG);
    Ok(Page(RightPage {
        frame,
        total: total(&lines),
        counts,
        wrong,
        more_wrong,
        part,
        once,
    }))
}
