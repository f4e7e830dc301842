//! Handing on: the borrower gives crates to somebody else, only with the lender's yes.
//!
//! Each hand has its stretch, from when it got which crates until it gave them on or back, with a count of its
//! own or the word that there was none. What lacks at the count back is laid to a stretch: by the counts where
//! they tell it, else by the keeper, in words.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::lending::spot_for;
use super::rules::lending::{Borrower, borrower};
use super::rules::saying::short;
use super::rules::words::OnwardState;
use super::saying::Speaker;
use super::sheet_back::{BackLine, BackPlace, read_line, still_out};
use super::store::{self, NewNote, NewOnward, Onward, OnwardLine, Side};
use super::{Loan, append, found, refused};
use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{LoanId, PlaceId};
use crate::ledger::{Document, Entry, PlaceMove};
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::text::{fold, tidy};
use crate::web::form::Wrong;

/// What was typed to ask for it.
#[derive(Debug, Clone, Default)]
pub struct OnwardTyped {
    pub to: String,
    pub contact: String,
    pub why: String,
    /// The crates that were ticked.
    pub crates: Vec<String>,
}

/// The borrower asks to hand crates on; what the lender's keeper writes in is agreed to at once. What comes back to
/// the borrower needs no yes either: the lender lent it to them.
pub async fn ask_onward(
    app: &App,
    speaker: &Speaker,
    sent: &Sent,
    loan: LoanId,
    typed: &OnwardTyped,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, speaker.person(), async |tx| {
        let loan = out(tx, loan).await?;
        let teams = store::other_teams(tx, loan.lender).await?;
        let comes_back = fold(&tidy(&typed.to)) == fold(&loan.borrower_name);
        let to = if comes_back {
            Ok(itself(&loan))
        } else {
            borrower(&typed.to, &typed.contact, &teams)
        };
        let mut wrongs = Vec::new();
        let to = match to {
            Ok(to) => Some(to),
            Err(wrong) => {
                let field = if wrong.field == "borrower" {
                    "to"
                } else {
                    "to_contact"
                };
                wrongs.push(Wrong::at(field, wrong.text));
                None
            }
        };
        let why = short(&typed.why, "onward_why").unwrap_or_else(|more| {
            wrongs.extend(more);
            String::new()
        });
        if why.is_empty() && wrongs.iter().all(|wrong| wrong.field != "onward_why") {
            wrongs.push(Wrong::at("onward_why", "say in a word why"));
        }
        let all = store::places(tx, loan.id).await?;
        let places: Vec<_> = all
            .iter()
            .filter(|place| place.back_at.is_none() && !place.is_owed())
            .filter(|place| typed.crates.contains(&place.place.to_string()))
            .collect();
        if places.is_empty() {
            wrongs.push(Wrong::at("crates", "tick what is handed on"));
        }
        let (Some(to), true) = (to, wrongs.is_empty()) else {
            return Err(NotDone::Refused(wrongs));
        };
        let (team, outsider, contact) = match &to {
            Borrower::Team(team) => (Some(*team), "", ""),
            Borrower::Outsider { name, contact } => (None, name.as_str(), contact.as_str()),
        };
        let name = teams
            .iter()
            .find(|(known, _)| Some(*known) == team)
            .map_or(outsider, |(_, name)| name.as_str());
        if let Some(has) = places
            .iter()
            .find(|place| place.holder(&loan.borrower_name) == name)
        {
            return Err(refused("to", format!("they have {} already", has.name)));
        }
        let onwards = store::onwards(tx, loan.id).await?;
        let taken = store::onward_places(tx, loan.id).await?;
        let waits = |n: i64| {
            onwards.iter().any(|one| {
                one.n == n && matches!(one.state, OnwardState::Asked | OnwardState::Agreed)
            })
        };
        if let Some(twice) = places
            .iter()
            .find(|place| taken.iter().any(|(n, id)| *id == place.place && waits(*n)))
        {
            let text = format!(
                "it is asked already whether {} may be handed on",
                twice.name
            );
            return Err(refused("crates", text));
        }
        let n = onwards.last().map_or(0, |last| last.n) + 1;
        let ids: Vec<PlaceId> = places.iter().map(|place| place.place).collect();
        let new = NewOnward {
            n,
            team,
            outsider,
            contact,
            why: &why,
            places: &ids,
            now: app.clock.now(),
        };
        store::add_onward(tx, loan.id, &new).await?;
        let names: Vec<&str> = places.iter().map(|place| place.name.as_str()).collect();
        let words = format!("{} to {name}: {why}", names.join(", "));
        if !comes_back {
            speaker
                .note(app, tx, loan.id, "asked to hand on", &words)
                .await?;
        }
        // Coming back follows the yes by which it left the borrower.
        let earlier = onwards
            .iter()
            .filter(|one| taken.iter().any(|(n, id)| *n == one.n && ids.contains(id)))
            .rfind(|one| one.state == OnwardState::Done)
            .and_then(|one| one.answered_by);
        let says_yes = match (speaker.side, comes_back) {
            (Side::Lender, _) => speaker.person(),
            (_, true) => earlier,
            _ => None,
        };
        let Some(person) = says_yes else {
            return Ok(speaker.then());
        };
        store::answer_onward(tx, loan.id, n, OnwardState::Agreed, "", person).await?;
        Ok(format!("{}/onward/{n}", speaker.then()))
    })
    .await
}

