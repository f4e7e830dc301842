//! Counting back: a crate taken as it is, or counted blind against what went out.

use std::collections::BTreeMap;

use sqlx::SqliteConnection;

use super::earlier::earlier;
use super::lending::make;
use super::rules::back::{self, Back, Out};
use super::rules::borrowed::{Called, pieces as pieces_of};
use super::store::{self, LoanPlace, NewStep};
use super::{Loan, append, found, laying, refused};
use crate::app::App;
use crate::db::Tx;
use crate::error::NotDone;
use crate::ids::{LoanId, PlaceId};
use crate::ledger::{Document, Entry, Move, PlaceMove, Stand, State as PieceState};
use crate::people::Viewer;
use crate::places::rules::words::{named, part, pieces as pieces_words};
use crate::places::{self, Kind};
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// A crate that is still out, with its bags.
pub struct BackPlace {
    pub place: LoanPlace,
    pub lines: Vec<BackLine>,
}

/// A line to count back: pieces of a part in a bag.
pub struct BackLine {
    pub out: Out,
    pub name: String,
    /// "Bag 2"; empty where they lie loose in the crate.
    pub bag: String,
    /// The names of its two fields.
    pub field: String,
    pub broken_field: String,
}

impl BackLine {
    /// "Peg, black (B-4), in Bag 2".
    pub fn named(&self) -> String {
        if self.bag.is_empty() {
            self.name.clone()
        } else {
            format!("{}, in {}", self.name, self.bag)
        }
    }
}

impl BackPlace {
    /// The field that says what happened to the crate.
    pub fn field(&self) -> String {
        format!("crate-{}", self.place.place.0.simple())
    }

    /// The field for pieces that belong into another crate of the loan.
    pub fn also_field(&self) -> String {
        format!("also-{}", self.place.place.0.simple())
    }

    /// The field for what is in it and not ours.
    pub fn not_ours_field(&self) -> String {
        format!("others-{}", self.place.place.0.simple())
    }

    /// Its lines bag by bag; first those that lie in no bag.
    pub fn bags(&self) -> impl Iterator<Item = &[BackLine]> {
        self.lines.chunk_by(|a, b| a.bag == b.bag)
    }

    /// Where the loose pieces of a loan lay does not matter here: they are in its bag.
    pub fn title(&self) -> String {
        format!("{} ({})", self.place.name, self.place.code)
    }
}

/// The values of a crate's field; "" means that it is still out.
pub const AS_IT_IS: &str = "as it is";
pub const COUNTED: &str = "counted";

/// What of a loan is still out, as the books have it.
pub async fn still_out(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<BackPlace>> {
    let mut out = Vec::new();
    for place in store::places(db, loan).await? {
        if place.back_at.is_some() || place.is_owed() {
            continue;
        }
        let inside: BTreeMap<PlaceId, String> = places::below(db, place.place)
            .await?
            .into_iter()
            .map(|bag| (bag.id, named(&bag)))
            .collect();
        let mut lines: Vec<BackLine> = Vec::new();
        for pieces in places::pieces(db, place.place, true).await? {
            let at = PieceState::ALL
                .iter()
                .position(|state| *state == pieces.state)
                .unwrap_or(0);
            let known = lines.iter_mut().find(|line| {
                (line.out.place, line.out.part, line.out.kit)
                    == (pieces.place, pieces.part, pieces.kit)
            });
            if let Some(line) = known {
                line.out.states[at] += pieces.qty;
                continue;
            }
            let mut states = [0; 4];
            states[at] = pieces.qty;
            let key = format!(
                "{}-{}-{}",
                pieces.place.0.simple(),
                pieces.part.0.simple(),
                pieces.kit.0.simple()
            );
            lines.push(BackLine {
                out: Out {
                    place: pieces.place,
                    part: pieces.part,
                    kit: pieces.kit,
                    states,
                },
                name: part(&pieces.name, &pieces.colour, &pieces.number),
                bag: inside.get(&pieces.place).cloned().unwrap_or_default(),
                field: format!("back-{key}"),
                broken_field: format!("broken-{key}"),
            });
        }
        lines.sort_by(|a, b| (&a.bag, &a.name).cmp(&(&b.bag, &b.name)));
        out.push(BackPlace { place, lines });
    }
    Ok(out)
}

/// What the form says of one crate that is back.
struct Said<'a> {
    place: &'a BackPlace,
    counted: Vec<(Out, Back)>,
    not_ours: String,
}

