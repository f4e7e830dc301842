//! Reading what the sides say about a loan. Pure.

use super::back::{Agreement, Kind};
use crate::text::tidy;
use crate::web::form::Wrong;

/// What the borrower says of what left.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Confirmed {
    AllThere,
    /// What is not as the sheet says.
    Not(String),
}

/// Reads the answer to "is all of it there?".
pub fn confirmed(all_there: &str, words: &str) -> Result<Confirmed, Vec<Wrong>> {
    let words = short(words, "differs")?;
    match all_there {
        "yes" if words.is_empty() => Ok(Confirmed::AllThere),
        "yes" => Err(vec![Wrong::at(
            "there",
            "you wrote below what differs: choose that it differs, or take the words away",
        )]),
        "no" if words.is_empty() => Err(vec![Wrong::at("differs", "say what differs")]),
        "no" => Ok(Confirmed::Not(words)),
        _ => Err(vec![Wrong::at("there", "say whether all of it is there")]),
    }
}

/// A few words on one line.
pub fn short(words: &str, field: &str) -> Result<String, Vec<Wrong>> {
    let words = tidy(words);
    if words.chars().count() > 500 {
        return Err(vec![Wrong::at(field, "at most 500 characters")]);
    }
    Ok(words)
}

/// What was typed about a difference.
#[derive(Debug, Clone, Default)]
pub struct Proposed {
    pub agreement: String,
    pub pays: String,
    pub name: String,
}

/// What the lender proposes, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Proposal {
    pub agreement: Agreement,
    pub pays: String,
    pub name: String,
}

pub fn proposed(kind: Kind, line: i64, typed: &Proposed) -> Result<Proposal, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let field = |name: &str| format!("{name}-{line}");
    let agreement = Agreement::from_word(kind, &typed.agreement);
    if agreement.is_none() {
        wrongs.push(Wrong::at(field("agreement"), "choose what you propose"));
    }
    if !["nobody", "lender", "borrower"].contains(&typed.pays.as_str()) {
        wrongs.push(Wrong::at(field("pays"), "say who pays, or nobody"));
    }
    let name = name(&typed.name, &field("lender_name")).unwrap_or_else(|wrong| {
        wrongs.push(wrong);
        String::new()
    });
    match agreement {
        Some(agreement) if wrongs.is_empty() => Ok(Proposal {
            agreement,
            pays: typed.pays.clone(),
            name,
        }),
        _ => Err(wrongs),
    }
}

/// What the borrower answers about a difference.
#[derive(Debug, Clone, Default)]
pub struct Answered {
    /// "yes" where they agree with what was proposed.
    pub agrees: String,
    pub words: String,
    pub name: String,
}

/// What the borrower answers, read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Reply {
    pub agrees: bool,
    pub words: String,
    pub name: String,
}

pub fn answered(line: i64, is_proposed: bool, typed: &Answered) -> Result<Reply, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let field = |name: &str| format!("{name}-{line}");
    let words = short(&typed.words, &field("otherwise")).unwrap_or_else(|more| {
        wrongs.extend(more);
        String::new()
    });
    let agrees = match typed.agrees.as_str() {
        "yes" => true,
        "no" => false,
        _ => {
            wrongs.push(Wrong::at(
                field("agrees"),
                "say whether you agree, or what you say otherwise",
            ));
            false
        }
    };
    if agrees && !is_proposed {
        wrongs.push(Wrong::at(
            field("agrees"),
            "nothing is proposed yet that you could agree with",
        ));
    }
    if agrees && !words.is_empty() {
        wrongs.push(Wrong::at(
            field("agrees"),
            "you wrote below what you say otherwise: choose that, or take the words away",
        ));
    }
    if typed.agrees == "no" && words.is_empty() && wrongs.is_empty() {
        wrongs.push(Wrong::at(
            field("otherwise"),
            "write what you say otherwise",
        ));
    }
    let name = name(&typed.name, &field("name")).unwrap_or_else(|wrong| {
        wrongs.push(wrong);
        String::new()
    });
    if wrongs.is_empty() {
        Ok(Reply {
            agrees,
            words,
            name,
        })
    } else {
        Err(wrongs)
    }
}

fn name(typed: &str, field: &str) -> Result<String, Wrong> {
    let name = tidy(typed);
    if name.is_empty() {
        Err(Wrong::at(field, "write your name"))
    } else if name.chars().count() > 80 {
        Err(Wrong::at(field, "a name has at most 80 characters"))
    } else {
        Ok(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn fields<T>(read: Result<T, Vec<Wrong>>) -> Vec<String> {
        let wrongs = read.err().unwrap_or_default();
        wrongs.into_iter().map(|wrong| wrong.field).collect()
    }

    #[test]
    fn a_count_is_confirmed_or_doubted_in_words() {
        for (there, words, expected) in [
            ("yes", " ", Ok(Confirmed::AllThere)),
            (
                "no",
                " a peg  lacks ",
                Ok(Confirmed::Not("a peg lacks".into())),
            ),
            ("no", "", Err("differs")),
            ("yes", "a peg lacks", Err("there")),
            ("", "", Err("there")),
        ] {
            let read = confirmed(there, words);
            match expected {
                Ok(expected) => assert_eq!(read, Ok(expected)),
                Err(field) => assert_eq!(fields(read), [field]),
            }
        }
        assert_eq!(fields(confirmed("no", &"x".repeat(501))), ["differs"]);
    }

    #[test]
    fn an_answer_agrees_with_a_proposal_or_says_otherwise() {
        let typed = |agrees: &str, words: &str, name: &str| Answered {
            agrees: agrees.into(),
            words: words.into(),
            name: name.into(),
        };
        for (is_proposed, agrees, words, name, expected) in [
            (true, "yes", "", "Ivo", vec![]),
            (false, "yes", "", "Ivo", vec!["agrees-2"]),
            (true, "yes", "not so", "Ivo", vec!["agrees-2"]),
            (false, "no", "it lacked before", "Ivo", vec![]),
            (true, "no", " ", "Ivo", vec!["otherwise-2"]),
            (true, "no", "it lacked before", " ", vec!["name-2"]),
            (true, "", "", "", vec!["agrees-2", "name-2"]),
        ] {
            let read = answered(2, is_proposed, &typed(agrees, words, name));
            assert_eq!(fields(read), expected, "{agrees} {words} {name}");
        }
    }

    #[test]
    fn a_proposal_names_what_follows_and_who_pays() {
        let typed = |agreement: &str, pays: &str, name: &str| Proposed {
            agreement: agreement.into(),
            pays: pays.into(),
            name: name.into(),
        };
        let read = |typed| fields(proposed(Kind::Broken, 1, &typed));
        assert_eq!(read(typed("wear", "nobody", "Ama")), Vec::<String>::new());
        assert_eq!(read(typed("ours", "nobody", "Ama")), ["agreement-1"]);
        assert_eq!(
            read(typed("", "", " ")),
            ["agreement-1", "pays-1", "lender_name-1"]
        );
    }
}
