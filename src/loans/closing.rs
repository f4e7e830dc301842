//! What both sides agree about, closing a loan, and pieces that come home later.

use super::rules::back::{Agreement, Kind};
use super::rules::words::State;
use super::store::{self, Difference, NewStep};
use super::{Loan, append, found, refused};
use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, LoanId, PlaceId};
use crate::ledger::{Document, Entry, Move, Outside, Stand, State as PieceState};
use crate::people::Viewer;
use crate::places;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// What was written about a difference.
#[derive(Debug, Clone, Default)]
pub struct Agreed {
    pub agreement: String,
    pub pays: String,
    pub lender_name: String,
    pub borrower_name: String,
}

/// Notes what both sides agreed about a difference, with a name from each.
pub async fn agree_about(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (loan, line): (LoanId, i64),
    agreed: &Agreed,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        let difference = store::difference(tx, loan.id, line)
            .await?
            .ok_or(AppError::NotFound("difference"))?;
        if !loan.is_out() {
            return Err(refused("", "the loan is closed; its agreements stand"));
        }
        let mut wrongs = Vec::new();
        let field = |name: &str| format!("{name}-{line}");
        let agreement = Agreement::from_word(difference.kind, &agreed.agreement);
        if agreement.is_none() {
            wrongs.push(Wrong::at(field("agreement"), "choose what you agreed"));
        }
        if !["nobody", "lender", "borrower"].contains(&agreed.pays.as_str()) {
            wrongs.push(Wrong::at(field("pays"), "say who pays, or nobody"));
        }
        let name = |wrongs: &mut Vec<Wrong>, name: &str, text: &str| {
            let text = text.trim().to_owned();
            if text.is_empty() || text.chars().count() > 80 {
                wrongs.push(Wrong::at(field(name), "a name from each side"));
            }
            text
        };
        let lender = name(&mut wrongs, "lender_name", &agreed.lender_name);
        let borrower = name(&mut wrongs, "borrower_name", &agreed.borrower_name);
        let Some(agreement) = agreement.filter(|_| wrongs.is_empty()) else {
            return Err(NotDone::Refused(wrongs));
        };
        let what = (agreement.word(), agreed.pays.as_str());
        store::agree(tx, loan.id, line, what, (&lender, &borrower)).await?;
        let words = format!("{}: {}", difference.tell(), agreement.told(difference.kind));
        let step = NewStep {
            kind: "agreed about",
            words: &words,
            due_on: None,
            entry: None,
            of_borrower: false,
            person: viewer.person,
            now: app.clock.now(),
        };
        store::add_step(tx, loan.id, &step).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}

/// Closes a loan: what is still owed becomes missing, or used up where it is wear.
pub async fn close(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    loan: LoanId,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        if !loan.is_out() {
            return Err(refused("", "this loan is not open"));
        }
        if loan.still_out > 0 {
            return Err(refused(
                "",
                "some of it is still out; count that back first",
            ));
        }
        let differences = store::differences(tx, loan.id).await?;
        if differences.iter().any(|one| !is_settled(one)) {
            let text = "agree about every difference first, with a name from each side";
            return Err(refused("", text));
        }
        let is_laid = |one: &Difference| {
            one.laid_to.is_some() || one.is_home() || !one.kind.wants_agreement()
        };
        let handed = super::laying::handed(tx, loan.id).await?;
        if !handed.is_empty() && !differences.iter().all(is_laid) {
            let text = "it was handed on: say of every difference in whose time it came about";
            return Err(refused("", text));
        }
        post(app, tx, viewer, sent.id, &loan, &differences).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}

/// Whether nothing has to be agreed about a difference any more.
pub(super) fn is_settled(difference: &Difference) -> bool {
    !difference.kind.wants_agreement() || !difference.agreement.is_empty() || difference.is_home()
}

/// Closes a loan of which everything is back and about which nothing is to be agreed.
pub(super) async fn close_if_done(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
    loan: LoanId,
) -> Result<(), NotDone<Vec<Wrong>>> {
    let loan = found(tx, loan).await?;
    let differences = store::differences(tx, loan.id).await?;
    // What was agreed about and did not come home is closed by the keeper's word alone, and so is a loan of which
    // the borrower said that something differs.
    let waits = differences
        .iter()
        .any(|one| one.kind.wants_agreement() && !one.is_home());
    let doubted = loan.doubted_at.is_some();
    if loan.still_out == 0 && !waits && !doubted {
        post(app, tx, viewer, FormId::new(), &loan, &[]).await?;
    }
    Ok(())
}