fn itself(loan: &Loan) -> Borrower {
    match loan.borrower {
        Some(team) => Borrower::Team(team),
        None => Borrower::Outsider {
            name: loan.borrower_name.clone(),
            contact: loan.contact.clone(),
        },
    }
}

/// The lender's keeper says yes, or no with a word why.
pub async fn answer_onward(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (loan, n): (LoanId, i64),
    says_yes: bool,
    word: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = out(tx, loan).await?;
        let onward = asked(tx, loan.id, n, &[OnwardState::Asked]).await?;
        let field = format!("word-{n}");
        let word = short(word, &field).map_err(NotDone::Refused)?;
        if !says_yes && word.is_empty() {
            return Err(refused(&field, "say in a word why not"));
        }
        let (state, kind) = if says_yes {
            (OnwardState::Agreed, "may be handed on")
        } else {
            (OnwardState::Declined, "may not be handed on")
        };
        store::answer_onward(tx, loan.id, n, state, &word, viewer.person).await?;
        let words = if word.is_empty() {
            format!("to {}", onward.to)
        } else {
            format!("to {}: {word}", onward.to)
        };
        let lender = Speaker::member(viewer, Side::Lender, loan.id);
        lender.note(app, tx, loan.id, kind, &words).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}

/// It is not handed on after all.
pub async fn drop_onward(
    app: &App,
    speaker: &Speaker,
    sent: &Sent,
    (loan, n): (LoanId, i64),
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, speaker.person(), async |tx| {
        let loan = out(tx, loan).await?;
        let waiting = [OnwardState::Asked, OnwardState::Agreed];
        let onward = asked(tx, loan.id, n, &waiting).await?;
        store::drop_onward(tx, loan.id, n).await?;
        let words = format!("to {}", onward.to);
        speaker
            .note(app, tx, loan.id, "not handed on", &words)
            .await?;
        Ok(speaker.then())
    })
    .await
}

/// The values of the choice on the form.
pub const COUNTED: &str = "counted";
pub const NOT_COUNTED: &str = "not";

