//! Cases for when a kit is free.

use std::slice;

use proptest::prelude::*;

use super::*;

fn day(text: &str) -> Day {
    text.parse().expect("a date")
}

/// A day of March 2027.
fn march(day: i64) -> Day {
    self::day("2027-03-01").plus_days(day - 1)
}

const COUNTING: Around = Around {
    counting_out: 0,
    transport_there: 0,
    transport_back: 0,
    counting_back: 3,
};

fn stay(first: i64, last: impl Into<Option<i64>>, around: Around) -> Stay {
    Stay::new(march(first), last.into().map(march), around).expect("ends after its start")
}

fn loan(id: u32, stay: Stay) -> Taken<u32> {
    Taken {
        id,
        kind: Kind::Loan,
        name: "the Cairn team".to_owned(),
        stay,
    }
}

fn event(id: u32, stay: Stay) -> Taken<u32> {
    Taken {
        id,
        kind: Kind::Event,
        name: "the Pass Day".to_owned(),
        stay,
    }
}

fn request(days: u32, around: Around) -> Request {
    Request {
        days: NonZeroU32::new(days),
        around,
    }
}

#[test]
fn due_back_on_the_14th_is_free_after_the_counting_days() {
    let away = loan(1, stay(3, 14, COUNTING));
    assert_eq!(away.stay.free_from(), Some(march(18)));
    for (first, expected) in [(14, false), (15, false), (17, false), (18, true)] {
        let answer = decide(
            stay(first, 20, Around::default()),
            slice::from_ref(&away),
            None,
        );
        assert_eq!(
            answer == Ok(Granted::Free),
            expected,
            "from {first} March: {answer:?}"
        );
    }
    let no_counting = loan(1, stay(3, 14, Around::default()));
    assert_eq!(no_counting.stay.free_from(), Some(march(15)));
}

#[test]
fn days_on_the_road_and_for_counting_count_on_both_sides() {
    let around = Around {
        counting_out: 1,
        transport_there: 2,
        transport_back: 1,
        counting_back: 1,
    };
    let wanted = stay(10, 12, around);
    assert_eq!(wanted.taken(), Interval::new(march(7), march(15)).unwrap());
    for (other, expected) in [
        (stay(1, 6, Around::default()), true),
        (stay(1, 7, Around::default()), false),
        (stay(1, 3, COUNTING), true),
        (stay(1, 4, COUNTING), false),
        (stay(15, 20, Around::default()), true),
        (stay(14, 20, Around::default()), false),
        (stay(16, 20, around), false),
        (stay(18, 20, around), true),
    ] {
        assert_eq!(
            decide(wanted, &[loan(1, other)], None).is_ok(),
            expected,
            "{}",
            other.in_words()
        );
    }
}

#[test]
fn a_due_date_before_the_start_is_refused() {
    let refused = Stay::new(march(5), Some(march(3)), Around::default());
    assert_eq!(
        refused.unwrap_err().to_string(),
        "due back on 3 Mar 2027 is before it goes out on 5 Mar 2027"
    );
    assert!(Stay::new(march(5), Some(march(5)), Around::default()).is_ok());
}

#[test]
fn days_beyond_the_calendar_are_refused() {
    let far = Around {
        counting_back: u32::MAX,
        transport_back: u32::MAX,
        ..Around::default()
    };
    for (first, last, around) in [
        (march(1), march(2), far),
        (day("9999-12-30"), day("9999-12-31"), Around::default()),
    ] {
        let refused = Stay::new(first, Some(last), around);
        assert_eq!(refused, Err(StayRefused::OutOfCalendar));
    }
    let never = first_free::<u32>(march(1), request(u32::MAX, far), &[]);
    assert_eq!(never, None);
}

#[test]
fn conflicts_are_named_with_their_dates_and_the_first_free_days_are_offered() {
    let taken = [
        event(2, stay(24, 25, Around::default())),
        loan(1, stay(3, 14, COUNTING)),
    ];
    let refused = decide(stay(10, 12, Around::default()), &taken, None).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "From 10 Mar 2027 to 12 Mar 2027 it is not free: lent to the Cairn team from 3 Mar 2027 to \
         14 Mar 2027, free again on 18 Mar 2027. The first free days are from 18 Mar 2027 to \
         20 Mar 2027 (free until 23 Mar 2027)."
    );
    let refused = decide(stay(10, 24, Around::default()), &taken, None).unwrap_err();
    let NotFree::Conflict {
        conflicts,
        first_free: Some(opening),
        ..
    } = &refused
    else {
        panic!("{refused}");
    };
    let ids: Vec<u32> = conflicts.iter().map(|other| other.id).collect();
    assert_eq!(ids, [1, 2], "the earlier one first");
    assert_eq!(opening.stay, stay(26, 40, Around::default()));
    assert!(
        refused
            .to_string()
            .contains("; needed for the Pass Day from 24 Mar 2027 to 25 Mar 2027"),
        "{refused}"
    );
}

#[test]
fn a_loan_with_no_date_to_be_back_by_is_taken_for_ever() {
    let taken = [loan(1, stay(3, None, COUNTING))];
    assert_eq!(
        decide(stay(1, 2, Around::default()), &taken, None),
        Ok(Granted::Free)
    );
    let refused = decide(stay(4000, 4000, Around::default()), &taken, None).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "On 10 Feb 2038 it is not free: lent to the Cairn team from 3 Mar 2027, with no date to be back \
         by, so nobody knows when it is free again. No free days can be offered until that one is back."
    );
    assert_eq!(gaps(march(3), &taken), []);
}

