//! Telling what broke, and accepting what somebody without an account told.

use sqlx::SqliteConnection;

use super::rules::standing::{Kind, Step};
use super::rules::telling::{Told, Typed, What, read, take};
use super::store::{self, About, Stand};
use super::{Refused, Slip, slip, wrong};
use crate::app::App;
use crate::clock::Instant;
use crate::code::Code;
use crate::codes::{self, CodeKind};
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::find::rules::expression;
use crate::ids::{DamageId, FormId, PersonId, PlaceId, TeamId};
use crate::ledger::{self, Document, Entry, Move, NotAppended, Outside, Seq, State};
use crate::people::Viewer;
use crate::places::{self, Place};
use crate::receipts::{self, Outcome, Sent};
use crate::{kits, ledger::Stand as At};

/// As many pieces in as many places as are offered for choosing.
const OFFERED: i64 = 12;
/// More reports about one crate than this in an hour are not taken from people without an account.
const STRANGERS_AN_HOUR: i64 = 20;

/// What a report is about, as it was typed.
#[derive(Debug, Clone, Default)]
pub struct AboutTyped {
    /// One of the stands that were offered.
    pub stand: String,
    /// Words of the part: name, number, colour.
    pub part: String,
    /// The code on the crate or bag it is about.
    pub code: String,
}

/// Records what a member tells. Where it is known which pieces it is about, they change their state in
/// the same act.
pub async fn tell(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    typed: &Typed,
    about: &AboutTyped,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if viewer.role_in(team).is_none() {
            return wrong("team", "choose one of your teams");
        }
        let told = read(typed).map_err(|wrongs| NotDone::Refused(Refused::Wrong(wrongs)))?;
        let about = resolve(tx, team, told.what, about).await?;
        if about.part.is_none() && about.place.is_none() && told.note.is_empty() {
            return wrong(
                "part",
                "say what it is about, or leave this empty and write a few words below",
            );
        }
        let id = DamageId::new();
        let now = app.clock.now();
        store::insert(tx, id, team, about, &told, Some(viewer.person), now).await?;
        if about.part.is_some() && told.what != What::Astray {
            let by = (sent.id, viewer.person, now);
            accept_pieces(tx, id, about, &told, by).await?;
        }
        Ok(format!("/damage/{id}"))
    })
    .await
}

/// Keeps what somebody without an account tells about a crate. Nothing moves.
pub async fn tell_without_account(
    app: &App,
    sent: &Sent,
    place: &Place,
    typed: &Typed,
    stand: &str,
    then: &str,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, None, async |tx| {
        let told = read(typed).map_err(|wrongs| NotDone::Refused(Refused::Wrong(wrongs)))?;
        let now = app.clock.now();
        let lately = store::sent_by_strangers(tx, place.id, now.plus_minutes(-60)).await?;
        if lately >= STRANGERS_AN_HOUR {
            return Err(AppError::TooMany(
                "A lot was reported about this crate just now. Please tell the team in person."
                    .into(),
            )
            .into());
        }
        let mut about = About {
            part: None,
            kit: place.kit,
            place: Some(place.id),
        };
        if !stand.is_empty() {
            about = stand_of(stand)
                .filter(|about| about.place.is_some())
                .map_or_else(|| wrong("stand", "choose one of the list"), Ok)?;
            check_stand(tx, place.team, about).await?;
        } else if told.note.is_empty() && told.what != What::Astray {
            return wrong("note", "choose the part, or write a few words about it");
        }
        let id = DamageId::new();
        store::insert(tx, id, place.team, about, &told, None, now).await?;
        Ok(then.to_owned())
    })
    .await
}

/// Accepts a report that waits, after putting right which pieces it is about.
pub async fn accept(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    id: DamageId,
    typed: &Typed,
    about: &AboutTyped,
) -> Result<Outcome, NotDone<Refused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let Slip { report, .. } = waiting(tx, id).await?;
        let typed = Typed {
            what: report.what.word().into(),
            ..typed.clone()
        };
        let told = read(&typed).map_err(|wrongs| NotDone::Refused(Refused::Wrong(wrongs)))?;
        let about = resolve(tx, report.team, report.what, about).await?;
        if about.part.is_none() {
            return wrong("part", "write which part it is");
        }
        store::set_about(tx, id, about, told.qty).await?;
        let by = (sent.id, viewer.person, app.clock.now());
        accept_pieces(tx, id, about, &told, by).await?;
        Ok(format!("/damage/{id}"))
    })
    .await
}

