//! Reports and decisions as sentences. Pure.

use super::standing::{Kind, Standing, Step};
use super::telling::What;
use crate::ledger::State;

/// What a report is about: "2 Peg, black broken", "1 Lamp lost", "Something broken".
pub fn headline(what: What, part: Option<&str>, qty: i64) -> String {
    match (what, part) {
        (What::Astray, _) => "A crate is out of place".into(),
        (what, Some(part)) => format!("{qty} {part} {}", what.word()),
        (what, None) if qty == 1 => format!("Something {}", what.word()),
        (what, None) => format!("{qty} pieces {}", what.word()),
    }
}

/// How a report stands, as a sentence.
pub fn stands(what: What, standing: Standing) -> String {
    match standing {
        Standing::Waiting => "Reported. Nobody of the team has looked at it yet.".into(),
        Standing::Joined(_) => "Joined with another report of the same pieces.".into(),
        Standing::SetAside => "Set aside.".into(),
        Standing::Settled if what == What::Found => "Found, and back in its place.".into(),
        Standing::Settled => "Settled.".into(),
        Standing::Open { left, state: None } => match left {
            1 => "1 piece is being looked for.".into(),
            _ => format!("{left} pieces are being looked for."),
        },
        Standing::Open {
            left,
            state: Some(state),
        } => {
            let state = match state {
                State::Doubtful => "doubtful and still in use",
                other => other.word(),
            };
            match left {
                1 => format!("1 piece is {state} and waits for a decision."),
                _ => format!("{left} pieces are {state} and wait for a decision."),
            }
        }
    }
}

/// One step as the rest of a sentence that begins with a name: "wrote 2 of them off".
pub fn step(step: &Step) -> String {
    let qty = step.qty;
    match (step.kind, step.state) {
        (Kind::Accepted, Some(state)) => format!("accepted it: {qty} {}", state.word()),
        (Kind::Accepted, None) => format!("accepted it: {qty} of it"),
        (Kind::Joined, _) => "joined it with another report".into(),
        (Kind::SetAside, _) => "set it aside".into(),
        (Kind::SeenTo, _) => "saw to it".into(),
        (Kind::KeptInUse, _) => format!("decided to keep {qty} in use"),
        (Kind::Mended, _) => format!("mended {qty}"),
        (Kind::PracticeOnly, _) => format!("mended {qty} for practice only"),
        (Kind::SpareUsed, _) => format!("used {qty} spare"),
        (Kind::ToOrder, _) => format!("put {qty} on the list for the next order"),
        (Kind::WrittenOff, _) => format!("wrote {qty} off"),
        (Kind::Missing, _) => format!("wrote down {qty} as missing"),
        (Kind::TurnedUp, _) => format!("said that {qty} turned up"),
        (Kind::OneOff, _) => "marked it as a one-off".into(),
        (Kind::TakenBack, _) => "took a step back".into(),
    }
}

/// Who told it: a member by name, or somebody without an account.
pub fn told_by(member: Option<&str>, first_name: &str) -> String {
    match member {
        Some(name) => crate::people::shown_name(name).to_owned(),
        None if first_name.is_empty() => "somebody without an account".into(),
        None => format!("{first_name}, without an account"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_report_is_told_in_one_line() {
        for (what, part, qty, expected) in [
            (What::Broken, Some("Peg, black"), 2, "2 Peg, black broken"),
            (What::Lost, Some("Lamp"), 1, "1 Lamp lost"),
            (What::Broken, None, 1, "Something broken"),
            (What::Found, None, 3, "3 pieces found"),
            (What::Astray, None, 1, "A crate is out of place"),
        ] {
            assert_eq!(headline(what, part, qty), expected);
        }
    }

    #[test]
    fn how_it_stands_is_a_sentence() {
        let open = |left, state| stands(What::Broken, Standing::Open { left, state });
        assert_eq!(
            open(1, Some(State::Broken)),
            "1 piece is broken and waits for a decision."
        );
        assert_eq!(
            open(2, Some(State::Doubtful)),
            "2 pieces are doubtful and still in use and wait for a decision."
        );
        assert_eq!(open(1, None), "1 piece is being looked for.");
    }
}
