//! What a search asks for, and how an answer is worded. Pure.

use crate::ids::TeamId;
use crate::ledger::State;
use crate::text::tidy;

/// Answers of one group on a page.
pub const SHOWN: i64 = 20;

/// The full-text expression for what somebody typed: every word must begin a word of the answer, case
/// and accents forgiven. With a team, only in that team's books. `None` if there is no word in it.
pub fn expression(typed: &str, team: Option<TeamId>) -> Option<String> {
    let typed: String = typed.chars().take(200).collect();
    // Quoted, so that nothing in it is an operator; the tokenizer cuts "B-4" into a phrase of two.
    let words: Vec<String> = tidy(&typed)
        .split(' ')
        .filter(|word| word.chars().any(char::is_alphanumeric))
        .take(12)
        .map(|word| format!("\"{}\"*", word.replace('"', "\"\"")))
        .collect();
    if words.is_empty() {
        return None;
    }
    let team = team.map(|team| format!("\"t{}\"", team.0.simple()));
    Some(team.into_iter().chain(words).collect::<Vec<_>>().join(" "))
}

/// "8", or "2 broken": good pieces need no word.
pub fn amount(qty: i64, state: State) -> String {
    match state {
        State::Good => qty.to_string(),
        other => format!("{qty} {}", other.word()),
    }
}

/// "1 part", "12 crates and bags".
pub fn counted(n: usize, more: bool, one: &str, many: &str) -> String {
    match (n, more) {
        (n, true) => format!("The first {n} {many}"),
        (1, false) => format!("1 {one}"),
        (n, false) => format!("{n} {many}"),
    }
}

/// "Nine Larches has 4 good ones spare".
pub fn spare(team: &str, qty: i64) -> String {
    let ones = if qty == 1 { "one" } else { "ones" };
    format!("{team} has {qty} good {ones} spare")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_typed_is_searched_as_words() {
        let check = |typed, expected: Option<&str>| {
            assert_eq!(expression(typed, None).as_deref(), expected, "{typed:?}");
        };
        check("peg", Some("\"peg\"*"));
        check("  peg   black ", Some("\"peg\"* \"black\"*"));
        check("B-4", Some("\"B-4\"*"));
        check("say \"peg\"", Some("\"say\"* \"\"\"peg\"\"\"*"));
        check(
            "peg OR NOT (lamp",
            Some("\"peg\"* \"OR\"* \"NOT\"* \"(lamp\"*"),
        );
        check("* - \"", None);
        check("", None);
        check("peg\0\u{1}", Some("\"peg\"*"));
    }

    #[test]
    fn a_team_stands_in_front() {
        let team = TeamId(uuid::Uuid::nil());
        assert_eq!(
            expression("bag", Some(team)).as_deref(),
            Some("\"t00000000000000000000000000000000\" \"bag\"*")
        );
    }

    #[test]
    fn words_agree_with_numbers() {
        assert_eq!(
            spare("Nine Larches", 4),
            "Nine Larches has 4 good ones spare"
        );
        assert_eq!(
            spare("Nine Larches", 1),
            "Nine Larches has 1 good one spare"
        );
        assert_eq!(counted(1, false, "part", "parts"), "1 part");
        assert_eq!(counted(20, true, "part", "parts"), "The first 20 parts");
        assert_eq!(amount(2, State::Broken), "2 broken");
        assert_eq!(amount(2, State::Good), "2");
    }
}
