//! Cases of closing.

use super::super::facts::{Due, StintFacts, StintState, Touch};
use super::super::tally::Standing;
use super::*;
use crate::ids::StintId;
use crate::ledger::Seq;

struct Bag {
    facts: CountFacts,
    held: Held,
    place: PlaceId,
    part: PartId,
}

/// A bag with one line: due 12, the books hold `held` of it now.
fn bag(held: i64) -> Bag {
    let (place, part) = (PlaceId::new(), PartId::new());
    let mut facts = CountFacts::default();
    facts.due.insert(
        (place, part),
        Due {
            position: 0,
            qty: 12,
        },
    );
    let states = BTreeMap::from([(State::Good, held)]);
    Bag {
        facts,
        held: HashMap::from([((place, part), states)]),
        place,
        part,
    }
}

impl Bag {
    fn counted(mut self, qty: i64, began: Seq, ended: Option<Seq>) -> Self {
        let id = StintId::new();
        let state = match ended {
            Some(_) => StintState::Done,
            None => StintState::Open,
        };
        self.facts.stints.push(StintFacts {
            id,
            place: self.place,
            state,
            began,
            ended,
        });
        self.facts.totals.insert(
            (id, self.part),
            Standing {
                total: Some(qty),
                doubted: false,
            },
        );
        self
    }

    fn moved(mut self, seq: Seq, delta: i64) -> Self {
        self.facts
            .touches
            .entry((self.place, self.part))
            .or_default()
            .push(Touch {
                seq,
                corrects: None,
                delta,
            });
        self
    }

    fn plan(&self) -> Plan {
        plan(&self.facts, &self.held)
    }

    fn delta(&self) -> Option<i64> {
        self.plan().postings.first().map(|posting| posting.delta)
    }
}

#[test]
fn counted_minus_the_books_at_the_stints_point_is_recorded() {
    let cases = [
        // Nothing in the books: all of it arrives.
        (bag(0).counted(12, 5, Some(6)), Some(12)),
        (bag(0).counted(0, 5, Some(6)), Some(0)),
        // An earlier delivery is in the books.
        (bag(9).counted(12, 5, Some(6)), Some(3)),
        (bag(12).counted(9, 5, Some(6)), Some(-3)),
        // 4 were carried out after it was counted: 12 were there then, and 12 were counted.
        (bag(8).counted(12, 5, Some(6)).moved(7, -4), Some(0)),
        (bag(8).counted(13, 5, Some(6)).moved(7, -4), Some(1)),
        // An open stint is taken as it is.
        (bag(0).counted(3, 5, None), Some(3)),
        // Two counts agree; the later one has its own point.
        (
            bag(8)
                .counted(8, 5, Some(6))
                .moved(7, -4)
                .counted(8, 7, Some(8)),
            Some(0),
        ),
    ];
    for (at, (bag, delta)) in cases.into_iter().enumerate() {
        assert_eq!(bag.delta(), delta, "case {at}");
    }
}

#[test]
fn disturbed_lines_go_back_to_the_counter() {
    let cases = [
        (
            bag(8).counted(12, 5, Some(7)).moved(6, -4),
            "4 left bag 3 while it was counted",
        ),
        (
            bag(16).counted(12, 5, None).moved(6, 4),
            "4 came into bag 3 while it was counted",
        ),
        (
            bag(13).counted(12, 5, None).moved(6, -3).moved(7, 4),
            "3 left bag 3 and 4 came into it while it was counted",
        ),
        // 12 in the books, 5 counted, then 8 carried out: more than the 5 that were there.
        (
            bag(4).counted(5, 5, Some(6)).moved(7, -8),
            "8 were taken out of bag 3 since, more than the count says were there",
        ),
    ];
    for (bag, words) in cases {
        let plan = bag.plan();
        assert_eq!(plan.postings, []);
        assert_eq!(plan.sent_back[0].why.words("bag 3"), words);
    }
}

