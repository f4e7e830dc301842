//! Cases for netting.

use proptest::prelude::*;

use super::*;
use crate::guides::need::need;

type Line = super::Line<char, char>;

fn child(letter: char) -> Child<char, char> {
    if letter.is_uppercase() {
        Child::Assembly(letter)
    } else {
        Child::Part(letter)
    }
}

/// Capital letters are assemblies; no parent is the kit.
fn line(parent: impl Into<Option<char>>, letter: char, quantity: u64) -> Line {
    Line {
        parent: parent.into(),
        child: child(letter),
        basis: Basis::Each,
        quantity,
    }
}

fn on_hand(pieces: &[(char, u64)]) -> BTreeMap<Child<char, char>, u64> {
    pieces.iter().map(|(c, n)| (child(*c), *n)).collect()
}

fn found(netted: &[Netted<char, char>], letter: char) -> (usize, u64, u64) {
    let one = netted
        .iter()
        .find(|one| one.child == child(letter))
        .expect("it is listed");
    (one.level, one.gross, one.net)
}

fn name(child: Child<char, char>) -> String {
    match child {
        Child::Part(letter) | Child::Assembly(letter) => letter.to_string(),
    }
}

#[test]
fn an_assembly_on_hand_covers_what_is_in_it() {
    let lines = [
        line(None, 'A', 4),
        line('A', 'h', 2),
        line('A', 'B', 1),
        line('B', 'h', 3),
        line(None, 'h', 1),
    ];
    let netted = net(&lines, &on_hand(&[('A', 1), ('B', 2), ('h', 4)])).unwrap();
    assert_eq!(found(&netted, 'A'), (0, 4, 3));
    assert_eq!(found(&netted, 'B'), (1, 3, 1));
    // 3 A × 2, 1 B × 3, and 1 by itself; at its lowest level.
    assert_eq!(found(&netted, 'h'), (2, 10, 6));
    let order: Vec<char> = netted
        .iter()
        .map(|one| name(one.child).chars().next().unwrap())
        .collect();
    assert_eq!(order, ['A', 'B', 'h']);
}

#[test]
fn more_on_hand_than_asked_for_is_no_refusal_and_helps_nothing_else() {
    let lines = [line(None, 'A', 2), line('A', 'h', 5), line(None, 'g', 1)];
    let netted = net(&lines, &on_hand(&[('A', 9), ('z', 3)])).unwrap();
    assert_eq!(found(&netted, 'A'), (0, 2, 0));
    assert_eq!(found(&netted, 'h'), (1, 0, 0));
    assert_eq!(found(&netted, 'g'), (0, 1, 1));
    assert_eq!(found(&netted, 'z'), (0, 0, 0), "not on the list");
}

#[test]
fn a_for_all_line_asks_for_its_share() {
    let all = |quantity| Line {
        basis: Basis::All,
        ..line('A', 't', quantity)
    };
    let lines = [line(None, 'A', 4), all(10)];
    for (there, expected) in [(0, 10), (1, 8), (2, 5), (3, 3), (4, 0)] {
        let netted = net(&lines, &on_hand(&[('A', there)])).unwrap();
        assert_eq!(found(&netted, 't').1, expected, "{there} on hand");
    }

    // The shares of several periods add up to the whole, and two kits need twice as much.
    let wanted = [(1, 1), (2, 3), (4, 4)].map(|(period, pieces)| Wanted {
        child: child('A'),
        period,
        pieces,
    });
    let records = plan(&lines, &BTreeMap::new(), &wanted, 4).unwrap();
    assert_eq!(records[1].gross, [3, 7, 0, 10]);

    let refused = plan(&[all(10)], &BTreeMap::new(), &wanted, 4).unwrap_err();
    assert_eq!(refused, NettingRefused::NotInTheKit('A'));
    assert_eq!(
        refused.in_words(name),
        "'A' is not in the kit, so what is listed for all of them together cannot be shared out."
    );
}

#[test]
fn what_holds_itself_is_refused_by_name() {
    let lines = [
        line(None, 'A', 1),
        line('A', 'B', 1),
        line('B', 'C', 1),
        line('C', 'B', 1),
    ];
    let refused = net(&lines, &BTreeMap::new()).unwrap_err();
    assert_eq!(
        refused.in_words(name),
        "'C' holds 'B', which holds 'C' again."
    );
}