#[test]
fn a_request_with_no_date_to_be_back_by_comes_after_everything() {
    let taken = [event(1, stay(24, 25, Around::default()))];
    let wanted = stay(3, None, Around::default());
    let refused = decide(wanted, &taken, None).unwrap_err();
    assert_eq!(
        refused.to_string(),
        "From 3 Mar 2027, with no date to be back by it is not free: needed for the Pass Day from \
         24 Mar 2027 to 25 Mar 2027, free again on 26 Mar 2027. The first free days are from \
         26 Mar 2027, with no date to be back by."
    );
    let for_ever = [loan(1, stay(24, None, Around::default()))];
    let refused = decide(wanted, &for_ever, None).unwrap_err();
    assert!(
        refused
            .to_string()
            .ends_with("it can only go out after everything else."),
        "{refused}"
    );
}

#[test]
fn the_keeper_may_lend_it_all_the_same_and_says_why() {
    let taken = [loan(1, stay(3, 14, COUNTING))];
    let wanted = stay(15, 16, Around::default());
    assert_eq!(decide(wanted, &taken, Some("  ")), Err(NotFree::NoReason));
    assert_eq!(
        decide(wanted, &taken, Some(" both teams share it ")),
        Ok(Granted::Overridden {
            conflicts: taken.to_vec(),
            reason: "both teams share it".to_owned(),
        })
    );
    let free = stay(18, 19, Around::default());
    assert_eq!(decide(free, &taken, Some("not needed")), Ok(Granted::Free));
}

#[test]
fn a_loan_that_is_late_is_taken_at_least_today() {
    let late = stay(3, 14, COUNTING).not_back_on(march(20)).unwrap();
    assert_eq!(late.free_from(), Some(march(24)));
    let in_time = stay(3, 14, COUNTING).not_back_on(march(10)).unwrap();
    assert_eq!(in_time, stay(3, 14, COUNTING));
    let open = stay(3, None, COUNTING);
    assert_eq!(open.not_back_on(march(20)), Ok(open));
}

#[test]
fn each_gap_that_is_long_enough_is_offered() {
    let taken = [
        loan(1, stay(3, 14, COUNTING)),
        event(2, stay(20, 22, Around::default())),
        loan(3, stay(22, 24, Around::default())),
        event(4, stay(28, 30, Around::default())),
    ];
    let offered = |from: i64, days: u32, around: Around| -> Vec<(i64, i64)> {
        openings(march(from), request(days, around), &taken)
            .map(|opening| {
                let number = |day: Day| march(1).days_until(day) + 1;
                (
                    number(opening.stay.first()),
                    number(opening.stay.last().unwrap()),
                )
            })
            .collect()
    };
    let none = Around::default();
    assert_eq!(offered(1, 1, none), [(1, 1), (18, 18), (25, 25), (31, 31)]);
    assert_eq!(offered(1, 2, none), [(1, 2), (18, 19), (25, 26), (31, 32)]);
    assert_eq!(offered(2, 2, none), [(18, 19), (25, 26), (31, 32)]);
    assert_eq!(offered(1, 3, none), [(25, 27), (31, 33)]);
    assert_eq!(offered(1, 4, none), [(31, 34)]);
    let road = Around {
        transport_there: 1,
        transport_back: 1,
        ..none
    };
    assert_eq!(offered(1, 1, road), [(26, 26), (32, 32)]);
}

/// One loan or event as (first, days of use or none, days before, days after).
type Drawn = (i64, Option<u8>, u8, u8);

fn drawn() -> impl Strategy<Value = Drawn> {
    (
        0_i64..60,
        prop::option::weighted(0.95, 1_u8..8),
        0_u8..3,
        0_u8..4,
    )
}

fn as_stay((first, days, before, after): Drawn) -> Stay {
    let around = Around {
        transport_there: before.into(),
        counting_back: after.into(),
        ..Around::default()
    };
    stay(first, days.map(|days| first + i64::from(days) - 1), around)
}

proptest! {
    #[test]
    fn what_is_offered_never_overlaps_and_nothing_earlier_would_do(
        others in prop::collection::vec(drawn(), 0..8),
        wanted in drawn(),
    ) {
        let taken: Vec<Taken<u32>> = (0..)
            .zip(&others)
            .map(|(id, other)| loan(id, as_stay(*other)))
            .collect();
        let wanted = as_stay(wanted);
        let request = Request::like(wanted);
        let from = wanted.taken().from();

        // Day by day, looking at every day of every stay.
        let is_taken = |day: Day| {
            others.iter().any(|(first, days, before, after)| {
                let at = march(1).days_until(day) + 1;
                let starts = first - i64::from(*before);
                let ends = days.map(|days| first + i64::from(days) + i64::from(*after));
                starts <= at && ends.is_none_or(|ends| at < ends)
            })
        };
        // Nothing drawn begins after day 62 or ends after day 80.
        let fits = |start: i64| {
            let days = wanted.last().map_or(100, |last| wanted.first().days_until(last) + 1);
            let length = days + from.days_until(wanted.first()) + match wanted.last() {
                Some(last) => last.days_until(wanted.free_from().unwrap()) - 1,
                None => 0,
            };
            (start..start + length).all(|at| !is_taken(from.plus_days(at)))
        };
        let expected = (0..150).find(|start| fits(*start)).map(|start| from.plus_days(start));

        let found = first_free(from, request, &taken);
        prop_assert_eq!(found.map(|opening| opening.stay.taken().from()), expected);
        if let Some(opening) = found {
            prop_assert!(conflicts(opening.stay, &taken).is_empty());
            prop_assert!(opening.free.covers(opening.stay.taken()));
        }
        for opening in openings(from, request, &taken) {
            prop_assert_eq!(
                decide(opening.stay, &taken, None),
                Ok(Granted::Free)
            );
        }
        prop_assert_eq!(decide(wanted, &taken, None).is_ok(), fits(0));
    }
}
