//! Closing a count: what would be recorded, what goes back to the counter, and what is asked first. Pure.

use std::collections::{BTreeMap, HashMap};

use super::facts::{CountFacts, LineKey, Whose};
use super::settle::Verdict;
use crate::ids::{KitId, PartId, PlaceId};
use crate::ledger::{CountMark, Move, Outside, Stand, State};

/// Why people count.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Purpose {
    Arrival,
    Recount,
}

impl Purpose {
    pub fn word(self) -> &'static str {
        match self {
            Purpose::Arrival => "arrival",
            Purpose::Recount => "recount",
        }
    }

    /// Reads the word back.
    pub fn from_word(word: &str) -> Option<Purpose> {
        [Purpose::Arrival, Purpose::Recount]
            .into_iter()
            .find(|purpose| purpose.word() == word)
    }
}

/// Where what arrives comes from.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum Source {
    Supplier,
    #[sqlx(rename = "brought in")]
    BroughtIn,
}

impl Source {
    pub fn outside(self) -> Outside {
        match self {
            Source::Supplier => Outside::Supplier,
            Source::BroughtIn => Outside::BroughtIn,
        }
    }
}

/// How many pieces of a line the books hold now, by state.
pub type Held = HashMap<LineKey, BTreeMap<State, i64>>;

/// A counted line that closing records.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Posting {
    pub place: PlaceId,
    pub part: PartId,
    /// What was counted.
    pub qty: i64,
    /// What is added to today's balance, or taken from it.
    pub delta: i64,
}

/// A counted line that goes back to the counter.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SentBack {
    pub place: PlaceId,
    pub part: PartId,
    pub why: WhyBack,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WhyBack {
    /// Pieces moved while they were being counted.
    Disturbed { left: i64, came: i64 },
    /// More was taken out since than would have been there.
    TakenSince { taken: i64 },
}

impl WhyBack {
    /// "4 left bag 3 while it was counted".
    pub fn words(&self, place: &str) -> String {
        match *self {
            WhyBack::Disturbed { left, came: 0 } => {
                format!("{left} left {place} while it was counted")
            }
            WhyBack::Disturbed { left: 0, came } => {
                format!("{came} came into {place} while it was counted")
            }
            WhyBack::Disturbed { left, came } => {
                format!("{left} left {place} and {came} came into it while it was counted")
            }
            WhyBack::TakenSince { taken } => format!(
                "{taken} were taken out of {place} since, more than the count says were there"
            ),
        }
    }
}

/// What closing a count would do.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Plan {
    pub postings: Vec<Posting>,
    pub sent_back: Vec<SentBack>,
    /// Due lines without a number.
    pub uncounted: Vec<LineKey>,
    /// Lines whose counts differ and that nobody settled.
    pub differing: Vec<LineKey>,
}

/// Works out what closing would do now. Open stints count as they are.
pub fn plan(facts: &CountFacts, held: &Held) -> Plan {
    let mut plan = Plan::default();
    for line in facts.lines(Whose::All) {
        let key = (line.place, line.part);
        let number = match line.verdict {
            Verdict::Differs | Verdict::ToChoose { .. } => {
                plan.differing.push(key);
                continue;
            }
            Verdict::Uncounted => {
                match line.disturbed.last() {
                    Some(last) => plan.sent_back.push(SentBack {
                        place: line.place,
                        part: line.part,
                        why: WhyBack::Disturbed {
                            left: last.left,
                            came: last.came,
                        },
                    }),
                    None if line.due.is_some() => plan.uncounted.push(key),
                    None => {}
                }
                continue;
            }
            Verdict::Stands { number, .. } => number,
        };
        let now: i64 = held.get(&key).map_or(0, |states| states.values().sum());
        let since: Vec<i64> = facts
            .touches
            .get(&key)
            .into_iter()
            .flatten()
            .filter(|touch| {
                facts
                    .stint(number.stint)
                    .is_some_and(|stint| touch.seq > stint.began)
            })
            .map(|touch| touch.delta)
            .collect();
        let then = now - since.iter().sum::<i64>();
        let delta = number.qty - then;
        if now + delta < 0 {
            plan.sent_back.push(SentBack {
                place: line.place,
                part: line.part,
                why: WhyBack::TakenSince {
                    taken: since
                        .iter()
                        .filter(|delta| **delta < 0)
                        .map(|delta| -delta)
                        .sum(),
                },
            });
            continue;
        }
        plan.postings.push(Posting {
            place: line.place,
            part: line.part,
            qty: number.qty,
            delta,
        });
    }
    plan
}

impl Plan {
    /// The marks that closing leaves: one for each counted line, none counted included.
    pub fn marks(&self, kit: KitId) -> Vec<CountMark> {
        self.postings
            .iter()
            .map(|posting| CountMark {
                part: posting.part,
                kit,
                place: posting.place,
                qty: posting.qty,
            })
            .collect()
    }

