//! All kits, and one.

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::{FormId, KitId, PlaceId, TeamId};
use crate::kits::rules::looks::{LookedAt, Said};
use crate::kits::rules::{Summary, plural};
use crate::kits::store::{LastCount, OtherKit};
use crate::kits::{self, Arrival, Kit, store};
use crate::people::Viewer;
use crate::places;
use crate::web::extract::{Path, Query};
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Outermost crates and bags of a kit that its page names.
const SHOWN: usize = 8;

/// Kits of other teams shown at once.
const MOST_OTHERS: usize = 100;

struct OwnTeam {
    id: TeamId,
    name: String,
    kits: Vec<OwnKit>,
    put_away: Vec<(KitId, String)>,
}

struct OwnKit {
    kit: Kit,
    checked: String,
    state: String,
}

#[derive(Template)]
#[template(path = "kits/index.html")]
pub(super) struct IndexPage {
    frame: Frame,
    may_add: bool,
    teams: Vec<OwnTeam>,
    others: Vec<OtherKit>,
    /// Coordinators open every team's kits.
    opens_others: bool,
    more_others: bool,
    q: String,
}

impl IndexPage {
    fn nothing_wrong(&self) -> Option<&str> {
        None
    }

    fn checked(&self, kit: &OtherKit) -> String {
        super::checked_words(kit.guide_name.as_deref(), kit.size_name.as_deref())
    }
}

#[derive(Deserialize)]
pub(super) struct Wanted {
    #[serde(default)]
    q: String,
}

pub(super) async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(wanted): Query<Wanted>,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let mut teams = Vec::new();
    for membership in viewer.memberships() {
        let mut own = Vec::new();
        for kit in kits::of_team(&mut db, membership.team).await? {
            let arrival = kits::arrival(&mut db, kit.id).await?;
            let state = if kit.revision.is_none() {
                "spares box".to_owned()
            } else if arrival.open.is_some() {
                "being counted".to_owned()
            } else if !arrival.counted {
                "not counted".to_owned()
            } else {
                Summary::of(&kits::accounts(&mut db, kit.id).await?).words()
            };
            own.push(OwnKit {
                checked: super::checked_words(kit.guide_name.as_deref(), kit.size_name.as_deref()),
                state,
                kit,
            });
        }
        teams.push(OwnTeam {
            id: membership.team,
            name: membership.team_name.clone(),
            kits: own,
            put_away: store::put_away_of(&mut db, membership.team).await?,
        });
    }
    let q = wanted.q.trim().to_owned();
    let own = viewer.memberships();
    let most = MOST_OTHERS + 1 + teams.iter().map(|team| team.kits.len()).sum::<usize>();
    let mut others = store::of_others(&mut db, &q, i64::try_from(most).unwrap_or(i64::MAX)).await?;
    others.retain(|kit| own.iter().all(|membership| membership.team != kit.team));
    let more_others = others.len() > MOST_OTHERS;
    others.truncate(MOST_OTHERS);
    Ok(Page(IndexPage {
        frame,
        may_add: own.iter().any(|membership| membership.role.keeps()),
        teams,
        others,
        opens_others: viewer.is_coordinator(),
        more_others,
        q,
    }))
}

/// A crate, box or bag of the kit that stands in no other of it, and where that is.
struct Standing {
    place: PlaceId,
    name: String,
    code: String,
    stands: String,
    /// The number of the seal on it.
    seal: Option<String>,
}

#[derive(Template)]
#[template(path = "kits/show.html")]
pub(super) struct ShowPage {
    frame: Frame,
    count_form: FormId,
    away_form: FormId,
    kit: Kit,
    season: Option<String>,
    revision: Option<crate::guides::Revision>,
    newest: Option<crate::guides::Revision>,
    summary: Summary,
    arrival: Arrival,
    last: Option<LastCount>,
    last_words: String,
    outer: Vec<Standing>,
    places: usize,
    days_left: Option<i64>,
    report_by: Option<Day>,
    may_keep: bool,
    may_work: bool,
    /// Loans of it that are out: page, who has it, and until when.
    lent: Vec<(String, String, String)>,
    /// Reports to the supplier that are under way: page, how it stands.
    reports: Vec<(String, String)>,
    /// What is only looked at.
    looked_at: Vec<LookedAt>,
    /// The events it goes to from today on.
    events: Vec<crate::events::KitDays>,
}

impl ShowPage {
    fn checked(&self) -> String {
        super::checked_words(
            self.kit.guide_name.as_deref(),
            self.kit.size_name.as_deref(),
        )
    }

