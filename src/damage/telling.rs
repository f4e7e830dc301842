//! Telling what broke, and accepting what somebody without an account told.

use super::about::{AboutTyped, check_event, check_stand, resolve, resolve_or_say, stand_of};
use super::rules::standing::{Kind, Step};
use super::rules::telling::{Told, Typed, What, read, take};
use super::store::{self, About, By};
use super::{Refused, Slip, slip, wrong};
use crate::app::App;
use crate::clock::Instant;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{DamageId, FormId, PersonId, TeamId};
use crate::ledger::{self, Document, Entry, Move, NotAppended, Outside, Seq, State};
use crate::lent::{self, Phone};
use crate::loans::{self, HasIt, Speaker};
use crate::passes::Helper;
use crate::people::Viewer;
use crate::places::Place;
use crate::receipts::{self, Outcome, Sent};
use crate::{kits, ledger::Stand as At};

/// More reports about one crate than this in an hour are not taken from people without an account.
const STRANGERS_AN_HOUR: i64 = 20;

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
        check_event(tx, &told).await?;
        let has_picture = about.has_picture;
        let (about, said) = resolve_or_say(tx, team, told.what, about).await?;
        if about == About::default() && told.note.is_empty() && said.is_empty() && !has_picture {
            return wrong(
                "part",
                "say what it is about, or leave this empty and write a few words below",
            );
        }
        let id = DamageId::new();
        let now = app.clock.now();
        let by = By {
            member: Some(viewer.person),
            ..By::default()
        };
        store::insert(tx, id, team, about, &told, &said, by, now).await?;
        if about.is_known() && told.what != What::Astray {
            let by = (sent.id, viewer.person, now);
            accept_pieces(tx, id, about, &told, by).await?;
        }
        Ok(format!("/damage/{id}"))
    })
    .await
}

/// Whom a report without an account is credited to.
#[derive(Debug, Clone, Copy)]
pub enum Credit<'a> {
    /// Whoever writes a first name, or none.
    Anybody,
    /// A helper, by first name, at the event of the pass.
    Helper(&'a Helper),
    /// The borrower of the loan the crate is out on.
    Borrower(&'a Phone),
    /// The team of the league that has the crate on loan, and its member who tells it.
    Team(&'a HasIt, &'a Viewer),
}

/// Keeps what somebody without an account tells about a crate. Nothing moves. With a helper pass of the crate's
/// team it is credited to the first name and the event of the pass; with the link of the loan the crate is out on,
/// to the name given there; to the team of the league that has it, without a name.
pub async fn tell_without_account(
    app: &App,
    sent: &Sent,
    place: &Place,
    typed: &Typed,
    about: &AboutTyped,
    credit: Credit<'_>,
) -> Result<(Outcome, DamageId), NotDone<Refused>> {
    let done = receipts::once(app, sent, None, async |tx| {
        let mut told = read(typed).map_err(|wrongs| NotDone::Refused(Refused::Wrong(wrongs)))?;
        let mut by = By::default();
        let mut borrowed_by = None;
        match credit {
            Credit::Helper(helper) if helper.pass.team == place.team => {
                told.reporter.clone_from(&helper.first_name);
                told.event_id = Some(helper.pass.event);
                by.helper = Some(helper.id);
            }
            Credit::Borrower(phone) if lent::has(tx, phone, place.id).await? => {
                told.reporter = phone.named();
                borrowed_by = Some((phone.loan, Speaker::phone(phone.id)));
            }
            Credit::Team(has_it, viewer) => {
                told.reporter.clear();
                by.team = Some(has_it.team);
                borrowed_by = Some((has_it.loan, has_it.speaker(viewer)));
            }
            Credit::Anybody | Credit::Helper(_) | Credit::Borrower(_) => {}
        }
        let (now, then) = (app.clock.now(), format!("/c/{}/thanks", place.code.plain()));
        let lately = store::sent_by_strangers(tx, place.id, now.plus_minutes(-60)).await?;
        if lately >= STRANGERS_AN_HOUR {
            return Err(AppError::TooMany(
                "A lot was reported about this crate just now. Please tell the team in person."
                    .into(),
            )
            .into());
        }
        let mut known = About {
            part: None,
            kit: place.kit,
            place: Some(place.id),
        };
        if !about.stand.is_empty() {
            known = stand_of(&about.stand)
                .filter(|known| known.place.is_some())
                .map_or_else(|| wrong("stand", "choose one of the list"), Ok)?;
            check_stand(tx, place.team, known).await?;
        } else if told.note.is_empty() && told.what != What::Astray && !about.has_picture {
            return wrong(
                "note",
                "choose the part, photograph it, or write a few words about it",
            );
        }
        let id = DamageId::new();
        store::insert(tx, id, place.team, known, &told, "", by, now).await?;
        if let Some((loan, speaker)) = borrowed_by {
            let words = format!("{}, {}", told.what.word(), place.name);
            loans::note_damage(app, tx, loan, &speaker, &words).await?;
        }
        Ok(format!("{then}?of={id}"))
    })
    .await?;
    let id = done
        .location()
        .rsplit_once('=')
        .and_then(|(_, id)| id.parse().ok())
        .ok_or(AppError::NotFound("report"))?;
    Ok((done, id))
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
