//! Reports and their steps as sentences.

use super::standing::{Kind, Line, Standing, Step};
use crate::clock::Day;
use crate::kits::rules::plural;

/// How a report stands, as a sentence.
pub fn stands(standing: Standing, sent_on: Day, today: Day) -> String {
    match standing {
        Standing::NotSent => "Not sent after all.".into(),
        Standing::Sent => format!("Sent on {}, not answered yet.", sent_on.words()),
        Standing::Answered { lacks: 0 } => "Answered.".into(),
        Standing::Answered { lacks } => {
            format!("Answered; {} not promised.", are(lacks))
        }
        Standing::Promised { pieces, by: None } => {
            format!("Answered; {} promised, nobody said by when.", are(pieces))
        }
        Standing::Promised {
            pieces,
            by: Some(by),
        } if by < today => format!(
            "Late: {} promised, some since {}, and not here.",
            are(pieces),
            by.words()
        ),
        Standing::Promised {
            pieces,
            by: Some(by),
        } => format!(
            "Answered; {} promised, the first by {}.",
            are(pieces),
            by.words()
        ),
        Standing::AllArrived => "All of it arrived. Close it.".into(),
        Standing::Closed => "Closed.".into(),
    }
}

fn are(pieces: i64) -> String {
    match pieces {
        1 => "1 piece is".into(),
        _ => format!("{pieces} pieces are"),
    }
}

/// What became of a line: "3 promised by 20 Mar 2027, 1 arrived".
pub fn line(line: &Line) -> String {
    let mut words = Vec::new();
    match (line.promised, line.by) {
        (Some(0), _) => words.push("will not come".to_owned()),
        (Some(promised), Some(by)) => words.push(format!("{promised} promised by {}", by.words())),
        (Some(promised), None) => words.push(format!("{promised} promised")),
        (None, _) => {}
    }
    if line.arrived > 0 {
        words.push(format!("{} arrived", line.arrived));
    }
    if words.is_empty() {
        words.push("nothing said yet".to_owned());
    }
    words.join(", ")
}

/// One step as the rest of a sentence that begins with a name: "wrote down that it was sent".
pub fn step(step: &Step) -> String {
    let day = step.day.words();
    match step.kind {
        Kind::Sent => format!("wrote down that it was sent on {day}"),
        Kind::Answered => format!("wrote down an answer of {day}"),
        Kind::Arrived => format!("wrote down what arrived on {day}"),
        Kind::Closed => "closed it".into(),
        Kind::TakenBack => "took a step back".into(),
    }
}

/// "3 lines short, 1 over".
pub fn summary(lines: &[Line]) -> String {
    let short = lines.iter().filter(|line| line.short > 0).count();
    format!(
        "{short} {} short, {} over",
        plural(short, "line", "lines"),
        lines.len() - short
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn late_is_said_first() {
        let day = |text: &str| text.parse::<Day>().unwrap();
        let promised = Standing::Promised {
            pieces: 2,
            by: Some(day("2027-03-20")),
        };
        let sent = day("2027-03-03");
        assert_eq!(
            stands(promised, sent, day("2027-03-20")),
            "Answered; 2 pieces are promised, the first by 20 Mar 2027."
        );
        assert_eq!(
            stands(promised, sent, day("2027-03-21")),
            "Late: 2 pieces are promised, some since 20 Mar 2027, and not here."
        );
    }
}