    /// What is here, in one sentence.
    fn here(&self) -> String {
        if self.kit.revision.is_none() {
            let kinds = self.summary.over;
            return format!("{kinds} {} of part in it", plural(kinds, "kind", "kinds"));
        }
        if !self.arrival.counted && self.last.is_none() {
            return format!(
                "not counted yet: {} {}, {} pieces to look for",
                self.summary.lines,
                plural(self.summary.lines, "line", "lines"),
                self.summary.pieces
            );
        }
        self.summary.words()
    }

    /// The way to what is only looked at, where there is such a thing.
    fn looked(&self) -> Option<String> {
        let low = |part: &&LookedAt| part.said().is_some_and(Said::is_to_buy);
        match (
            self.looked_at.len(),
            self.looked_at.iter().filter(low).count(),
        ) {
            (0, _) => None,
            (_, 0) => Some("Only looked at".into()),
            (_, low) => Some(format!("Only looked at: {low} low")),
        }
    }

    /// How long shorts can still be reported.
    fn left(&self) -> String {
        match self.days_left {
            None => String::new(),
            Some(0) => "today is the last day".to_owned(),
            Some(1) => "1 day left".to_owned(),
            Some(days) if days > 1 => format!("{days} days left"),
            Some(-1) => "that was yesterday".to_owned(),
            Some(days) => format!("that was {} days ago", -days),
        }
    }

    fn purpose(&self) -> &'static str {
        if self.arrival.complete {
            "recount"
        } else {
            "arrival"
        }
    }

    fn button(&self) -> &'static str {
        if self.arrival.complete {
            "Count again"
        } else if self.arrival.counted {
            "Go on unpacking and counting"
        } else {
            "Unpack and count"
        }
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Page<ShowPage>, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::found(&mut db, kit).await?;
    let summary = Summary::of(&kits::accounts(&mut db, kit.id).await?);
    let arrival = kits::arrival(&mut db, kit.id).await?;
    let last = store::last_count(&mut db, kit.id).await?;
    let revision = match kit.revision {
        Some(revision) => crate::guides::revision(&mut db, revision).await?,
        None => None,
    };
    let newest = match &revision {
        Some(revision) if !revision.is_newest => crate::guides::revisions(&mut db, revision.guide)
            .await?
            .into_iter()
            .next(),
        _ => None,
    };
    let season = match &revision {
        Some(revision) => crate::guides::guide(&mut db, revision.guide)
            .await?
            .and_then(|guide| guide.season_name),
        None => None,
    };
    let inside = places::in_kit(&mut db, kit.id).await?;
    let outermost: Vec<_> = inside
        .iter()
        .filter(|place| !inside.iter().any(|other| Some(other.id) == place.parent))
        .collect();
    let ids: Vec<_> = outermost.iter().map(|place| place.id).collect();
    let ways = places::ways(&mut db, &ids).await?;
    let mut outer = outermost
        .into_iter()
        .map(|place| {
            let way = ways.way(place.id);
            let above: Vec<&str> = way
                .iter()
                .skip(1)
                .map(|place| place.name.as_str())
                .collect();
            Standing {
                place: place.id,
                name: place.name.clone(),
                code: place.code.to_string(),
                seal: None,
                stands: if above.is_empty() {
                    "nobody has said where".to_owned()
                } else {
                    above.join(", ")
                },
            }
        })
        .collect::<Vec<_>>();
    for standing in outer.iter_mut().take(SHOWN) {
        let seal = places::seal_of(&mut db, standing.place).await?;
        standing.seal = seal.number().map(str::to_owned);
    }
    let today = viewer.today(&app);
    let events = crate::events::of_kit(&mut db, kit.id, today).await?;
    let lent = crate::loans::of_kit(&mut db, kit.id)
        .await?
        .into_iter()
        .filter(|loan| loan.is_out() && loan.still_out > 0)
        .map(|loan| {
            let href = format!("/loans/{}", loan.id);
            let due = loan.due_words(today);
            (href, loan.borrower_name, due)
        })
        .collect();
    let reports = crate::reports::under_way(&mut db, kit.id, today).await?;
    let zone = viewer.zone();
    Ok(Page(ShowPage {
        count_form: frame.form_id(),
        away_form: frame.form_id(),
        frame,
        season,
        revision,
        newest,
        summary,
        arrival,
        last_words: last
            .as_ref()
            .map_or(String::new(), |last| last.closed_at.words(zone)),
        last,
        places: inside.len(),
        outer,
        days_left: kit.report_by.map(|by| viewer.today(&app).days_until(by)),
        report_by: kit.report_by,
        may_keep: viewer.keeps(kit.team),
        may_work: viewer.role_in(kit.team).is_some(),
        lent,
        reports,
        looked_at: kits::looks::looked_at(&mut db, kit.id).await?,
        events,
        kit,
    }))
}
