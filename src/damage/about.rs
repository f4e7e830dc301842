//! Which pieces a report is about: what was typed, chosen or scanned, looked up in the books.

use sqlx::SqliteConnection;

use super::rules::telling::{Told, What};
use super::store::{self, About, Stand};
use super::{Refused, wrong};
use crate::code::Code;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::error::NotDone;
use crate::find::rules::expression;
use crate::ids::{PartId, PlaceId, TeamId};
use crate::places::{self, Place};
use crate::text::tidy;
use crate::{events, kits};

/// As many pieces in as many places as are offered for choosing.
const OFFERED: i64 = 12;
/// What a member is told who found a piece that is not their team's.
const ELSEWHERE: &str = "no kit of yours has it, but another team of the league misses one; hand it to \
    the coordinator";
/// As many characters of the words for a part are kept.
const SAID: usize = 200;

/// What a report is about, as it was typed.
#[derive(Debug, Clone, Default)]
pub struct AboutTyped {
    /// One of the stands that were offered.
    pub stand: String,
    /// Words of the part: name, number, colour.
    pub part: String,
    /// A part that was chosen by its picture.
    pub part_id: String,
    /// The code on the crate or bag it is about.
    pub code: String,
    /// A picture shows it. A browser would forget that picture if the form were asked for again, so what is
    /// not clear is put right on the page of the report.
    pub has_picture: bool,
}

/// Reads what a form sends for a stand.
pub(super) fn stand_of(key: &str) -> Option<About> {
    let mut ids = key.split('.');
    let about = About {
        part: Some(ids.next()?.parse().ok()?),
        kit: Some(ids.next()?.parse().ok()?),
        place: Some(ids.next()?.parse().ok()?),
    };
    ids.next().is_none().then_some(about)
}

/// Whether a stand is in the team's books.
pub(super) async fn check_stand(
    tx: &mut Tx,
    team: TeamId,
    about: About,
) -> Result<(), NotDone<Refused>> {
    let kit = match about.kit {
        Some(kit) => kits::find(tx, kit).await?,
        None => None,
    };
    let place = match about.place {
        Some(place) => places::find(tx, place).await?,
        None => None,
    };
    let is_ours = kit.is_some_and(|kit| kit.team == team)
        && place.is_some_and(|place| place.team == team && !place.put_away);
    if is_ours {
        Ok(())
    } else {
        wrong("part", "these pieces are in another team’s books")
    }
}

/// An event that was chosen must be one.
pub(super) async fn check_event(tx: &mut Tx, told: &Told) -> Result<(), NotDone<Refused>> {
    match told.event_id {
        Some(event) if events::find(tx, event).await?.is_none() => {
            wrong("event_id", "choose one of the list")
        }
        _ => Ok(()),
    }
}

/// Which pieces are meant. Where that is not clear and a picture came along, what is known of it, and the
/// words for the rest.
pub(super) async fn resolve_or_say(
    tx: &mut Tx,
    team: TeamId,
    what: What,
    typed: &AboutTyped,
) -> Result<(About, String), NotDone<Refused>> {
    let refused = match resolve(tx, team, what, typed).await {
        Ok(about) => return Ok((about, String::new())),
        Err(NotDone::Refused(refused)) if typed.has_picture => refused,
        Err(other) => return Err(other),
    };
    let said: String = tidy(&typed.part).chars().take(SAID).collect();
    match refused {
        Refused::Several(stands) => {
            let same = |one: &Stand| stands.iter().all(|other| other.part == one.part);
            let part = stands.first().filter(|one| same(one)).map(|one| one.part);
            Ok((
                About {
                    part,
                    ..About::default()
                },
                said,
            ))
        }
        Refused::Wrong(wrongs) if wrongs.iter().all(|(field, _)| *field == "part") => {
            let place = coded(tx, team, &typed.code).await?;
            let about = About {
                part: None,
                kit: place.as_ref().and_then(|place| place.kit),
                place: place.map(|place| place.id),
            };
            Ok((about, said))
        }
        refused => Err(NotDone::Refused(refused)),
    }
}

