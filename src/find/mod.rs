//! Where: one box over parts, crates, bags, places and kits. The answers are sentences.
//!
//! - What looks like a code is tried as one first.
//! - Of the viewer's teams everything is told; of other teams only how many good pieces they have over
//!   their need, so that one can ask.
//! - A coordinator without a team finds every team's kits and places.

pub mod misses;
pub mod pages;
pub mod rules;
mod store;
pub mod tried;

use std::collections::HashMap;

use sqlx::SqliteConnection;
use uuid::Uuid;

use crate::code::{Code, NotACode};
use crate::codes::{self, CodeKind};
use crate::ids::{CountId, KitId, PartId, PieceId, PlaceId, TeamId};
use crate::kits::{self, Kit};
use crate::numbered;
use crate::people::access::{Rule, allowed};
use crate::people::{self, Viewer};
use crate::places::rules::words::{Ways, part, sentence};
use crate::places::{self, Place};
use rules::SHOWN;
use store::{AtRow, PartRow};

/// Which group to show alone, from which answer on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Group {
    Parts,
    Places,
    Kits,
}

/// What is asked.
#[derive(Debug, Clone, Default)]
pub struct Question {
    pub typed: String,
    pub only: Option<Group>,
    pub skip: i64,
    /// Tell what other teams can spare even where ours have some.
    pub spares: bool,
}

/// What was found.
#[derive(Default)]
pub struct Answer {
    pub by_code: Option<ByCode>,
    /// What is wrong with something that looks like a code.
    pub code_note: Option<String>,
    pub parts: Vec<PartFound>,
    pub more_parts: bool,
    pub places: Vec<Found>,
    pub more_places: bool,
    pub kits: Vec<Found>,
    pub more_kits: bool,
}

/// The one thing that bears a code.
pub struct ByCode {
    pub code: String,
    pub found: Found,
}

/// A crate, bag, place or kit: its page, what it is called, and where it is.
pub struct Found {
    pub href: String,
    pub called: String,
    pub words: String,
}

pub struct PartFound {
    pub part: PartId,
    pub words: String,
    pub at: Vec<At>,
    /// What other teams can spare, in sentences.
    pub spares: Vec<String>,
    /// Whether `spares` was looked up.
    pub spares_told: bool,
}

/// So many in a place.
pub struct At {
    pub amount: String,
    pub place: PlaceId,
    /// "in Bag 2 (7K3-F28), in crate Ridge (9PD-K4C), in store Cellar".
    pub inside: String,
    pub kit: KitId,
    pub kit_name: String,
    /// "last counted 4 Mar 2027, 18:04 by Ama".
    pub counted: String,
}

impl Answer {
    pub fn is_empty(&self) -> bool {
        self.by_code.is_none()
            && self.parts.is_empty()
            && self.places.is_empty()
            && self.kits.is_empty()
    }
}

/// The address of what a code is on.
pub fn address(kind: CodeKind, subject: Uuid) -> String {
    match kind {
        CodeKind::Kit => format!("/kits/{}", KitId(subject)),
        CodeKind::Place => format!("/places/{}", PlaceId(subject)),
        CodeKind::Count => format!("/counts/{}", CountId(subject)),
        CodeKind::Piece => format!("/numbered/{}", PieceId(subject)),
    }
}

/// Looks for what was typed.
pub async fn search(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    question: &Question,
) -> sqlx::Result<Answer> {
    let mut answer = Answer::default();
    let asks = |group| question.only.is_none() || question.only == Some(group);
    if question.only.is_none() {
        by_code(db, viewer, &question.typed, &mut answer).await?;
    }
    if asks(Group::Parts)
        && let Some(expression) = rules::expression(&question.typed, None)
    {
        let rows = store::parts(db, &expression, question.skip).await?;
        let (rows, more) = cut(rows);
        answer.more_parts = more;
        answer.parts = where_parts(db, viewer, rows, question.spares).await?;
    }
    let mut places = Vec::new();
    let mut kits = Vec::new();
    for team in scopes(viewer) {
        let Some(expression) = rules::expression(&question.typed, team) else {
            continue;
        };
        if asks(Group::Places) {
            places.extend(store::places(db, &expression, team, question.skip).await?);
        }
        if asks(Group::Kits) {
            kits.extend(store::kits(db, &expression, team, question.skip).await?);
        }
    }
    let (places, more) = cut(places);
    answer.more_places = more;
    let ways = places::ways(db, &places).await?;
    answer.places = places
        .iter()
        .filter_map(|place| ways.get(*place).map(|place| place_found(place, &ways)))
        .collect();
    let (kits, more) = cut(kits);
    answer.more_kits = more;
    for kit in kits {
        if let Some(kit) = kits::find(db, kit).await? {
            answer.kits.push(kit_found(&kit));
        }
    }
    Ok(answer)
}

/// In whose books to look: the viewer's teams; for a coordinator without one, everybody's.
fn scopes(viewer: &Viewer) -> Vec<Option<TeamId>> {
    let teams: Vec<_> = viewer.memberships().iter().map(|m| Some(m.team)).collect();
    if teams.is_empty() && viewer.is_coordinator() {
        vec![None]
    } else {
        teams
    }
}

/// As many as are shown, and whether there are more.
fn cut<T>(mut rows: Vec<T>) -> (Vec<T>, bool) {
    let shown = usize::try_from(SHOWN).unwrap_or(usize::MAX);
    let more = rows.len() > shown;
    rows.truncate(shown);
    (rows, more)
}

