//! Handing out, and taking a mistaken handing-out back.

use std::collections::HashSet;

use super::drafting::was_counted;
use super::free;
use super::offering::{Chosen, Going, going, offer};
use super::rules::lending::{self, Borrower, Counted, Lending, Typed};
use super::rules::words::State;
use super::store::{self, NewLine, NewLoan, NewStep};
use super::{append, found, refused};
use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{KitId, LoanId, PersonId, PlaceId, TeamId};
use crate::kits::{self, Kit};
use crate::ledger::{self, Document, Entry, Move, PlaceMove, Stand};
use crate::people::Viewer;
use crate::places::{self, Kind, NewPlace};
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// A handing-out is written down later, but not years later.
const LONGEST_AGO_DAYS: i64 = 366;

/// Hands out a kit, some of its crates or some pieces; with `agreed`, what was asked for and agreed to.
pub async fn lend(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    agreed: Option<LoanId>,
    typed: &Typed,
    chosen: &Chosen,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let kit = kits::find(tx, kit)
            .await?
            .ok_or(AppError::NotFound("kit"))?;
        let agreed = match agreed {
            Some(loan) => Some(found(tx, loan).await?),
            None => None,
        };
        let mut typed = typed.clone();
        if let Some(loan) = &agreed {
            if loan.state != State::Agreed || loan.kit != kit.id {
                return Err(refused("", "this loan does not wait to be handed out"));
            }
            typed.borrower = loan.borrower_name.clone();
        }
        let teams = store::other_teams(tx, kit.team).await?;
        let last = kits::last_count(tx, kit.id).await?.map(|last| last.id);
        let lending = lending::read(&typed, &teams, last).map_err(NotDone::Refused)?;
        let offer = offer(tx, &kit).await?;
        let going = going(&offer, chosen).map_err(NotDone::Refused)?;
        nobody_has(tx, &going).await?;
        if let Counted::AsClosed(count) = lending.counted {
            was_counted(tx, count, &going).await?;
        }
        let today = viewer.today(app);
        if lending.out_on > today {
            return Err(refused(
                "out_on",
                "that day is to come: write the handing out down when it happens. Days to come are asked for \
                 and agreed to",
            ));
        }
        if lending.out_on.days_until(today) > LONGEST_AGO_DAYS {
            let text = "that is more than a year ago";
            return Err(refused("out_on", text));
        }
        let promised = agreed.as_ref().is_some_and(|loan| {
            // What was agreed to was looked at then.
            loan.out_on <= lending.out_on && lending.due_on <= loan.due_on
        });
        let wanted = free::Wanted {
            out_on: lending.out_on,
            due_on: lending.due_on,
            loan: agreed.as_ref().map(|loan| loan.id),
            whole: going.whole_kit,
            today,
            by_lender: true,
            despite: &typed.despite,
        };
        let despite = if promised {
            String::new()
        } else {
            free::granted(tx, &kit, wanted, "despite").await?
        };
        let id = match &agreed {
            Some(loan) => loan.id,
            None => LoanId::new(),
        };
        hand_out(
            app,
            tx,
            viewer,
            sent,
            (id, agreed.is_some()),
            &kit,
            &lending,
            &going,
        )
        .await?;
        if !despite.is_empty() {
            store::set_despite(tx, id, &despite).await?;
        }
        store::drop_drafts(tx, kit.id, viewer.person).await?;
        Ok(format!("/loans/{id}"))
    })
    .await
}

/// Refuses what is with somebody already.
pub(super) async fn nobody_has(tx: &mut Tx, going: &Going) -> Result<(), NotDone<Vec<Wrong>>> {
    let wanted: Vec<PlaceId> = going
        .crates
        .iter()
        .map(|place| place.id)
        .chain(going.pieces.iter().map(|(line, _)| line.place))
        .collect();
    match store::holder(tx, &wanted).await? {
        None => Ok(()),
        Some(holder) => Err(refused(
            "",
            format!(
                "{} is out: {} has it until {} (loan {})",
                holder.place_name,
                holder.borrower_name,
                holder.due_on.words(),
                holder.number
            ),
        )),
    }
}

