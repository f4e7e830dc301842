//! Counting back: a crate taken as it is, or counted blind against what went out.

use std::collections::BTreeMap;

use super::earlier::earlier;
use super::lending::make;
use super::rules::back::{self, Back, Out};
use super::sheet_back::{BackPlace, Said, read, still_out};
use super::store::{self, NewStep};
use super::{Loan, append, found, laying, refused};
use crate::app::App;
use crate::db::Tx;
use crate::error::NotDone;
use crate::ids::{LoanId, PlaceId};
use crate::ledger::{Document, Entry, Move, PlaceMove, Stand, State as PieceState};
use crate::people::Viewer;
use crate::places::rules::words::pieces as pieces_words;
use crate::places::{self, Kind};
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// Takes back crates, counted or as they are. Closes the loan if nothing is out and nothing differs.
pub async fn give_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    loan: LoanId,
    typed: &BTreeMap<String, String>,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        if !loan.is_out() {
            return Err(refused("", "nothing of this loan is out"));
        }
        let out = still_out(tx, loan.id).await?;
        if out.is_empty() {
            return Err(refused("", taken_back_meanwhile(tx, loan.id).await?));
        }
        let parts = store::called(tx).await?;
        let said = read(&out, typed, &parts).map_err(NotDone::Refused)?;
        let counted: Vec<(Out, Back)> = said
            .iter()
            .flat_map(|one| one.counted.iter().cloned())
            .collect();
        let lacks = counted.iter().any(|(out, back)| back.back < out.qty());
        let owed = if lacks {
            owed_bag(app, tx, viewer, &loan).await?
        } else {
            PlaceId::new()
        };
        let (earlier, known_owed) = earlier(tx, &loan).await?;
        let owed = known_owed.unwrap_or(owed);
        let settled = back::settle(&counted, owed, earlier);
        let now = app.clock.now();
        let mut entry = Entry::new(sent.id, "loan came back", viewer.person, now);
        entry.document = Some(Document::Kit(loan.kit));
        entry.moves = settled.moves.clone();
        for one in &said {
            let place = &one.place.place;
            if place.is_loose() {
                continue;
            }
            if place.stood_in != place.stands_in {
                entry.carried.push(PlaceMove {
                    place: place.place,
                    from: place.stands_in,
                    to: place.stood_in,
                });
            }
        }
        loose_go_home(tx, &loan, &said, &mut entry).await?;
        let seq = append(tx, &entry).await?;
        for one in &said {
            let place = &one.place.place;
            store::set_back(tx, loan.id, place.place, now).await?;
            if place.is_loose() {
                places::set_put_away(tx, place.place, Some(now)).await?;
            }
        }
        // What lay loose belongs where it lay, not in the loan's own bag.
        let homes = store::lines_out(tx, loan.id).await?;
        let bags: Vec<PlaceId> = said
            .iter()
            .filter(|one| one.place.place.is_loose())
            .map(|one| one.place.place.place)
            .collect();
        let by_place: Vec<(&BackPlace, Out)> = said
            .iter()
            .flat_map(|one| one.counted.iter().map(|(out, _)| (one.place, out.clone())))
            .collect();
        let told = laying::told(tx, &loan, &by_place, &settled.differences).await?;
        for one in &settled.differences {
            let of = Some((one.part, one.kit));
            let home = homes
                .iter()
                .find(|home| bags.contains(&one.place) && (home.1, home.2) == (one.part, one.kit))
                .map_or(one.place, |home| home.0);
            let line = store::add_difference(tx, loan.id, one.kind, of, home, one.qty, "").await?;
            let key = (one.place, one.part, one.kit);
            if let Some(n) = told.get(&key).filter(|_| one.kind == back::Kind::Missing) {
                let words = "the counts tell it";
                store::lay(tx, (loan.id, line), *n, "counts", words).await?;
            }
        }
        for (line, qty) in &settled.home {
            store::came_home(tx, loan.id, *line, *qty).await?;
        }
        for one in said.iter().filter(|one| !one.not_ours.is_empty()) {
            let place = one.place.place.stood_in.unwrap_or(one.place.place.place);
            let kind = back::Kind::NotOurs;
            store::add_difference(tx, loan.id, kind, None, place, 1, &one.not_ours).await?;
        }
        let words = words(&said);
        let step = NewStep {
            kind: "came back",
            words: &words,
            due_on: None,
            entry: seq,
            of_borrower: false,
            person: viewer.person,
            now,
        };
        store::add_step(tx, loan.id, &step).await?;
        super::closing::close_if_done(app, tx, viewer, loan.id).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}