async fn post(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
    id: FormId,
    loan: &Loan,
    differences: &[Difference],
) -> Result<(), NotDone<Vec<Wrong>>> {
    let now = app.clock.now();
    let known = store::places(tx, loan.id).await?;
    let owed = known.iter().find(|place| place.is_owed());
    let mut entry = Entry::new(id, "loan closed", viewer.person, now);
    entry.document = Some(Document::Kit(loan.kit));
    if let Some(owed) = owed {
        let mut held = places::pieces(tx, owed.place, false).await?;
        for one in differences {
            let (Kind::Missing, Some(part), Some(kit)) = (one.kind, one.part, one.kit) else {
                continue;
            };
            let outside = match one.agreement.as_str() {
                "wear" => Outside::UsedUp,
                _ => Outside::Missing,
            };
            let mut left = one.qty - one.came_home;
            for line in held
                .iter_mut()
                .filter(|line| (line.part, line.kit) == (part, kit))
            {
                let qty = left.min(line.qty);
                if qty > 0 {
                    let from = Stand {
                        kit,
                        place: owed.place,
                        state: line.state,
                    };
                    entry.moves.push(Move {
                        part,
                        qty,
                        from,
                        to: Stand {
                            place: outside.place(),
                            ..from
                        },
                    });
                    line.qty -= qty;
                    left -= qty;
                }
            }
        }
    }
    for one in differences {
        if let (Kind::Extra, Some(part), Some(kit), "ours") =
            (one.kind, one.part, one.kit, one.agreement.as_str())
            && !one.is_home()
        {
            let place = home(tx, one.place).await?;
            entry.moves.push(Move {
                part,
                qty: one.qty - one.came_home,
                from: Stand::good(kit, Outside::Found.place()),
                to: Stand::good(kit, place),
            });
        }
    }
    let seq = append(tx, &entry).await?;
    if let Some(owed) = owed {
        store::set_back(tx, loan.id, owed.place, now).await?;
        places::set_put_away(tx, owed.place, Some(now)).await?;
    }
    store::set_state(tx, loan.id, State::Closed).await?;
    let step = NewStep {
        kind: "closed",
        words: "",
        due_on: None,
        entry: seq,
        of_borrower: false,
        person: viewer.person,
        now,
    };
    store::add_step(tx, loan.id, &step).await?;
    Ok(())
}

/// Where pieces of a difference go: its place, or what that stands in if it was put away meanwhile, as the
/// bag of loose pieces is.
async fn home(tx: &mut Tx, place: PlaceId) -> Result<PlaceId, NotDone<Vec<Wrong>>> {
    let way = places::way(tx, place).await?;
    way.iter()
        .find(|step| !step.put_away && !step.with_borrower)
        .map(|step| step.id)
        .ok_or_else(|| refused("", "where it belongs was put away; bring that back first"))
}

/// Pieces that were missing come home: found by the borrower or by us, or replaced. Reopens nothing.
pub async fn come_home(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    (loan, line): (LoanId, i64),
    typed: &str,
    is_replacement: bool,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        let difference = store::difference(tx, loan.id, line)
            .await?
            .ok_or(AppError::NotFound("difference"))?;
        let field = format!("home-{line}");
        let open = difference.qty - difference.came_home;
        let (Kind::Missing, Some(part), Some(kit)) =
            (difference.kind, difference.part, difference.kit)
        else {
            return Err(refused(&field, "nothing of this is missing"));
        };
        let qty = match typed.trim().parse::<i64>() {
            Ok(qty) if (1..=open).contains(&qty) => qty,
            Ok(_) if open == 0 => return Err(refused(&field, "all of it came home already")),
            Ok(qty) if qty > 0 => {
                return Err(refused(&field, format!("at most {open} can come home")));
            }
            _ => return Err(refused(&field, "write how many came home, at least 1")),
        };
        let now = app.clock.now();
        let to = home(tx, difference.place).await?;
        let mut entry = Entry::new(sent.id, "loan came home", viewer.person, now);
        entry.document = Some(Document::Kit(loan.kit));
        let known = store::places(tx, loan.id).await?;
        let owed = known
            .iter()
            .find(|place| place.is_owed() && place.back_at.is_none());
        match owed {
            // Not closed yet: they are still with the borrower in the books.
            Some(owed) => {
                let mut left = qty;
                for held in places::pieces(tx, owed.place, false).await? {
                    let some = left.min(held.qty);
                    if (held.part, held.kit) == (part, kit) && some > 0 {
                        let from = Stand {
                            kit,
                            place: owed.place,
                            state: held.state,
                        };
                        entry.moves.push(Move {
                            part,
                            qty: some,
                            from,
                            to: Stand { place: to, ..from },
                        });
                        left -= some;
                    }
                }
            }
            None => {
                let outside = match (is_replacement, difference.agreement.as_str()) {
                    (true, _) => Outside::BroughtIn,
                    (false, "wear") => Outside::UsedUp,
                    (false, _) => Outside::Missing,
                };
                entry.moves.push(Move {
                    part,
                    qty,
                    from: Stand {
                        kit,
                        place: outside.place(),
                        state: PieceState::Good,
                    },
                    to: Stand::good(kit, to),
                });
            }
        }
        let seq = append(tx, &entry).await?;
        store::came_home(tx, loan.id, line, qty).await?;
        let words = format!("{qty} {}", difference.part_name);
        let step = NewStep {
            kind: "came home",
            words: &words,
            due_on: None,
            entry: seq,
            of_borrower: false,
            person: viewer.person,
            now,
        };
        store::add_step(tx, loan.id, &step).await?;
        if loan.is_out() {
            close_if_done(app, tx, viewer, loan.id).await?;
        }
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}
