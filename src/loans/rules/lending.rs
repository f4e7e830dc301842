//! Reading the form by which something is lent or asked for. Pure.

use crate::clock::Day;
use crate::ids::{CountId, TeamId};
use crate::text::fold;
use crate::web::form::Wrong;

/// The form as it was typed.
#[derive(Debug, Clone, Default)]
pub struct Typed {
    pub borrower: String,
    pub contact: String,
    pub purpose: String,
    pub out_on: String,
    pub due_on: String,
    pub counted: String,
    pub not_counted: String,
    /// Why it is lent although something else is planned.
    pub despite: String,
}

/// Who has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Borrower {
    Team(TeamId),
    /// Somebody outside the league, and how to reach them.
    Outsider {
        name: String,
        contact: String,
    },
}

/// The answer to "counted?".
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Counted {
    AsClosed(CountId),
    Not(String),
}

/// What the values of the two choices are.
pub const AS_CLOSED: &str = "closed";
pub const NOT_COUNTED: &str = "not";

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Lending {
    pub borrower: Borrower,
    pub purpose: String,
    pub out_on: Day,
    pub due_on: Day,
    pub counted: Counted,
}

/// From when to when, and what for: all that asking for a kit says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Days {
    pub purpose: String,
    pub out_on: Day,
    pub due_on: Day,
}

/// Reads the days and the purpose.
pub fn read_days(typed: &Typed) -> Result<Days, Vec<Wrong>> {
    let mut wrongs = Vec::new();
    let mut day = |field: &str, text: &str, ask: &str| {
        let read: Option<Day> = text.trim().parse().ok();
        if read.is_none() {
            wrongs.push(Wrong::at(field, ask));
        }
        read
    };
    let out_on = day("out_on", &typed.out_on, "say from which day");
    let due_on = day("due_on", &typed.due_on, "say by which day it comes back");
    if let (Some(out_on), Some(due_on)) = (out_on, due_on)
        && due_on < out_on
    {
        let text = format!("that is before it leaves, on {}", out_on.words());
        wrongs.push(Wrong::at("due_on", text));
    }
    let purpose = typed.purpose.trim().to_owned();
    at_most(&mut wrongs, "purpose", &purpose, 200);
    match (out_on, due_on) {
        (Some(out_on), Some(due_on)) if wrongs.is_empty() => Ok(Days {
            purpose,
            out_on,
            due_on,
        }),
        _ => Err(wrongs),
    }
}

/// Reads the whole form. `teams` are the other teams of the league, `last` is the kit's last closed count.
pub fn read(
    typed: &Typed,
    teams: &[(TeamId, String)],
    last: Option<CountId>,
) -> Result<Lending, Vec<Wrong>> {
    let borrower = borrower(&typed.borrower, &typed.contact, teams);
    let days = read_days(typed);
    let counted = counted(typed, last);
    match (borrower, days, counted) {
        (Ok(borrower), Ok(days), Ok(counted)) => Ok(Lending {
            borrower,
            purpose: days.purpose,
            out_on: days.out_on,
            due_on: days.due_on,
            counted,
        }),
        (borrower, days, counted) => {
            let mut wrongs = Vec::new();
            wrongs.extend(borrower.err());
            wrongs.extend(days.err().unwrap_or_default());
            wrongs.extend(counted.err());
            Err(wrongs)
        }
    }
}

/// A team of the league if it is called so; otherwise somebody outside, who must be reachable.
pub fn borrower(name: &str, contact: &str, teams: &[(TeamId, String)]) -> Result<Borrower, Wrong> {
    let name = name.split_whitespace().collect::<Vec<_>>().join(" ");
    let contact = contact.trim();
    if name.is_empty() {
        return Err(Wrong::at("borrower", "say who gets it"));
    }
    let wanted = fold(&name);
    if let Some((team, _)) = teams.iter().find(|(_, known)| fold(known) == wanted) {
        return Ok(Borrower::Team(*team));
    }
    if name.chars().count() > 120 {
        return Err(Wrong::at("borrower", "a name has at most 120 characters"));
    }
    if contact.chars().count() > 200 {
        return Err(Wrong::at("contact", "at most 200 characters"));
    }
    if contact.is_empty() {
        let alike = teams
            .iter()
            .find(|(_, known)| fold(known).contains(&wanted))
            .map(|(_, known)| format!(" Do you mean {known}?"));
        return Err(Wrong::at(
            "borrower",
            format!(
                "no other team of the league is called so.{} For somebody outside the league, write \
                 below how to reach them",
                alike.unwrap_or_default()
            ),
        ));
    }
    Ok(Borrower::Outsider {
        name,
        contact: contact.to_owned(),
    })
}