/// Somebody else was quicker: who, and what was counted.
async fn taken_back_meanwhile(tx: &mut Tx, loan: LoanId) -> sqlx::Result<String> {
    let steps = store::steps(tx, loan).await?;
    let last = steps.iter().rfind(|step| step.kind == "came back");
    Ok(match last {
        Some(step) => format!(
            "{} has written down already what is back ({}). What you wrote is not recorded: look at the loan, and \
             agree there about what differs",
            crate::people::shown_name(&step.person_name),
            step.words
        ),
        None => "nothing of this loan is out".into(),
    })
}

/// "Crate Ridge counted, crate Moss as it is".
fn words(said: &[Said<'_>]) -> String {
    let each: Vec<String> = said
        .iter()
        .map(|one| {
            let pieces: i64 = one.counted.iter().map(|(_, back)| back.back).sum();
            if one.counted.is_empty() {
                format!("{} as it is", one.place.place.name)
            } else {
                format!("{} counted, {}", one.place.place.name, pieces_words(pieces))
            }
        })
        .collect();
    each.join("; ").chars().take(500).collect()
}

/// The place of what is owed on a loan, with the borrower; made when something first lacks.
async fn owed_bag(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
    loan: &Loan,
) -> Result<PlaceId, NotDone<Vec<Wrong>>> {
    let known = store::places(tx, loan.id).await?;
    if let Some(bag) = known.iter().find(|place| place.is_owed()) {
        return Ok(bag.place);
    }
    let name = format!("Owed on loan {}", loan.number);
    let bag = make(
        app,
        tx,
        viewer.person,
        loan.lender,
        Kind::Bag,
        &name,
        loan.spot,
    )
    .await?;
    store::add_place(tx, loan.id, bag, None, "owed").await?;
    Ok(bag)
}

/// Loose pieces go back where they lay. What is left in their bag after what is owed went out of it is
/// dealt to those places in the order in which it left.
async fn loose_go_home(
    tx: &mut Tx,
    loan: &Loan,
    said: &[Said<'_>],
    entry: &mut Entry,
) -> sqlx::Result<()> {
    let Some(one) = said.iter().find(|one| one.place.place.is_loose()) else {
        return Ok(());
    };
    let bag = one.place.place.place;
    let homes = store::lines_out(tx, loan.id).await?;
    for line in &one.place.lines {
        let mut here = line.out.states;
        // What the moves so far do to this bag.
        for one in &entry.moves {
            if one.part != line.out.part || one.from.kit != line.out.kit {
                continue;
            }
            for (at, state) in PieceState::ALL.into_iter().enumerate() {
                if one.from.place == bag && one.from.state == state {
                    here[at] -= one.qty;
                }
                if one.to.place == bag && one.to.state == state {
                    here[at] += one.qty;
                }
            }
        }
        let mine: Vec<_> = homes
            .iter()
            .filter(|home| (home.1, home.2) == (line.out.part, line.out.kit))
            .collect();
        for (nth, home) in mine.iter().enumerate() {
            // The last one takes what is left: pieces from another crate of the loan included.
            let mut room = if nth + 1 == mine.len() {
                i64::MAX
            } else {
                home.3
            };
            for (at, state) in PieceState::ALL.into_iter().enumerate() {
                let qty = room.min(here[at]);
                if qty > 0 {
                    let from = Stand {
                        kit: line.out.kit,
                        place: bag,
                        state,
                    };
                    entry.moves.push(Move {
                        part: line.out.part,
                        qty,
                        from,
                        to: Stand {
                            place: home.0,
                            ..from
                        },
                    });
                    here[at] -= qty;
                    room -= qty;
                }
            }
        }
    }
    Ok(())
}
