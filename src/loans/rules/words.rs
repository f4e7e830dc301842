//! A loan in sentences. Pure.

use crate::clock::Day;

/// Where a loan stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum State {
    Asked,
    Agreed,
    Declined,
    Withdrawn,
    Out,
    #[sqlx(rename = "taken back")]
    TakenBack,
    Closed,
}

impl State {
    pub const ALL: [State; 7] = [
        State::Asked,
        State::Agreed,
        State::Declined,
        State::Withdrawn,
        State::Out,
        State::TakenBack,
        State::Closed,
    ];

    pub fn word(self) -> &'static str {
        match self {
            State::Asked => "asked",
            State::Agreed => "agreed",
            State::Declined => "declined",
            State::Withdrawn => "withdrawn",
            State::Out => "out",
            State::TakenBack => "taken back",
            State::Closed => "closed",
        }
    }
}

/// Where an asking to hand on stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, sqlx::Type)]
#[sqlx(rename_all = "lowercase")]
pub enum OnwardState {
    Asked,
    Agreed,
    Declined,
    Dropped,
    Done,
}

impl OnwardState {
    pub const ALL: [OnwardState; 5] = [
        OnwardState::Asked,
        OnwardState::Agreed,
        OnwardState::Declined,
        OnwardState::Dropped,
        OnwardState::Done,
    ];

    pub fn word(self) -> &'static str {
        match self {
            OnwardState::Asked => "asked",
            OnwardState::Agreed => "agreed",
            OnwardState::Declined => "declined",
            OnwardState::Dropped => "dropped",
            OnwardState::Done => "done",
        }
    }
}

/// What a sentence about a loan needs.
#[derive(Debug, Clone, Copy)]
pub struct Facts<'a> {
    pub state: State,
    pub lender: &'a str,
    pub borrower: &'a str,
    pub out_on: Day,
    pub due_on: Day,
    /// When the last of it came back; `None` while some of it is out, but for what is owed.
    pub back_on: Option<Day>,
    /// Differences that wait for an agreement.
    pub open: i64,
}

/// Whether it should be back: due back on the 14th means back by the end of the 14th.
pub fn is_overdue(state: State, due_on: Day, today: Day) -> bool {
    state == State::Out && due_on < today
}

/// "Upper Quern has it until 14 Mar 2027: 3 days are left."
pub fn sentence(facts: &Facts<'_>, today: Day) -> String {
    let Facts {
        lender,
        borrower,
        out_on,
        due_on,
        ..
    } = *facts;
    let days = format!("from {} to {}", out_on.words(), due_on.words());
    match facts.state {
        State::Asked => format!("{borrower} asks {lender} for it {days}."),
        State::Agreed => format!("{lender} agreed to lend it to {borrower} {days}."),
        State::Declined => format!("{borrower} asked for it {days}; {lender} declined."),
        State::Withdrawn => format!("{borrower} asked for it {days}, and asks no more."),
        State::TakenBack => "It was written down by mistake: nothing left.".into(),
        State::Closed => {
            let back = facts.back_on.unwrap_or(due_on).words();
            let out = out_on.words();
            let late = facts.back_on.map_or(0, |back| due_on.days_until(back));
            let late = match late {
                ..=0 => String::new(),
                1 => ", 1 day late".into(),
                days => format!(", {days} days late"),
            };
            if out == back {
                format!("{borrower} had it on {out}{late}. The loan is closed.")
            } else {
                format!("{borrower} had it from {out} to {back}{late}. The loan is closed.")
            }
        }
        State::Out if facts.back_on.is_some() => match facts.open {
            0 => format!("It is back from {borrower}, and nothing is left to agree about."),
            1 => format!("It is back from {borrower}. One difference is to be agreed about."),
            open => {
                format!("It is back from {borrower}. {open} differences are to be agreed about.")
            }
        },
        State::Out => format!("{borrower} has it, {}.", due(due_on, today)),
    }
}

/// What happened, after the name of whoever did it: "Upper Quern: says that something differs".
pub fn happened(kind: &str) -> &str {
    match kind {
        "count confirmed" => "says that all of it is there",
        "count doubted" => "says that something differs",
        "given back" => "says that it was given back",
        "damage told" => "tells of damage",
        "proposed" => "proposes",
        "said otherwise" => "says otherwise",
        "asked to hand on" => "asks to hand on",
        "may be handed on" => "says yes to handing on",
        "may not be handed on" => "says no to handing on",
        "not handed on" => "does not hand on",
        "laid to" => "says in whose time it came about",
        other => other,
    }
}

/// "due back on 14 Mar 2027, in 3 days", "due back on 14 Mar 2027: 2 days overdue".
pub fn due(due_on: Day, today: Day) -> String {
    let when = due_on.words();
    match today.days_until(due_on) {
        0 => format!("due back today, {when}"),
        1 => format!("due back tomorrow, {when}"),
        days if days > 1 => format!("due back on {when}, in {days} days"),
        -1 => format!("due back on {when}: 1 day overdue"),
        days => format!("due back on {when}: {} days overdue", -days),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_loan_says_how_it_stands() {
        let day = |text: &str| -> Day { text.parse().unwrap() };
        let told = |state, back_on: Option<&str>, open| {
            let facts = Facts {
                state,
                lender: "Larches",
                borrower: "Quern",
                out_on: day("2027-03-04"),
                due_on: day("2027-03-14"),
                back_on: back_on.map(day),
                open,
            };
            sentence(&facts, day("2027-03-10"))
        };
        for (state, back_on, open, expected) in [
            (
                State::Out,
                None,
                0,
                "Quern has it, due back on 14 Mar 2027, in 4 days.",
            ),
            (
                State::Out,
                Some("2027-03-09"),
                2,
                "It is back from Quern. 2 differences are to be agreed about.",
            ),
            (
                State::Out,
                Some("2027-03-09"),
                0,
                "It is back from Quern, and nothing is left to agree about.",
            ),
            // The days it was away, not those it was lent for.
            (
                State::Closed,
                Some("2027-03-09"),
                0,
                "Quern had it from 4 Mar 2027 to 9 Mar 2027. The loan is closed.",
            ),
            (
                State::Closed,
                Some("2027-03-16"),
                0,
                "Quern had it from 4 Mar 2027 to 16 Mar 2027, 2 days late. The loan is closed.",
            ),
            (
                State::Closed,
                Some("2027-03-04"),
                0,
                "Quern had it on 4 Mar 2027. The loan is closed.",
            ),
        ] {
            assert_eq!(told(state, back_on, open), expected);
        }
    }

    #[test]
    fn due_back_on_a_day_means_by_its_end() {
        let day = |text: &str| -> Day { text.parse().unwrap() };
        let due_on = day("2027-03-14");
        for (today, overdue, expected) in [
            ("2027-03-10", false, "due back on 14 Mar 2027, in 4 days"),
            ("2027-03-13", false, "due back tomorrow, 14 Mar 2027"),
            ("2027-03-14", false, "due back today, 14 Mar 2027"),
            ("2027-03-15", true, "due back on 14 Mar 2027: 1 day overdue"),
            (
                "2027-03-17",
                true,
                "due back on 14 Mar 2027: 3 days overdue",
            ),
        ] {
            assert_eq!(due(due_on, day(today)), expected);
            assert_eq!(is_overdue(State::Out, due_on, day(today)), overdue);
            assert!(!is_overdue(State::Closed, due_on, day(today)));
        }
    }
}