fn counted(typed: &Typed, last: Option<CountId>) -> Result<Counted, Wrong> {
    let why = typed.not_counted.trim();
    match (typed.counted.as_str(), last) {
        (AS_CLOSED, Some(count)) => Ok(Counted::AsClosed(count)),
        (NOT_COUNTED, _) if why.is_empty() => Err(Wrong::at(
            "not_counted",
            "say why it leaves without being counted",
        )),
        (NOT_COUNTED, _) if why.chars().count() > 500 => Err(Wrong::at(
            "not_counted",
            "a reason has at most 500 characters",
        )),
        (NOT_COUNTED, _) => Ok(Counted::Not(why.to_owned())),
        _ => Err(Wrong::at("counted", "say whether it was counted")),
    }
}

fn at_most(wrongs: &mut Vec<Wrong>, field: &str, text: &str, most: usize) {
    if text.chars().count() > most {
        wrongs.push(Wrong::at(field, format!("at most {most} characters")));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn typed() -> Typed {
        Typed {
            borrower: "upper quern workshop".into(),
            out_on: "2027-03-04".into(),
            due_on: "2027-03-14".into(),
            counted: AS_CLOSED.into(),
            ..Typed::default()
        }
    }

    #[track_caller]
    fn wrongs(typed: &Typed, last: Option<CountId>) -> Vec<String> {
        let teams = [(TeamId::new(), "Upper Quern Workshop".to_owned())];
        let wrongs = read(typed, &teams, last).err().unwrap_or_default();
        wrongs.into_iter().map(|wrong| wrong.field).collect()
    }

    #[test]
    fn a_team_is_known_by_its_name_and_others_by_how_to_reach_them() {
        let team = TeamId::new();
        let teams = [(team, "Upper Quern Workshop".to_owned())];
        let read = |name, contact| borrower(name, contact, &teams).map_err(|wrong| wrong.text);
        assert_eq!(
            read(" Upper  quern workshop ", ""),
            Ok(Borrower::Team(team))
        );
        let outsider = Borrower::Outsider {
            name: "Tin Mill".into(),
            contact: "at the mill".into(),
        };
        assert_eq!(read("Tin Mill", "at the mill"), Ok(outsider));
        let said = read("quern", "").unwrap_err();
        assert!(said.contains("Do you mean Upper Quern Workshop?"), "{said}");
        assert_eq!(read(" ", "x"), Err("say who gets it".into()));
    }

    #[test]
    fn what_is_wrong_is_said_at_its_field() {
        let last = Some(CountId::new());
        assert!(wrongs(&typed(), last).is_empty());
        assert_eq!(wrongs(&typed(), None), ["counted"], "nothing was closed");
        for (change, expected) in [
            (
                Typed {
                    due_on: "2027-03-03".into(),
                    ..typed()
                },
                "due_on",
            ),
            (
                Typed {
                    due_on: "soon".into(),
                    ..typed()
                },
                "due_on",
            ),
            (
                Typed {
                    counted: NOT_COUNTED.into(),
                    not_counted: " ".into(),
                    ..typed()
                },
                "not_counted",
            ),
            (
                Typed {
                    purpose: "x".repeat(201),
                    ..typed()
                },
                "purpose",
            ),
        ] {
            assert_eq!(wrongs(&change, last), [expected]);
        }
        let same_day = Typed {
            due_on: "2027-03-04".into(),
            ..typed()
        };
        assert!(wrongs(&same_day, last).is_empty(), "back the same day");
    }
}
