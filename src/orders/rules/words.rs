//! Order lines as sentences. Pure.

use super::standing::{Kind, Standing, Step};
use crate::clock::Day;

/// How a line stands: "2 wait for the next order.".
pub fn stands(standing: &Standing, today: Day) -> String {
    match standing {
        Standing::Waiting { left: 1 } => "1 waits for the next order.".into(),
        Standing::Waiting { left } => format!("{left} wait for the next order."),
        Standing::Ordered { left, from, by } => {
            let are = if *left == 1 { "is" } else { "are" };
            match by {
                Some(by) if *by < today => format!(
                    "{left} {are} ordered from {from}, expected by {} and not here: ask where {}.",
                    by.words(),
                    if *left == 1 { "it is" } else { "they are" }
                ),
                Some(by) => format!(
                    "{left} {are} ordered from {from}, expected by {}.",
                    by.words()
                ),
                None => format!("{left} {are} ordered from {from}."),
            }
        }
        Standing::Arrived => "All of it arrived.".into(),
        Standing::CalledOff => "Called off.".into(),
    }
}

/// The same as part of a list: "2 for the next order", "2 ordered".
pub fn briefly(standing: &Standing) -> Option<String> {
    match standing {
        Standing::Waiting { left } => Some(format!("{left} for the next order.")),
        Standing::Ordered { left, .. } => Some(format!("{left} ordered.")),
        Standing::Arrived => Some("What was ordered arrived.".into()),
        Standing::CalledOff => None,
    }
}

/// One step as the rest of a sentence that begins with a name: "ordered it from Kolm Works".
pub fn step(step: &Step) -> String {
    let day = step.day.words();
    match step.kind {
        Kind::Ordered => match step.by {
            Some(by) => format!(
                "ordered it from {} on {day}, expected by {}",
                step.words,
                by.words()
            ),
            None => format!("ordered it from {} on {day}", step.words),
        },
        Kind::Arrived => format!("wrote down that {} arrived on {day}", step.qty),
        Kind::CalledOff => "called it off".into(),
        Kind::TakenBack => "took a step back".into(),
    }
}

/// Whether a kit that needs so many and has so many good ones still wants all that is open of a part; if not,
/// why. A kit without a list never says so: nobody knows what a spares box needs.
///
/// Doubtful pieces may fail any day, so they are not reckoned with.
pub fn needless(need: i64, good: i64, open: i64) -> Option<String> {
    let lacking = (need - good).max(0);
    if need <= 0 || open <= lacking {
        return None;
    }
    let has = format!("The kit needs {need} and has {good} good");
    let wanted = match open {
        1 => "1 is wanted or on order".to_owned(),
        open => format!("{open} are wanted or on order"),
    };
    let what = match lacking {
        0 => "it lacks none".to_owned(),
        lacking => format!("it lacks only {lacking}"),
    };
    Some(format!(
        "{has}: {what}, and {wanted}. That may be more than is needed now, unless it fills up your spares."
    ))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_order_may_have_become_needless() {
        for (need, good, open, expected) in [
            (20, 18, 2, None),
            (20, 17, 2, None),
            (0, 4, 2, None),
            (
                20,
                20,
                1,
                Some(
                    "The kit needs 20 and has 20 good: it lacks none, and 1 is wanted or on order.",
                ),
            ),
            (
                20,
                19,
                2,
                Some(
                    "The kit needs 20 and has 19 good: it lacks only 1, and 2 are wanted or on order.",
                ),
            ),
        ] {
            let found = needless(need, good, open);
            match expected {
                None => assert_eq!(found, None, "{need} {good} {open}"),
                Some(start) => {
                    let found = found.expect(start);
                    assert!(found.starts_with(start), "{found}");
                }
            }
        }
    }

    #[test]
    fn how_a_line_stands_is_a_sentence() {
        let day = |text: &str| text.parse::<Day>().expect("a day");
        let ordered = |left, by: Option<&str>| Standing::Ordered {
            left,
            from: "Kolm Works".into(),
            by: by.map(day),
        };
        for (standing, expected) in [
            (Standing::Waiting { left: 1 }, "1 waits for the next order."),
            (ordered(2, None), "2 are ordered from Kolm Works."),
            (
                ordered(1, Some("2027-03-20")),
                "1 is ordered from Kolm Works, expected by 20 Mar 2027.",
            ),
            (
                ordered(2, Some("2027-03-01")),
                "2 are ordered from Kolm Works, expected by 1 Mar 2027 and not here: ask where they are.",
            ),
            (Standing::CalledOff, "Called off."),
        ] {
            assert_eq!(stands(&standing, day("2027-03-04")), expected);
        }
    }
}