#[expect(clippy::too_many_arguments, reason = "one act, told once")]
async fn hand_out(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
    sent: &Sent,
    (id, was_agreed): (LoanId, bool),
    kit: &Kit,
    lending: &Lending,
    going: &Going,
) -> Result<(), NotDone<Vec<Wrong>>> {
    let now = app.clock.now();
    let (borrower, outsider, contact) = match &lending.borrower {
        Borrower::Team(team) => (Some(*team), "", ""),
        Borrower::Outsider { name, contact } => (None, name.as_str(), contact.as_str()),
    };
    let (counted, not_counted) = match &lending.counted {
        Counted::AsClosed(count) => (Some(*count), ""),
        Counted::Not(why) => (None, why.as_str()),
    };
    let spot = spot_for(app, tx, viewer.person, kit.team, borrower, outsider).await?;
    let mut new = NewLoan {
        id,
        number: 0,
        lender: kit.team,
        kit: kit.id,
        borrower,
        outsider,
        contact,
        purpose: &lending.purpose,
        out_on: lending.out_on,
        due_on: lending.due_on,
        state: State::Out,
        counted,
        not_counted,
        whole_kit: going.whole_kit,
        spot: Some(spot),
        now,
    };
    if was_agreed {
        store::hand_out(tx, &new).await?;
    } else {
        new.number = store::next_number(tx).await?;
        store::insert(tx, &new).await?;
    }
    write_down(tx, id, kit, going).await?;

    let mut entry = Entry::new(sent.id, "loan handed out", viewer.person, now);
    entry.document = Some(Document::Kit(kit.id));
    for krate in &going.crates {
        store::add_place(tx, id, krate.id, krate.parent, "crate").await?;
        entry.carried.push(PlaceMove {
            place: krate.id,
            from: krate.parent,
            to: Some(spot),
        });
    }
    if !going.pieces.is_empty() {
        let number = found(tx, id).await?.number;
        let name = format!("Bag of loan {number}");
        let bag = make(
            app,
            tx,
            viewer.person,
            kit.team,
            Kind::Bag,
            &name,
            Some(spot),
        )
        .await?;
        store::add_place(tx, id, bag, None, "loose").await?;
        entry.moves = going
            .pieces
            .iter()
            .map(|(line, qty)| Move {
                part: line.part,
                qty: *qty,
                from: Stand {
                    kit: line.kit,
                    place: line.place,
                    state: line.state,
                },
                to: Stand {
                    kit: line.kit,
                    place: bag,
                    state: line.state,
                },
            })
            .collect();
    }
    let seq = append(tx, &entry).await?;
    let step = NewStep {
        kind: "handed out",
        words: "",
        due_on: Some(lending.due_on),
        entry: seq,
        of_borrower: false,
        person: viewer.person,
        now,
    };
    store::add_step(tx, id, &step).await?;
    Ok(())
}

/// Writes down what leaves, as the books have it, and what the kit lacks now if all of it leaves.
async fn write_down(tx: &mut Tx, loan: LoanId, kit: &Kit, going: &Going) -> sqlx::Result<()> {
    let mut line = 0;
    let mut parts = HashSet::new();
    for krate in &going.crates {
        for pieces in places::pieces(tx, krate.id, true).await? {
            line += 1;
            parts.insert(pieces.part);
            let new = NewLine {
                place: Some(pieces.place),
                part: pieces.part,
                kit: pieces.kit,
                state: pieces.state.word(),
                qty: pieces.qty,
                loose: false,
            };
            store::add_line(tx, loan, line, &new).await?;
        }
    }
    for (pieces, qty) in &going.pieces {
        line += 1;
        let new = NewLine {
            place: Some(pieces.place),
            part: pieces.part,
            kit: pieces.kit,
            state: pieces.state.word(),
            qty: *qty,
            loose: true,
        };
        store::add_line(tx, loan, line, &new).await?;
    }
    // A kit that nobody counted into the books yet is not short of everything.
    if line > 0 {
        for lacking in kits::statement(tx, kit.id).await? {
            // Of a part of the kit, what lacks of the parts that go.
            if !going.whole_kit && !parts.contains(&lacking.part) {
                continue;
            }
            let short = lacking.facts.short_now();
            if short > 0 {
                line += 1;
                let new = NewLine {
                    place: None,
                    part: lacking.part,
                    kit: kit.id,
                    state: "short",
                    qty: short,
                    loose: false,
                };
                store::add_line(tx, loan, line, &new).await?;
            }
        }
    }
    Ok(())
}