#[test]
fn what_cannot_be_counted_is_refused() {
    let lines = [line(None, 'A', 3), line('A', 'h', 1)];
    let with = |stock: Stock, wanted: &[Wanted<char, char>]| {
        let stock = BTreeMap::from([(child('h'), stock)]);
        plan(&lines, &stock, wanted, 3)
    };
    let want = |period, pieces| Wanted {
        child: child('A'),
        period,
        pieces,
    };
    let too_many = |letter| Err(NettingRefused::TooMany(child(letter)));
    let of = |on_hand, receipts: &[(usize, u64)]| Stock {
        on_hand,
        receipts: receipts.to_vec(),
        lead: 0,
    };
    assert!(with(Stock::default(), &[want(1, MOST)]).is_ok());
    assert_eq!(
        with(Stock::default(), &[want(1, MOST), want(3, 1)]),
        too_many('A')
    );
    assert_eq!(with(of(MOST + 1, &[]), &[]), too_many('h'));
    assert_eq!(with(of(MOST, &[(2, 1)]), &[]), too_many('h'));
    assert_eq!(with(of(1, &[(1, u64::MAX)]), &[]), too_many('h'));
    for (period, receipt) in [(0, 1), (4, 1), (1, 0), (1, 4)] {
        let refused = with(of(0, &[(receipt, 1)]), &[want(period, 1)]).unwrap_err();
        assert!(
            matches!(refused, NettingRefused::NoSuchPeriod { periods: 3, .. }),
            "{refused:?}"
        );
    }
    for periods in [0, MOST_PERIODS + 1] {
        let refused = plan(&lines, &BTreeMap::new(), &[], periods).unwrap_err();
        assert_eq!(refused, NettingRefused::TooManyPeriods);
    }
    let heavy = [line(None, 'A', MOST), line('A', 'h', 2)];
    let refused = net(&heavy, &BTreeMap::new()).unwrap_err();
    assert_eq!(
        refused.in_words(name),
        "There are more pieces of 'h' than can be counted."
    );
}

#[test]
fn what_should_have_been_ordered_before_the_plan_begins_is_late() {
    let lines = [line(None, 'A', 1), line('A', 'h', 2)];
    let lead = |lead| Stock {
        lead,
        ..Stock::default()
    };
    let stock = BTreeMap::from([(child('A'), lead(2)), (child('h'), lead(3))]);
    let wanted = [2, 3, 7].map(|period| kit_wanted_in(&lines, period)[0]);
    let records = plan(&lines, &stock, &wanted, 7).unwrap();
    assert_eq!(records[0].net, [0, 1, 1, 0, 0, 0, 1]);
    assert_eq!(records[0].releases, [2, 0, 0, 0, 1, 0, 0]);
    assert_eq!(
        records[0].late,
        [Late {
            needed_in: 2,
            pieces: 1,
            periods_late: 1
        }]
    );
    assert_eq!(records[1].gross, [4, 0, 0, 0, 2, 0, 0]);
    assert_eq!(records[1].releases, [4, 2, 0, 0, 0, 0, 0]);
    assert_eq!(
        records[1].late,
        [Late {
            needed_in: 1,
            pieces: 4,
            periods_late: 3
        }]
    );
}

#[test]
fn what_arrives_after_it_was_lacking_is_left_over() {
    let lines = [line(None, 'h', 1)];
    let stock = BTreeMap::from([(
        child('h'),
        Stock {
            on_hand: 1,
            receipts: vec![(3, 5), (3, 1)],
            lead: 1,
        },
    )]);
    let wanted = [(2, 3), (4, 7)].map(|(period, pieces)| Wanted {
        child: child('h'),
        period,
        pieces,
    });
    let record = &plan(&lines, &stock, &wanted, 4).unwrap()[0];
    assert_eq!(record.receipts, [0, 0, 6, 0]);
    assert_eq!(record.on_hand, [1, -2, 4, -3]);
    // 2 are lacking in period 2; they are there in period 4, where then only 1 more is lacking.
    assert_eq!(record.net, [0, 2, 0, 1]);
    assert_eq!(record.releases, [2, 0, 1, 0]);
}