/// A report that nobody has said anything about.
pub(super) async fn waiting(tx: &mut Tx, id: DamageId) -> Result<Slip, NotDone<Refused>> {
    let slip = slip(tx, id).await?;
    if slip.is_waiting() {
        Ok(slip)
    } else {
        wrong("", "somebody has dealt with it in the meantime; see below")
    }
}

/// Moves the pieces that a report is about, and writes down that it was accepted.
async fn accept_pieces(
    tx: &mut Tx,
    id: DamageId,
    about: About,
    told: &Told,
    (form, person, now): (FormId, PersonId, Instant),
) -> Result<(), NotDone<Refused>> {
    let (Some(part), Some(kit), Some(place)) = (about.part, about.kit, about.place) else {
        return wrong("part", "it is not known whose pieces these are");
    };
    let at = |state| At { kit, place, state };
    let mut moves = Vec::new();
    let mut go = |qty, from, to| {
        if qty > 0 {
            moves.push(Move {
                part,
                qty,
                from,
                to,
            });
        }
    };
    let mut state = None;
    match told.what {
        What::Broken => {
            let to = told.usable.state();
            let team = team_of(tx, kit).await?;
            let here = store::stands(tx, team, Some(part), None, None, 1000)
                .await?
                .into_iter()
                .find(|stand| stand.kit == kit && stand.place == place);
            let (good, doubtful) = here.map_or((0, 0), |stand| (stand.good, stand.doubtful));
            let (from_good, from_doubtful) = take(good, doubtful, told.qty, to)
                .map_err(|why| NotDone::Refused(Refused::Wrong(vec![("qty", why)])))?;
            go(from_good, at(State::Good), at(to));
            go(from_doubtful, at(State::Doubtful), at(to));
            state = Some(to);
        }
        What::Found => {
            let missing = store::missing(tx, kit, part).await?.clamp(0, told.qty);
            let outside = |outside: Outside| At::good(kit, outside.place());
            go(missing, outside(Outside::Missing), at(State::Good));
            go(told.qty - missing, outside(Outside::Found), at(State::Good));
        }
        What::Lost | What::Astray => {}
    }
    let entry = match moves.is_empty() {
        true => None,
        false => {
            let mut entry = Entry::new(form, told.what.word(), person, now);
            entry.document = Some(Document::Kit(kit));
            entry.moves = moves;
            Some(append(tx, &entry).await?)
        }
    };
    let step = Step {
        state,
        entry,
        ..step(Kind::Accepted, told.qty, person, now)
    };
    store::add_step(tx, id, &step).await?;
    Ok(())
}

/// A step without particulars.
pub(super) fn step(kind: Kind, qty: i64, person: PersonId, now: Instant) -> Step {
    Step {
        line: 0,
        kind,
        qty,
        state: None,
        entry: None,
        entry_undone: false,
        other: None,
        undoes: None,
        why: String::new(),
        person,
        done_at: now,
    }
}

pub(super) async fn append(tx: &mut Tx, entry: &Entry) -> Result<Seq, NotDone<Refused>> {
    ledger::append(tx, entry).await.map_err(|why| match why {
        NotAppended::Sqlx(error) => NotDone::Failed(error.into()),
        other => NotDone::Refused(Refused::Wrong(vec![("", other.to_string())])),
    })
}

pub(super) async fn team_of(
    tx: &mut Tx,
    kit: crate::ids::KitId,
) -> Result<TeamId, NotDone<Refused>> {
    let kit = kits::find(tx, kit)
        .await?
        .ok_or(AppError::NotFound("kit"))?;
    Ok(kit.team)
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
async fn check_stand(tx: &mut Tx, team: TeamId, about: About) -> Result<(), NotDone<Refused>> {
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

/// Which pieces are meant.
async fn resolve(
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
    let mut stands = match (what, within_id) {
        // A found piece lies where it was found, whatever the books say.
        (What::Found, Some(place)) => store::kinds(tx, team, &words, place, OFFERED).await?,
        _ => offered(tx, team, what, &words, within_id).await?,
    };
    match stands.len() {
        0 if within.is_some() => wrong(
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

/// Pieces that fit the words. Only those in use can break or be lost.
async fn offered(
    db: &mut SqliteConnection,
    team: TeamId,
    what: What,
    words: &str,
    within: Option<PlaceId>,
) -> sqlx::Result<Vec<Stand>> {
    let mut stands = store::stands(db, team, None, Some(words), within, OFFERED).await?;
    if matches!(what, What::Broken | What::Lost) {
        stands.retain(|stand| stand.in_use() > 0);
    }
    Ok(stands)
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
