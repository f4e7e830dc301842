//! A month: what goes out, what is due back, events, and when each kit is free. It prints.

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use crate::app::App;
use crate::calendar::rules::{Item, Month, Week, What, free};
use crate::calendar::{self, KitDays};
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::TeamId;
use crate::people::Viewer;
use crate::web::extract::Query;
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// A day of the list, with what is told on it.
struct DayLine<'a> {
    day: Day,
    items: Vec<&'a Item>,
}

#[derive(Template)]
#[template(path = "calendar/show.html")]
pub(super) struct ShowPage {
    frame: Frame,
    month: Month,
    weeks: Vec<Week>,
    items: Vec<Item>,
    kits: Vec<KitDays>,
    team: TeamId,
    team_name: String,
    teams: Vec<Choice>,
    today: Day,
    /// The month that was asked for could not be read.
    is_unknown: bool,
}

impl ShowPage {
    fn on(&self, day: &Day) -> Vec<&Item> {
        self.items
            .iter()
            .filter(|item| item.is_told_on(*day))
            .collect()
    }

    /// A day of the months around, in the first or the last week.
    fn is_beside(&self, day: &Day) -> bool {
        !self.month.holds(*day)
    }

    fn is_today(&self, day: &Day) -> bool {
        *day == self.today
    }

    /// The days of the month on which something is told.
    fn lines(&self) -> Vec<DayLine<'_>> {
        self.weeks
            .iter()
            .flat_map(|week| week.days)
            .filter(|day| self.month.holds(*day))
            .map(|day| DayLine {
                day,
                items: self.on(&day),
            })
            .filter(|line| !line.items.is_empty())
            .collect()
    }

    /// "Sat 6 Mar 2027".
    fn weekday(&self, day: &Day) -> String {
        format!("{} {}", day.0.strftime("%a"), day.words())
    }

    /// "1 Mar 2027 to 4 Mar 2027, 15 Mar 2027", or that it is not.
    fn free(&self, kit: &KitDays) -> String {
        let from = self.month.first().max(self.today);
        if self.month.last() < from {
            return "the month is over".into();
        }
        let free = free(from, self.month.last(), &kit.taken, kit.around);
        if free.is_empty() {
            return "not free on any day".into();
        }
        let words: Vec<String> = free.iter().map(|free| free.words()).collect();
        let mut words = words.join(", ");
        let mut told = Vec::new();
        for (who, until) in &kit.parts_out {
            let text = format!("; {who} has a part of it until {}", until.words());
            if !told.contains(&text) {
                words.push_str(&text);
                told.push(text);
            }
        }
        words
    }

    /// Until when a loan lasts, on the day it begins.
    fn until(&self, item: &Item) -> Option<Day> {
        (matches!(item.what, What::Loan | What::Asked) && item.last != item.first)
            .then_some(item.last)
    }

    fn link(&self, month: Month) -> String {
        format!("/calendar?month={}&team={}", month.short(), self.team)
    }

    fn no_error(&self) -> Option<&str> {
        None
    }
}

#[derive(Deserialize)]
pub(super) struct Wanted {
    #[serde(default)]
    month: String,
    #[serde(default)]
    team: String,
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(wanted): Query<Wanted>,
) -> Result<Page<ShowPage>, AppError> {
    let today = viewer.today(&app);
    let asked = Month::read(&wanted.month);
    let month = asked.unwrap_or(Month::of(today));
    let (team, team_name) = viewer
        .memberships()
        .iter()
        .find(|one| one.team.to_string() == wanted.team)
        .or(viewer.main_team())
        .map(|one| (one.team, one.team_name.clone()))
        .ok_or(AppError::NotFound("team"))?;
    let mut db = app.db.read().await?;
    let days = calendar::days(&mut db, team, month.first(), month.last(), today).await?;
    Ok(Page(ShowPage {
        frame,
        weeks: month.weeks(),
        month,
        items: days.items,
        kits: days.kits,
        team,
        team_name,
        teams: viewer
            .memberships()
            .iter()
            .map(|one| Choice::new(one.team, &one.team_name, one.team == team))
            .collect(),
        today,
        is_unknown: asked.is_none() && !wanted.month.is_empty(),
    }))
}