fn read<'a>(
    out: &'a [BackPlace],
    typed: &BTreeMap<String, String>,
    parts: &[Called],
) -> Result<Vec<Said<'a>>, Vec<Wrong>> {
    let text = |field: &str| typed.get(field).map_or("", |text| text.trim());
    let mut wrongs = Vec::new();
    let mut said = Vec::new();
    for place in out {
        let not_ours = text(&place.not_ours_field()).to_owned();
        if not_ours.chars().count() > 500 {
            let wrong = Wrong::at(place.not_ours_field(), "at most 500 characters");
            wrongs.push(wrong);
        }
        match text(&place.field()) {
            // Numbers are never dropped without a word.
            chosen if chosen != COUNTED && has_numbers(place, typed) => wrongs.push(Wrong::at(
                place.field(),
                format!(
                    "{}: you wrote numbers for it. Choose that it was counted, or take them away",
                    place.place.name
                ),
            )),
            AS_IT_IS => said.push(Said {
                place,
                counted: Vec::new(),
                not_ours,
            }),
            COUNTED => {
                let mut counted = Vec::new();
                for line in &place.lines {
                    match read_line(line, text(&line.field), text(&line.broken_field)) {
                        Ok(back) => counted.push((line.out.clone(), back)),
                        Err(wrong) => wrongs.push(wrong),
                    }
                }
                match also(place, text(&place.also_field()), out, parts) {
                    Ok(more) => counted.extend(more),
                    Err(wrong) => wrongs.push(wrong),
                }
                said.push(Said {
                    place,
                    counted,
                    not_ours,
                });
            }
            _ => {}
        }
    }
    if said.is_empty() && wrongs.is_empty() {
        let field = out.first().map_or_else(String::new, BackPlace::field);
        wrongs.push(Wrong::at(field, "say which of it is back"));
    }
    if wrongs.is_empty() {
        Ok(said)
    } else {
        Err(wrongs)
    }
}

fn has_numbers(place: &BackPlace, typed: &BTreeMap<String, String>) -> bool {
    let is_typed = |field: &str| typed.get(field).is_some_and(|text| !text.trim().is_empty());
    place
        .lines
        .iter()
        .any(|line| is_typed(&line.field) || is_typed(&line.broken_field))
        || is_typed(&place.also_field())
}

/// Reads pieces that lie in a crate and belong into another one of the loan: "2 Edge foot", one kind a line.
fn also(
    place: &BackPlace,
    typed: &str,
    out: &[BackPlace],
    parts: &[Called],
) -> Result<Vec<(Out, Back)>, Wrong> {
    let field = place.also_field();
    let pieces = pieces_of(typed, parts).map_err(|wrong| Wrong::at(&field, wrong.text))?;
    let mut all: Vec<(Out, Back)> = Vec::new();
    for one in pieces {
        let is_it = |line: &&BackLine| Some(line.out.part) == one.part;
        if let Some(line) = place.lines.iter().find(is_it) {
            let text = format!("{} belongs here: count it on its line", line.name);
            return Err(Wrong::at(field, text));
        }
        let mut lines = out.iter().flat_map(|other| &other.lines);
        let Some(line) = lines.find(is_it) else {
            let text = format!(
                "no other crate of this loan that is out holds “{}”. If it is not ours, say so below",
                one.words
            );
            return Err(Wrong::at(field, text));
        };
        let found = Out {
            place: place.place.place,
            states: [0; 4],
            ..line.out.clone()
        };
        let back = Back {
            back: one.qty,
            broken: 0,
        };
        match all.iter_mut().find(|(known, _)| known.part == found.part) {
            Some((_, known)) => known.back += back.back,
            None => all.push((found, back)),
        }
    }
    Ok(all)
}

/// Reads a line. Blank is not zero: a counted crate has a number on every line.
pub(super) fn read_line(line: &BackLine, back: &str, broken: &str) -> Result<Back, Wrong> {
    let a_number = || format!("{}: write a number of pieces", line.name);
    let number = |text: &str| {
        text.parse::<i64>()
            .ok()
            .filter(|n| (0..=1_000_000).contains(n))
    };
    if back.is_empty() {
        return Err(Wrong::at(
            &line.field,
            format!("{}: write how many you counted, 0 for none", line.name),
        ));
    }
    let Some(back) = number(back) else {
        return Err(Wrong::at(&line.field, a_number()));
    };
    let broken = if broken.is_empty() {
        Some(0)
    } else {
        number(broken)
    };
    match broken {
        Some(broken) if broken <= back => Ok(Back { back, broken }),
        Some(_) => Err(Wrong::at(
            &line.broken_field,
            format!("{}: no more can be broken than are back", line.name),
        )),
        None => Err(Wrong::at(&line.broken_field, a_number())),
    }
}

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