/// The place that stands for a borrower among the lender's places; made at the first loan.
pub(super) async fn spot_for(
    app: &App,
    tx: &mut Tx,
    actor: PersonId,
    lender: TeamId,
    borrower: Option<TeamId>,
    outsider: &str,
) -> Result<PlaceId, NotDone<Vec<Wrong>>> {
    if let Some(known) = store::spot(tx, lender, borrower, outsider).await? {
        return Ok(known);
    }
    let teams = store::other_teams(tx, lender).await?;
    let name = teams
        .iter()
        .find(|(team, _)| Some(*team) == borrower)
        .map_or(outsider, |(_, name)| name.as_str());
    let spot = make(app, tx, actor, lender, Kind::Venue, name, None).await?;
    places::set_with_borrower(tx, spot).await?;
    Ok(spot)
}

pub(super) async fn make(
    app: &App,
    tx: &mut Tx,
    actor: PersonId,
    team: TeamId,
    kind: Kind,
    name: &str,
    parent: Option<PlaceId>,
) -> Result<PlaceId, NotDone<Vec<Wrong>>> {
    let new = NewPlace {
        id: PlaceId::new(),
        kind,
        team,
        kit: None,
        name: name.into(),
        make: String::new(),
        tare_g: None,
        parent,
        usual_parent: None,
        note: String::new(),
    };
    places::make(app, tx, actor, &new)
        .await
        .map_err(|not_done| match not_done {
            NotDone::Refused(why) => refused("", why),
            NotDone::Failed(error) => NotDone::Failed(error),
        })
}

/// Takes a mistaken handing-out back, while nothing of it has come back.
pub async fn take_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    loan: LoanId,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        let places = store::places(tx, loan.id).await?;
        let was_handed_on = places.iter().any(|place| place.handed_to.is_some());
        if loan.is_out() && was_handed_on {
            let text = "some of it was handed on already; count it back instead";
            return Err(refused("", text));
        }
        if !loan.is_out() || places.iter().any(|place| place.back_at.is_some()) {
            let text = "some of it came back already; count back the rest instead";
            return Err(refused("", text));
        }
        let steps = store::steps(tx, loan.id).await?;
        let handed_out = steps.iter().rev().find(|step| step.kind == "handed out");
        let entry = match handed_out.and_then(|step| step.entry) {
            Some(seq) => ledger::find(tx, seq).await?,
            None => None,
        };
        let first = entry.ok_or(AppError::NotFound("entry"))?;
        let now = app.clock.now();
        let mut entry = Entry::new(sent.id, "loan taken back", viewer.person, now);
        entry.document = first.document;
        entry.corrects = Some(first.seq);
        entry.moves = first
            .moves
            .iter()
            .rev()
            .map(|one| Move {
                from: one.to,
                to: one.from,
                ..*one
            })
            .collect();
        entry.carried = first
            .carried
            .iter()
            .rev()
            .map(|one| PlaceMove {
                place: one.place,
                from: one.to,
                to: one.from,
            })
            .collect();
        let seq = append(tx, &entry).await?;
        for place in places {
            store::set_back(tx, loan.id, place.place, now).await?;
            if place.is_loose() {
                places::set_put_away(tx, place.place, Some(now)).await?;
            }
        }
        store::set_state(tx, loan.id, State::TakenBack).await?;
        let step = NewStep {
            kind: "taken back",
            words: "",
            due_on: None,
            entry: seq,
            of_borrower: false,
            person: viewer.person,
            now,
        };
        store::add_step(tx, loan.id, &step).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}