/// It was handed on: counted line by line, or not, and why. The books follow the lender's yes, so the entry bears
/// the name of whoever gave it.
pub async fn handed_on(
    app: &App,
    speaker: &Speaker,
    sent: &Sent,
    (loan, n): (LoanId, i64),
    typed: &BTreeMap<String, String>,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, speaker.person(), async |tx| {
        let loan = out(tx, loan).await?;
        let onward = asked(tx, loan.id, n, &[OnwardState::Agreed]).await?;
        let places = going(tx, loan.id, n).await?;
        if places.is_empty() {
            return Err(refused("", "all of it came back meanwhile"));
        }
        let (not_counted, lines) = read(&places, n, typed).map_err(NotDone::Refused)?;
        let outsider = if onward.team.is_some() {
            ""
        } else {
            &onward.to
        };
        let actor = onward.answered_by.ok_or(AppError::NotFound("answer"))?;
        let spot = spot_for(app, tx, actor, loan.lender, onward.team, outsider).await?;
        let now = app.clock.now();
        let mut entry = Entry::new(sent.id, "loan handed on", actor, now);
        entry.document = Some(Document::Kit(loan.kit));
        for place in &places {
            entry.carried.push(PlaceMove {
                place: place.place.place,
                from: place.place.stands_in,
                to: Some(spot),
            });
        }
        let seq = append(tx, &entry).await?;
        store::hand_on(tx, (loan.id, n), spot, now, &not_counted, &lines).await?;
        let names: Vec<&str> = places
            .iter()
            .map(|place| place.place.name.as_str())
            .collect();
        let words = format!("{} to {}", names.join(", "), onward.to);
        let new = NewNote {
            kind: "handed on",
            words: &words,
            entry: seq,
            side: speaker.side,
            by: speaker.by,
            now,
        };
        store::add_note(tx, loan.id, &new).await?;
        Ok(speaker.then())
    })
    .await
}

/// What of an asking is still out, with its lines to count.
pub async fn going(
    db: &mut SqliteConnection,
    loan: LoanId,
    n: i64,
) -> sqlx::Result<Vec<BackPlace>> {
    let asked = store::onward_places(db, loan).await?;
    let mut places = still_out(db, loan).await?;
    places.retain(|place| asked.contains(&(n, place.place.place)));
    Ok(places)
}

/// Reads the count at the handing on: why there was none, or the lines.
fn read(
    places: &[BackPlace],
    n: i64,
    typed: &BTreeMap<String, String>,
) -> Result<(String, Vec<OnwardLine>), Vec<Wrong>> {
    let text = |field: &str| typed.get(field).map_or("", |text| text.trim());
    match text("counted") {
        NOT_COUNTED => {
            let why = short(text("not_counted"), "not_counted")?;
            if why.is_empty() {
                let wrong = Wrong::at("not_counted", "say why it was not counted");
                return Err(vec![wrong]);
            }
            Ok((why, Vec::new()))
        }
        COUNTED => {
            let mut wrongs = Vec::new();
            let mut lines = Vec::new();
            for line in places.iter().flat_map(|place| &place.lines) {
                match read_line(line, text(&line.field), "") {
                    Ok(back) => lines.push(counted(line, n, back.back)),
                    Err(wrong) => wrongs.push(wrong),
                }
            }
            if wrongs.is_empty() {
                Ok((String::new(), lines))
            } else {
                Err(wrongs)
            }
        }
        _ => Err(vec![Wrong::at("counted", "say whether it was counted")]),
    }
}

fn counted(line: &BackLine, n: i64, qty: i64) -> OnwardLine {
    OnwardLine {
        n,
        place: line.out.place,
        part: line.out.part,
        kit: line.out.kit,
        qty,
    }
}

pub(super) async fn out(tx: &mut Tx, loan: LoanId) -> Result<Loan, NotDone<Vec<Wrong>>> {
    let loan = found(tx, loan).await?;
    if loan.is_out() {
        Ok(loan)
    } else {
        Err(refused("", "nothing of this loan is out"))
    }
}

async fn asked(
    tx: &mut Tx,
    loan: LoanId,
    n: i64,
    states: &[OnwardState],
) -> Result<Onward, NotDone<Vec<Wrong>>> {
    let all = store::onwards(tx, loan).await?;
    let one = all.into_iter().find(|one| one.n == n);
    let one = one.ok_or(AppError::NotFound("asking"))?;
    if states.contains(&one.state) {
        Ok(one)
    } else {
        Err(refused("", "this was answered or done already"))
    }
}