    /// The moves that closing makes.
    ///
    /// What an arrival found comes from where the kit comes from, and what it no longer finds goes back
    /// there: it never came. In a recount, what lacks in one place and is over in another was carried
    /// there; only what then remains is missing or was found.
    pub fn moves(&self, kit: KitId, purpose: Purpose, source: Source, held: &Held) -> Vec<Move> {
        let (from, to) = match purpose {
            Purpose::Arrival => (source.outside(), source.outside()),
            Purpose::Recount => (Outside::Found, Outside::Missing),
        };
        let outside = |outside: Outside| Stand::good(kit, outside.place());
        let mut lacking: BTreeMap<PartId, Vec<(Stand, i64)>> = BTreeMap::new();
        for posting in self.postings.iter().filter(|posting| posting.delta < 0) {
            let taken = take(posting, kit, held);
            lacking.entry(posting.part).or_default().extend(taken);
        }
        let mut moves = Vec::new();
        for posting in self.postings.iter().filter(|posting| posting.delta > 0) {
            let stand = Stand::good(kit, posting.place);
            let mut wanted = posting.delta;
            if purpose == Purpose::Recount
                && let Some(stands) = lacking.get_mut(&posting.part)
            {
                while wanted > 0
                    && let Some((elsewhere, there)) = stands.first_mut()
                {
                    let qty = wanted.min(*there);
                    moves.push(Move {
                        part: posting.part,
                        qty,
                        from: *elsewhere,
                        to: Stand {
                            state: elsewhere.state,
                            ..stand
                        },
                    });
                    wanted -= qty;
                    *there -= qty;
                    if *there == 0 {
                        stands.remove(0);
                    }
                }
            }
            if wanted > 0 {
                moves.push(Move {
                    part: posting.part,
                    qty: wanted,
                    from: outside(from),
                    to: stand,
                });
            }
        }
        for (part, stands) in lacking {
            moves.extend(stands.into_iter().map(|(from, qty)| Move {
                part,
                qty,
                from,
                to: outside(to),
            }));
        }
        moves
    }
}

/// The stands from which a lacking line is taken: good pieces first, since nobody says which are gone.
fn take(posting: &Posting, kit: KitId, held: &Held) -> Vec<(Stand, i64)> {
    let mut wanted = -posting.delta;
    let states = held.get(&(posting.place, posting.part));
    let mut taken = Vec::new();
    for (state, there) in states.into_iter().flatten() {
        let qty = wanted.min(*there);
        if qty > 0 {
            let stand = Stand {
                kit,
                place: posting.place,
                state: *state,
            };
            taken.push((stand, qty));
            wanted -= qty;
        }
    }
    taken
}

/// What the keeper answers on the closing page.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Answers {
    /// More boxes are to come; `None`: not answered.
    pub more_to_come: Option<bool>,
    /// Open stints are taken as they are.
    pub as_they_are: bool,
    pub reason: String,
}

/// Why a count stays open, in words for the closing page.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum CloseRefused {
    #[error("the counts of {0} differ: count again from the bag, or choose which count stands")]
    Differing(String),
    #[error(
        "somebody is still counting: wait until they are done, set their count aside, or take it as it is"
    )]
    StillCounting,
    #[error("say whether everything has arrived")]
    NotSaidIfMore,
    #[error("say why {0} left uncounted")]
    NoReason(String),
    #[error("a reason has at most 500 characters")]
    LongReason,
    #[error("something was counted since you opened this page; look at it again")]
    Changed,
    #[error("this count is closed already")]
    Closed,
    #[error("the books changed while closing; look at it again")]
    Books,
}

/// Whether a count may be closed with these answers.
pub fn check(
    plan: &Plan,
    purpose: Purpose,
    open_stints: usize,
    answers: &Answers,
) -> Result<(), CloseRefused> {
    if !plan.differing.is_empty() {
        return Err(CloseRefused::Differing(lines(plan.differing.len(), "")));
    }
    if open_stints > 0 && !answers.as_they_are {
        return Err(CloseRefused::StillCounting);
    }
    if purpose == Purpose::Arrival && answers.more_to_come.is_none() {
        return Err(CloseRefused::NotSaidIfMore);
    }
    let left = plan.uncounted.len() + plan.sent_back.len();
    if left > 0 && answers.reason.trim().is_empty() {
        return Err(CloseRefused::NoReason(lines(left, " is| are")));
    }
    if answers.reason.chars().count() > 500 {
        return Err(CloseRefused::LongReason);
    }
    Ok(())
}

/// "1 line is" or "3 lines are", where `verbs` is " is| are", or "".
fn lines(n: usize, verbs: &str) -> String {
    let (one, many) = verbs.split_once('|').unwrap_or((verbs, verbs));
    match n {
        1 => format!("1 line{one}"),
        n => format!("{n} lines{many}"),
    }
}

#[cfg(test)]
#[path = "close_tests.rs"]
mod tests;
