//! Handing out, and taking a mistaken handing-out back.

use std::collections::{BTreeMap, HashMap, HashSet};

use sqlx::SqliteConnection;

use super::rules::lending::{self, Borrower, Counted, Lending, Typed};
use super::rules::words::State;
use super::store::{self, NewLine, NewLoan, NewStep};
use super::{append, found, refused};
use crate::app::App;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{KitId, LoanId, PlaceId, TeamId};
use crate::kits::{self, Kit};
use crate::ledger::{self, Document, Entry, Move, PlaceMove, Stand};
use crate::people::Viewer;
use crate::places::{self, Kind, NewPlace, Pieces, Place};
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// A crate or bag that can be lent.
pub struct Offered {
    pub place: Place,
    /// Stands in another that is offered.
    pub inside: Option<PlaceId>,
}

/// What of a kit can be lent.
pub struct Offer {
    /// The outermost crates, boxes and bags, each followed by what stands right in it.
    pub crates: Vec<Offered>,
    /// Pieces of the kit, wherever they lie.
    pub pieces: Vec<Pieces>,
    /// Of these, those in no crate: they leave with the whole kit in a bag of their own.
    loose: HashSet<PlaceId>,
}

/// What was ticked and written; nothing at all means the whole kit.
#[derive(Debug, Clone, Default)]
pub struct Chosen {
    pub crates: Vec<String>,
    /// A number by the name of its field (`Offer::field`).
    pub pieces: BTreeMap<String, String>,
}

impl Offer {
    /// The name of the field for pieces of one kind in one place.
    pub fn field(line: &Pieces) -> String {
        format!(
            "qty-{}-{}-{}",
            line.place.0.simple(),
            line.part.0.simple(),
            line.state.word().replace(' ', "-")
        )
    }

    /// Nothing of the kit can be lent.
    pub fn is_empty(&self) -> bool {
        self.crates.is_empty() && self.pieces.is_empty()
    }
}

/// What a team's kit consists of in crates and loose pieces.
pub async fn offer(db: &mut SqliteConnection, kit: &Kit) -> sqlx::Result<Offer> {
    let all: HashMap<PlaceId, Place> = places::of_team(db, kit.team)
        .await?
        .into_iter()
        .map(|place| (place.id, place))
        .collect();
    let leaves = |place: &Place| place.kind.is_carried() && place.kind != Kind::Heap;
    let holding = store::holds(db, kit.id).await?;
    let of_kit = all.values().filter(|place| place.kit == Some(kit.id));
    let mut outermost: Vec<&Place> = Vec::new();
    let mut loose = HashSet::new();
    for id in holding.iter().copied().chain(of_kit.map(|place| place.id)) {
        let mut root = None;
        let mut next = all.get(&id);
        let mut steps = 0;
        while let Some(place) = next.filter(|_| steps < 50) {
            if leaves(place) {
                root = Some(place);
            }
            next = place.parent.and_then(|parent| all.get(&parent));
            steps += 1;
        }
        match root {
            Some(root) if outermost.iter().all(|known| known.id != root.id) => outermost.push(root),
            Some(_) => {}
            None => {
                loose.insert(id);
            }
        }
    }
    let position = |place: &Place| (place.kind, place.name.clone());
    outermost.sort_by_key(|place| position(place));
    let mut crates = Vec::new();
    for root in outermost {
        crates.push(Offered {
            place: root.clone(),
            inside: None,
        });
        let mut inside: Vec<&Place> = all
            .values()
            .filter(|place| place.parent == Some(root.id) && leaves(place))
            .collect();
        inside.sort_by_key(|place| position(place));
        crates.extend(inside.into_iter().map(|place| Offered {
            place: place.clone(),
            inside: Some(root.id),
        }));
    }
    let mut pieces = Vec::new();
    for place in holding {
        let here = places::pieces(db, place, false).await?;
        pieces.extend(here.into_iter().filter(|line| line.kit == kit.id));
    }
    pieces.sort_by(|a, b| (&a.name, &a.colour, a.place).cmp(&(&b.name, &b.colour, b.place)));
    Ok(Offer {
        crates,
        pieces,
        loose,
    })
}

/// What is to leave.
struct Going {
    crates: Vec<Place>,
    pieces: Vec<(Pieces, i64)>,
    whole_kit: bool,
}

fn going(offer: &Offer, chosen: &Chosen) -> Result<Going, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let mut pieces = Vec::new();
    for line in &offer.pieces {
        let field = Offer::field(line);
        let typed = chosen.pieces.get(&field).map_or("", |text| text.trim());
        if typed.is_empty() {
            continue;
        }
        match typed.parse::<i64>() {
            Ok(0) => {}
            Ok(qty) if (1..=line.qty).contains(&qty) => pieces.push((line.clone(), qty)),
            Ok(_) => wrongs.push(Wrong::at(field, format!("only {} are there", line.qty))),
            Err(_) => wrongs.push(Wrong::at(field, "write a number of pieces")),
        }
    }
    let ticked: HashSet<PlaceId> = chosen
        .crates
        .iter()
        .filter_map(|id| id.parse().ok())
        .collect();
    if !wrongs.is_empty() {
        return Err(wrongs);
    }
    let whole_kit = ticked.is_empty() && pieces.is_empty();
    let crates: Vec<Place> = offer
        .crates
        .iter()
        .filter(|one| match one.inside {
            // What is ticked inside of a ticked crate goes along anyway.
            Some(outer) => ticked.contains(&one.place.id) && !ticked.contains(&outer),
            None => whole_kit || ticked.contains(&one.place.id),
        })
        .map(|one| one.place.clone())
        .collect();
    if whole_kit {
        let loose = offer.pieces.iter();
        pieces = loose
            .filter(|line| offer.loose.contains(&line.place))
            .map(|line| (line.clone(), line.qty))
            .collect();
    }
    if crates.is_empty() && pieces.is_empty() {
        let text = "nothing of this kit is in the books yet; count it first";
        return Err(vec![Wrong::at("", text)]);
    }
    Ok(Going {
        crates,
        pieces,
        whole_kit,
    })
}

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
        Ok(format!("/loans/{id}"))
    })
    .await
}

/// Refuses what is with somebody already.
async fn nobody_has(tx: &mut Tx, going: &Going) -> Result<(), NotDone<Vec<Wrong>>> {
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
    let spot = spot_for(app, tx, viewer, kit.team, borrower, outsider).await?;
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
        let bag = make(app, tx, viewer, kit.team, Kind::Bag, &name, Some(spot)).await?;
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
    for krate in &going.crates {
        for pieces in places::pieces(tx, krate.id, true).await? {
            line += 1;
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
    if going.whole_kit {
        for lacking in kits::statement(tx, kit.id).await? {
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
async fn spot_for(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
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
    let spot = make(app, tx, viewer, lender, Kind::Venue, name, None).await?;
    places::set_with_borrower(tx, spot).await?;
    Ok(spot)
}

pub(super) async fn make(
    app: &App,
    tx: &mut Tx,
    viewer: &Viewer,
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
    places::make(app, tx, viewer.person, &new)
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