async fn by_code(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    typed: &str,
    answer: &mut Answer,
) -> sqlx::Result<()> {
    let code = match Code::parse(typed) {
        Ok(code) => code,
        Err(NotACode::Check(code)) => {
            answer.code_note = Some(format!(
                "If {code} is a code: check the characters, one is wrong or two changed places."
            ));
            return Ok(());
        }
        Err(NotACode::Length | NotACode::Character(_)) => return Ok(()),
    };
    let found = codes::find(db, &code).await?;
    if let Some((kind, subject)) = found
        && may_see(db, viewer, kind, subject).await?
    {
        answer.by_code = Some(ByCode {
            code: code.to_string(),
            found: coded(db, kind, subject).await?,
        });
    } else {
        answer.code_note = Some(format!(
            "No crate, bag, kit or sheet of yours bears {code}."
        ));
    }
    Ok(())
}

async fn coded(db: &mut SqliteConnection, kind: CodeKind, subject: Uuid) -> sqlx::Result<Found> {
    let found = match kind {
        CodeKind::Kit => kits::find(db, KitId(subject))
            .await?
            .map(|kit| kit_found(&kit)),
        CodeKind::Place => {
            let ways = places::ways(db, &[PlaceId(subject)]).await?;
            ways.get(PlaceId(subject))
                .map(|place| place_found(place, &ways))
        }
        CodeKind::Count => None,
        CodeKind::Piece => numbered::find(db, PieceId(subject))
            .await?
            .map(|piece| Found {
                href: address(kind, subject),
                called: format!("{} {}", piece.part_words, piece.called()),
                words: sentence(&piece.whereabouts()),
            }),
    };
    Ok(found.unwrap_or_else(|| Found {
        href: address(kind, subject),
        called: "Count sheet".into(),
        words: String::new(),
    }))
}

/// Whether the viewer sees the books of the team that a coded thing belongs to.
async fn may_see(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    kind: CodeKind,
    subject: Uuid,
) -> sqlx::Result<bool> {
    let team = match kind {
        CodeKind::Kit => kits::find(db, KitId(subject)).await?.map(|kit| kit.team),
        CodeKind::Place => places::find(db, PlaceId(subject))
            .await?
            .map(|place| place.team),
        CodeKind::Count => people::team_of(db, subject).await?,
        CodeKind::Piece => numbered::find(db, PieceId(subject))
            .await?
            .map(|piece| piece.team),
    };
    Ok(team.is_some() && allowed(Rule::Sees, Some(viewer.standing(team))))
}

fn place_found(place: &Place, ways: &Ways) -> Found {
    let mut words = sentence(&ways.stands(place.id));
    if place.put_away {
        words = "Put away".into();
    }
    Found {
        href: format!("/places/{}", place.id),
        called: sentence(&ways.called(place.id)),
        words,
    }
}

fn kit_found(kit: &Kit) -> Found {
    let mut words = vec![kit.team_name.clone()];
    if let (Some(size), Some(guide)) = (&kit.size_name, &kit.guide_name) {
        words.push(format!("{size} {guide}"));
    }
    if kit.put_away {
        words.push("put away".into());
    }
    Found {
        href: format!("/kits/{}", kit.id),
        called: format!("{} ({})", kit.name, kit.code),
        words: words.join(", "),
    }
}

async fn where_parts(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    rows: Vec<PartRow>,
    spares: bool,
) -> sqlx::Result<Vec<PartFound>> {
    let ids: Vec<PartId> = rows.iter().map(|row| row.part).collect();
    let mut at: HashMap<PartId, Vec<AtRow>> = HashMap::new();
    for membership in viewer.memberships() {
        for row in store::at(db, membership.team, &ids).await? {
            at.entry(row.part).or_default().push(row);
        }
    }
    let places: Vec<PlaceId> = at.values().flatten().map(|row| row.place).collect();
    let ways = places::ways(db, &places).await?;
    let mut found = Vec::with_capacity(rows.len());
    for row in rows {
        let mut stands = at.remove(&row.part).unwrap_or_default();
        stands.sort_by_key(|stand| -stand.qty);
        let spares_told = spares || stands.is_empty();
        found.push(PartFound {
            part: row.part,
            words: part(&row.name, &row.colour, &row.number),
            at: stands
                .into_iter()
                .map(|stand| told_at(stand, &ways, viewer.zone()))
                .collect(),
            spares: if spares_told {
                spares_of(db, viewer, row.part).await?
            } else {
                Vec::new()
            },
            spares_told,
        });
    }
    Ok(found)
}

fn told_at(row: AtRow, ways: &Ways, zone: &str) -> At {
    let counted = match row.counted_at {
        Some(at) => format!(
            "last counted {} by {}",
            at.words(zone),
            people::shown_name(row.counted_by.as_deref().unwrap_or_default())
        ),
        None => "not counted there yet".into(),
    };
    At {
        amount: rules::amount(row.qty, row.state),
        place: row.place,
        inside: ways.inside(row.place),
        kit: row.kit,
        kit_name: row.kit_name,
        counted,
    }
}

async fn spares_of(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    part: PartId,
) -> sqlx::Result<Vec<String>> {
    Ok(store::spares(db, part)
        .await?
        .into_iter()
        .filter(|row| viewer.role_in(row.team).is_none())
        .map(|row| rules::spare(&row.team_name, row.qty))
        .collect())
}
