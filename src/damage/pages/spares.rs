//! How many spares of a kit's parts the next season needs, from what broke and was lost.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;
use axum::response::{IntoResponse, Response};
use serde::Deserialize;

use super::list::Days;
use crate::app::App;
use crate::clock::Day;
use crate::damage::rules::spares::{self, Advice, Lost, Question, SURE, Typed, USUALLY};
use crate::damage::rules::telling::What;
use crate::damage::{self, store};
use crate::error::AppError;
use crate::events;
use crate::ids::{KitId, PartId};
use crate::kits::{self, Kit};
use crate::people::Viewer;
use crate::places::rules::words::part;
use crate::seasons;
use crate::web::extract::{Path, Query};
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Template)]
#[template(path = "damage/spares.html")]
struct SparesPage {
    frame: Frame,
    kit: Kit,
    /// Where spares are ordered for: the team's spares box, or the kit where there is none.
    order_for: KitId,
    seasons: Vec<Choice>,
    fields: SparesQuery,
    /// Days at events that have begun.
    at_events: i64,
    asked: Option<Question>,
    lost: Vec<Advice<Named>>,
    /// Parts of which nothing broke or was lost.
    whole: Vec<Advice<Named>>,
    /// Why nothing can be said.
    refused: Option<String>,
    may_keep: bool,
    wrongs: Vec<Wrong>,
}

/// A part by its id and its words.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Named {
    id: PartId,
    words: String,
}

impl SparesPage {
    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn sure(&self) -> Vec<Choice> {
        let chosen = match self.fields.sure.as_str() {
            "" => USUALLY.to_string(),
            typed => typed.to_owned(),
        };
        SURE.into_iter()
            .map(|sure| Choice::one_of(sure, format!("in {sure} seasons of 100"), &chosen))
            .collect()
    }

    fn status(&self) -> String {
        let at_events = match self.at_events {
            1 => "1 day at events".to_owned(),
            days => format!("{days} days at events"),
        };
        match self.asked {
            Some(asked) => format!(
                "Reckoned from {at_events} and {} of practice, for {} of use to come, so that the spares \
                 suffice in {} seasons of 100.",
                several(asked.practice),
                several(asked.coming),
                asked.sure
            ),
            None => format!("The books know of {at_events}."),
        }
    }
}

fn several(days: i64) -> String {
    match days {
        1 => "1 day".into(),
        days => format!("{days} days"),
    }
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct SparesQuery {
    season: String,
    practice: String,
    coming: String,
    sure: String,
}

pub(super) async fn spares(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    Query(mut fields): Query<SparesQuery>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let kit = kits::find(&mut db, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    let today = viewer.today(&app);
    let all = seasons::all(&mut db).await?;
    if fields.season.is_empty() {
        // The season that goes on now is the one that is learned from.
        let now = all.iter().find(|season| season.starts_on <= today);
        fields.season = now.map_or_else(String::new, |season| season.id.to_string());
    }
    let days = Days::of(&all, &fields.season, viewer.zone());
    let first: Day = days.first().unwrap_or_else(|| today.plus_days(-3660));
    let mut at_events = 0;
    for event in events::of_kit(&mut db, kit.id, first).await? {
        let last = event.last_on.min(today);
        let from = event.first_on.max(first);
        if days.hold_day(from) && from <= last {
            at_events += from.days_until(last) + 1;
        }
    }
    let mut losses: HashMap<PartId, Vec<(i64, bool)>> = HashMap::new();
    for slip in damage::since(&mut db, kit.team, None).await? {
        let is_loss = matches!(slip.report.what, What::Broken | What::Lost);
        if is_loss
            && slip.report.kit == Some(kit.id)
            && slip.stands.accepted > 0
            && days.hold(slip.report.reported_at)
            && let Some(part) = slip.report.part
        {
            let loss = (slip.stands.accepted, slip.stands.one_off);
            losses.entry(part).or_default().push(loss);
        }
    }
    let on_hand: HashMap<PartId, i64> = store::spares_on_hand(&mut db, kit.team)
        .await?
        .into_iter()
        .collect();
    let lost: Vec<Lost<Named>> = kits::accounts(&mut db, kit.id)
        .await?
        .into_iter()
        .map(|account| {
            let line = account.line;
            Lost {
                in_use: line.facts.need,
                losses: losses.remove(&line.part).unwrap_or_default(),
                on_hand: on_hand.get(&line.part).copied().unwrap_or(0),
                part: Named {
                    id: line.part,
                    words: part(&line.name, &line.colour, &line.number),
                },
            }
        })
        .collect();
    let typed = Typed {
        practice: fields.practice.clone(),
        coming: fields.coming.clone(),
        sure: fields.sure.clone(),
    };
    let (mut asked, mut refused, mut wrongs) = (None, None, Vec::new());
    let mut advice = Vec::new();
    match spares::read(&typed, at_events) {
        Ok(question) => match spares::advise(&lost, &question) {
            Ok(found) => {
                advice = found;
                asked = Some(question);
            }
            Err(why) => refused = Some(crate::places::rules::words::sentence(&format!("{why}."))),
        },
        Err(found) => wrongs = found,
    }
    let (lost, whole) = advice.into_iter().partition(|one| one.lost > 0);
    let spares_box = kits::of_team(&mut db, kit.team)
        .await?
        .into_iter()
        .find(|one| one.revision.is_none() && !one.put_away);
    let mut choices = vec![Choice::one_of("all", "all seasons", &fields.season)];
    choices.extend(
        all.iter()
            .map(|season| Choice::one_of(season.id, &season.name, &fields.season)),
    );
    Ok(Page(SparesPage {
        frame,
        order_for: spares_box.map_or(kit.id, |found| found.id),
        seasons: choices,
        at_events,
        asked,
        lost,
        whole,
        refused,
        may_keep: viewer.keeps(kit.team),
        fields,
        kit,
        wrongs,
    })
    .into_response())
}