/// Which pieces are meant.
pub(super) async fn resolve(
    tx: &mut Tx,
    team: TeamId,
    what: What,
    typed: &AboutTyped,
) -> Result<About, NotDone<Refused>> {
    if !typed.stand.is_empty() {
        let Some(about) = stand_of(&typed.stand) else {
            return wrong("part", "choose one of the list");
        };
        check_stand(tx, team, about).await?;
        return Ok(about);
    }
    let within = coded(tx, team, &typed.code).await?;
    if typed.part.trim().is_empty() && !typed.part_id.is_empty() {
        let Ok(part) = typed.part_id.parse::<PartId>() else {
            return wrong("part_id", "choose one of the pictures");
        };
        let place = within.map(|place| place.id);
        let mut stands = match (what, place) {
            (What::Found, None) => store::lacking(tx, team, Some(part), None, OFFERED).await?,
            _ => Vec::new(),
        };
        if stands.is_empty() {
            stands = store::stands(tx, team, Some(part), None, place, OFFERED).await?;
        }
        retain_for(what, &mut stands);
        return one_of(stands, place.is_some());
    }
    if typed.part.trim().is_empty() {
        return Ok(About {
            part: None,
            kit: within.as_ref().and_then(|place| place.kit),
            place: within.map(|place| place.id),
        });
    }
    let Some(words) = expression(&typed.part, None) else {
        return wrong("part", "write a word of its name, or its number");
    };
    let within_id = within.as_ref().map(|place| place.id);
    let stands = match (what, within_id) {
        // A found piece lies where it was found, whatever the books say.
        (What::Found, Some(place)) => store::kinds(tx, team, &words, place, OFFERED).await?,
        // Found nobody says where: it belongs where one is missing.
        (What::Found, None) => match store::lacking(tx, team, None, Some(&words), OFFERED).await? {
            lacking if lacking.is_empty() => offered(tx, team, what, &words, None).await?,
            lacking => lacking,
        },
        _ => offered(tx, team, what, &words, within_id).await?,
    };
    if what == What::Found
        && stands.is_empty()
        && store::is_missed_elsewhere(tx, team, None, Some(&words)).await?
    {
        return wrong("part", ELSEWHERE);
    }
    one_of(stands, within.is_some())
}

/// The only one that fits.
fn one_of(mut stands: Vec<Stand>, is_within: bool) -> Result<About, NotDone<Refused>> {
    match stands.len() {
        0 if is_within => wrong(
            "part",
            "nothing of that name is in there by the books; leave the code empty to look everywhere",
        ),
        0 => wrong(
            "part",
            "nothing of that name is in your kits; leave this empty and write a few words below",
        ),
        1 => {
            let only = stands.remove(0);
            Ok(About {
                part: Some(only.part),
                kit: Some(only.kit),
                place: Some(only.place),
            })
        }
        _ => Err(NotDone::Refused(Refused::Several(stands))),
    }
}

/// Pieces that fit the words.
async fn offered(
    db: &mut SqliteConnection,
    team: TeamId,
    what: What,
    words: &str,
    within: Option<PlaceId>,
) -> sqlx::Result<Vec<Stand>> {
    let mut stands = store::stands(db, team, None, Some(words), within, OFFERED).await?;
    retain_for(what, &mut stands);
    Ok(stands)
}

/// Only pieces in use can break or be lost.
fn retain_for(what: What, stands: &mut Vec<Stand>) {
    if matches!(what, What::Broken | What::Lost) {
        stands.retain(|stand| stand.in_use() > 0);
    }
}

/// The place of the team that bears a code; `None` where no code was typed.
async fn coded(tx: &mut Tx, team: TeamId, typed: &str) -> Result<Option<Place>, NotDone<Refused>> {
    if typed.trim().is_empty() {
        return Ok(None);
    }
    let code = match Code::parse(typed) {
        Ok(code) => code,
        Err(why) => return wrong("code", why.to_string()),
    };
    let place = match codes::find(tx, &code).await? {
        Some((CodeKind::Place, id)) => places::find(tx, PlaceId(id)).await?,
        Some(_) | None => None,
    };
    match place {
        Some(place) if place.team == team => Ok(Some(place)),
        Some(_) | None => wrong("code", format!("{code} is not on a crate or bag of yours")),
    }
}