/// Lists without cycles: each assembly holds only those after it.
fn lists() -> impl Strategy<Value = Vec<Line>> {
    let letters = ['A', 'B', 'C', 'D', 'p', 'q', 'r'];
    prop::collection::vec((0..5_usize, 0..7_usize, 1..4_u64, any::<bool>()), 1..16).prop_map(
        move |drawn| {
            drawn
                .into_iter()
                .filter(|(parent, child, ..)| *parent == 0 || parent <= child)
                .map(|(parent, child, quantity, all)| Line {
                    basis: if all { Basis::All } else { Basis::Each },
                    ..line(
                        parent.checked_sub(1).map(|at| letters[at]),
                        letters[child],
                        quantity,
                    )
                })
                .collect()
        },
    )
}

proptest! {
    #[test]
    fn with_nothing_on_hand_the_net_is_the_need(lines in lists()) {
        let need = need(&lines).unwrap();
        for one in net(&lines, &BTreeMap::new()).unwrap() {
            let needed = match one.child {
                Child::Part(part) => need.part(part),
                Child::Assembly(assembly) => need.assembly(assembly),
            };
            prop_assert_eq!((one.gross, one.net), (needed, needed), "{}", name(one.child));
        }
    }

    #[test]
    fn what_is_got_and_what_is_there_suffice_and_nothing_is_got_in_vain(
        lines in lists(),
        there in prop::array::uniform7(0..30_u64),
    ) {
        let there: BTreeMap<_, _> = "ABCDpqr".chars().map(child).zip(there).collect();
        for one in net(&lines, &there).unwrap() {
            let on_hand = there.get(&one.child).copied().unwrap_or_default();
            prop_assert!(one.net + on_hand >= one.gross);
            prop_assert!(one.net == 0 || one.net + on_hand == one.gross);
        }
    }

    #[test]
    fn in_each_period_enough_has_come(
        lines in lists(),
        on_hand in prop::array::uniform7(0..20_u64),
        receipts in prop::collection::vec((0..7_usize, 1..9_usize, 1..9_u64), 0..5),
        wanted in prop::collection::vec((0..7_usize, 5..9_usize, 1..9_u64), 0..5),
        leads in prop::array::uniform7(0..3_usize),
    ) {
        let children: Vec<_> = "ABCDpqr".chars().map(child).collect();
        let mut stock: BTreeMap<_, _> = BTreeMap::new();
        for at in 0..7 {
            let receipts = receipts
                .iter()
                .filter(|(of, ..)| *of == at)
                .map(|(_, period, pieces)| (*period, *pieces))
                .collect();
            stock.insert(children[at], Stock { on_hand: on_hand[at], receipts, lead: leads[at] });
        }
        let wanted: Vec<_> = wanted
            .iter()
            .map(|(of, period, pieces)| Wanted { child: children[*of], period: *period, pieces: *pieces })
            .collect();
        let records = match plan(&lines, &stock, &wanted, 8) {
            Ok(records) => records,
            Err(refused) => {
                prop_assert!(matches!(refused, NettingRefused::NotInTheKit(_)), "{refused:?}");
                return Ok(());
            }
        };
        for record in records {
            let of = |list: &[u64]| list.iter().sum::<u64>();
            prop_assert_eq!(of(&record.net), of(&record.releases));
            let lead = stock[&record.child].lead;
            let late: u64 = record.late.iter().map(|late| late.pieces).sum();
            for at in 0..8 {
                // What was released up to `lead` periods ago has come; what is late has not.
                let lacking = record.on_hand[at].min(0).unsigned_abs();
                let come: u64 = (at + 1).checked_sub(lead).map_or(0, |n| of(&record.releases[..n]));
                prop_assert!(come + late >= lacking, "{:?}", record);
                prop_assert!(of(&record.net[..=at]) >= lacking);
            }
            let most = record.on_hand.iter().map(|there| there.min(&0).unsigned_abs()).max();
            prop_assert_eq!(Some(of(&record.net)), most, "no more than is lacking");
        }
    }
}
