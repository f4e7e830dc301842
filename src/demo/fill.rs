//! Fills an empty database with the invented league.

use std::collections::HashMap;
use std::sync::Arc;

use anyhow::{Context, anyhow};
use axum::http::{HeaderMap, HeaderValue, header};

use super::world::{self, Minutes, Role as WorldRole};
use super::{beside, broke, counted, drawn, kept, lent, lists, planned};
use crate::app::{App, Settings};
use crate::clock::{Day, FixedClock, Instant};
use crate::error::NotDone;
use crate::ids::{CountId, FormId, KitId, PlaceId, RevisionId, TeamId};
use crate::people::{self, Role, Viewer, viewer};
use crate::receipts::Sent;
use crate::secret;

/// Everybody's password in the demo.
pub const PASSWORD: &str = "three passes by lantern light";

/// Somebody who can sign in.
pub struct Account {
    pub name: &'static str,
    pub email: &'static str,
    pub team: &'static str,
    pub role: &'static str,
}

/// What the demo holds, for whoever shows, tests or measures it.
pub struct Filled {
    pub accounts: Vec<Account>,
    /// The cookie of the keeper whose kit is being counted.
    pub keeper_session: String,
    /// The cookie of the keeper whose kit is counted and in crates.
    pub crates_session: String,
    pub open_kit: KitId,
    pub open_count: CountId,
    pub counted_kit: KitId,
    pub full_crate: PlaceId,
    pub newest_revision: RevisionId,
}

/// The people of the demo at a movable moment.
pub(super) struct Story {
    /// Like the program's own, with a clock that goes where the story is.
    pub app: App,
    clock: Arc<FixedClock>,
    now: Instant,
    pub teams: HashMap<&'static str, TeamId>,
    viewers: HashMap<&'static str, Viewer>,
    sessions: HashMap<&'static str, String>,
}

impl Story {
    /// Goes to so many minutes from now.
    pub fn go_to(&self, minutes: Minutes) {
        self.clock.set(self.now.plus_minutes(minutes.0.into()));
    }

    pub fn today(&self) -> Day {
        self.now.day("Etc/GMT-1")
    }

    pub fn viewer(&self, person: &'static str) -> anyhow::Result<&Viewer> {
        self.viewers
            .get(person)
            .with_context(|| format!("{person} is nobody"))
    }

    pub fn team(&self, team: &'static str) -> anyhow::Result<TeamId> {
        self.teams
            .get(team)
            .copied()
            .with_context(|| format!("{team} is no team"))
    }

    /// A form nobody else sends.
    pub fn sent(&self) -> Sent {
        Sent {
            id: FormId::new(),
            hash: secret::random(),
        }
    }
}

/// A refusal is a mistake of the story.
pub(super) fn unrefused<T, R: std::fmt::Debug>(result: Result<T, NotDone<R>>) -> anyhow::Result<T> {
    result.map_err(|not_done| match not_done {
        NotDone::Refused(refused) => anyhow!("the demo's story was refused: {refused:?}"),
        NotDone::Failed(error) => anyhow!(error),
    })
}

/// The id at the end of the page a form led to.
pub(super) fn id_in<T: std::str::FromStr>(location: &str) -> anyhow::Result<T> {
    location
        .rsplit('/')
        .next()
        .and_then(|id| id.parse().ok())
        .with_context(|| format!("no id in {location}"))
}

/// Fills the database of `app`, which must be empty.
pub async fn fill(app: &App) -> anyhow::Result<Filled> {
    let now = app.clock.now();
    let clock = Arc::new(FixedClock::at(now));
    let settings = Settings {
        public_url: app.public_url().to_owned(),
    };
    let mut story = Story {
        app: App::new(app.db.clone(), clock.clone(), settings),
        clock,
        now,
        teams: HashMap::new(),
        viewers: HashMap::new(),
        sessions: HashMap::new(),
    };
    people_and_teams(&mut story).await?;
    let revisions = lists::read_in(&story).await?;
    let places = kept::make_places(&story).await?;
    let kits = kept::make_kits(&story, &revisions).await?;
    let counted = counted::count(&story, &kits, &places).await?;
    kept::seal(&story, &places).await?;
    beside::stand(&story, &kits).await?;
    planned::plan(&story, &kits).await?;
    broke::tell(&story, &kits, &counted).await?;
    drawn::hang(&story, &counted).await?;
    let newest_revision = revisions
        .get(&(world::THIS_SEASON, "Issue 2"))
        .copied()
        .context("the newest revision")?;
    drawn::lay_out(&story, newest_revision).await?;
    lent::lend(&story, &kits, &places).await?;
    story.go_to(Minutes(0));

    let session = |person: &str| story.sessions.get(person).cloned().unwrap_or_default();
    Ok(Filled {
        accounts: world::PEOPLE
            .iter()
            .map(|person| Account {
                name: person.name,
                email: person.email,
                team: person.team,
                role: match person.role {
                    WorldRole::Coordinator => "coordinator",
                    WorldRole::Keeper => Role::Keeper.word(),
                    WorldRole::Deputy => Role::Deputy.word(),
                    WorldRole::Crew => Role::Crew.word(),
                },
            })
            .collect(),
        keeper_session: session(world::BEXEL),
        crates_session: session(world::TAMSEL),
        open_kit: kits.id(world::KETTLEHORN)?,
        open_count: counted.open,
        counted_kit: kits.id(world::LONG_GABLE)?,
        full_crate: counted.full_crate,
        newest_revision,
    })
}

/// Teams, and everybody with the one password of the demo, signed in.
async fn people_and_teams(story: &mut Story) -> anyhow::Result<()> {
    story.go_to(Minutes(-402 * 24 * 60));
    let hash = unrefused(people::hash_password(&story.app, PASSWORD).await)?;
    let mut tx = story.app.db.begin_write().await?;
    people::teams::set_league(&mut tx, world::LEAGUE).await?;
    for team in world::TEAMS {
        let id = people::add_team(&mut tx, team.name, team.zone).await?;
        story.teams.insert(team.name, id);
    }
    let mut tokens = Vec::new();
    for person in world::PEOPLE {
        let is_coordinator = person.role == WorldRole::Coordinator;
        let id = people::add_person(
            &story.app,
            &mut tx,
            person.name,
            Some(person.email),
            Some(&hash),
            is_coordinator,
        )
        .await?;
        let role = match person.role {
            WorldRole::Coordinator | WorldRole::Keeper => Role::Keeper,
            WorldRole::Deputy => Role::Deputy,
            WorldRole::Crew => Role::Crew,
        };
        let team = story.team(person.team)?;
        people::add_member(&story.app, &mut tx, id, team, role).await?;
        story.clock.set(story.now);
        let token = people::open_session(&story.app, &mut tx, id, "the demo").await?;
        tokens.push((person.name, token));
    }
    tx.commit().await?;
    for (name, token) in tokens {
        let cookie = format!("{}={token}", viewer::cookie_name(&story.app));
        let mut headers = HeaderMap::new();
        headers.insert(header::COOKIE, HeaderValue::from_str(&cookie)?);
        let viewer = viewer::find(&story.app, &headers)
            .await?
            .context("just signed in")?;
        story.viewers.insert(name, viewer);
        story.sessions.insert(name, token);
    }
    Ok(())
}