#[test]
fn moves_come_from_and_go_to_the_right_places() {
    let kit = KitId::new();
    let cases = [
        (
            bag(0).counted(12, 5, Some(6)),
            Purpose::Arrival,
            "in supplier 12",
        ),
        (
            bag(12).counted(9, 5, Some(6)),
            Purpose::Arrival,
            "out supplier 3",
        ),
        (
            bag(9).counted(12, 5, Some(6)),
            Purpose::Recount,
            "in found 3",
        ),
        (
            bag(12).counted(9, 5, Some(6)),
            Purpose::Recount,
            "out missing 3",
        ),
        (bag(12).counted(12, 5, Some(6)), Purpose::Recount, ""),
    ];
    for (bag, purpose, expected) in cases {
        let moves = bag.plan().moves(kit, purpose, Source::Supplier, &bag.held);
        let words: Vec<String> = moves
            .iter()
            .map(|one| {
                let (way, outside) = if one.from.place == bag.place {
                    ("out", one.to.place)
                } else {
                    ("in", one.from.place)
                };
                let outside = match Outside::from_place(outside) {
                    Some(Outside::Supplier) => "supplier",
                    Some(Outside::Found) => "found",
                    Some(Outside::Missing) => "missing",
                    _ => "elsewhere",
                };
                format!("{way} {outside} {}", one.qty)
            })
            .collect();
        assert_eq!(words.join(" "), expected);
    }
}

#[test]
fn in_a_recount_what_lacks_here_and_is_over_there_was_carried() {
    let kit = KitId::new();
    let (one, other, part) = (PlaceId::new(), PlaceId::new(), PartId::new());
    let held: Held = HashMap::from([
        (
            (one, part),
            BTreeMap::from([(State::Good, 1), (State::Broken, 4)]),
        ),
        ((other, part), BTreeMap::from([(State::Good, 2)])),
    ]);
    let posting = |place, qty, delta| Posting {
        place,
        part,
        qty,
        delta,
    };
    let plan = Plan {
        postings: vec![posting(one, 2, -3), posting(other, 4, 2)],
        ..Plan::default()
    };
    let moves = plan.moves(kit, Purpose::Recount, Source::Supplier, &held);
    let at = |place, state| Stand { kit, place, state };
    let expected = [
        (1, at(one, State::Good), at(other, State::Good)),
        (1, at(one, State::Broken), at(other, State::Broken)),
        (
            1,
            at(one, State::Broken),
            Stand::good(kit, Outside::Missing.place()),
        ),
    ]
    .map(|(qty, from, to)| Move {
        part,
        qty,
        from,
        to,
    });
    assert_eq!(moves, expected);
}

#[test]
fn closing_asks_before_it_closes() {
    let counted = bag(0).counted(12, 5, Some(6)).plan();
    let uncounted = bag(0).plan();
    let differing = bag(0)
        .counted(12, 5, Some(6))
        .counted(11, 6, Some(7))
        .plan();
    let answers = |more_to_come, as_they_are, reason: &str| Answers {
        more_to_come,
        as_they_are,
        reason: reason.into(),
    };
    let no_reason = Err(CloseRefused::NoReason("1 line is".into()));
    use Purpose::{Arrival, Recount};
    let cases = [
        (
            &counted,
            Arrival,
            0,
            answers(Some(false), false, ""),
            Ok(()),
        ),
        (
            &counted,
            Arrival,
            0,
            answers(None, false, ""),
            Err(CloseRefused::NotSaidIfMore),
        ),
        (&counted, Recount, 0, answers(None, false, ""), Ok(())),
        (
            &counted,
            Arrival,
            1,
            answers(Some(true), false, ""),
            Err(CloseRefused::StillCounting),
        ),
        (&counted, Arrival, 1, answers(Some(true), true, ""), Ok(())),
        (
            &uncounted,
            Arrival,
            0,
            answers(Some(true), false, " "),
            no_reason,
        ),
        (
            &uncounted,
            Arrival,
            0,
            answers(Some(true), false, "box 2 is not here"),
            Ok(()),
        ),
        (
            &uncounted,
            Arrival,
            0,
            answers(Some(true), false, &"x".repeat(501)),
            Err(CloseRefused::LongReason),
        ),
        (
            &differing,
            Arrival,
            0,
            answers(Some(false), true, "anyway"),
            Err(CloseRefused::Differing("1 line".into())),
        ),
    ];
    for (plan, purpose, open, answers, expected) in cases {
        assert_eq!(
            check(plan, purpose, open, &answers),
            expected,
            "{answers:?}"
        );
    }
}
