//! What of loans stands on Today: what waits for an answer, what is due, what others answered, what is with us.

use sqlx::SqliteConnection;

use crate::clock::{Day, Instant};
use crate::ids::TeamId;
use crate::loans::{self, Loan};
use crate::people::Viewer;
use crate::places::rules::words::sentence;

/// Loans due within so many days are told.
const DUE_SOON_DAYS: i64 = 7;

/// A no, or a word that something differs, is told for so many days.
const NEWS_DAYS: i64 = 7;

/// A line about a loan.
pub struct LoanLine {
    pub href: String,
    pub what: String,
    pub more: String,
    pub is_overdue: bool,
}

impl LoanLine {
    fn of(loan: &Loan, what: String, more: &str, today: Day) -> Self {
        Self {
            href: format!("/loans/{}", loan.id),
            what: sentence(&what),
            more: sentence(more),
            is_overdue: loan.is_overdue(today),
        }
    }
}

/// The loans of one of the viewer's teams that go on, on either side.
pub struct GoingOn {
    team: TeamId,
    keeps: bool,
    loans: Vec<Loan>,
}

pub async fn going_on(db: &mut SqliteConnection, viewer: &Viewer) -> sqlx::Result<Vec<GoingOn>> {
    let mut all = Vec::new();
    for membership in viewer.memberships() {
        all.push(GoingOn {
            team: membership.team,
            keeps: membership.role.keeps(),
            loans: loans::going_on(db, membership.team).await?,
        });
    }
    Ok(all)
}

/// How soon somebody should look.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Turn {
    /// Somebody waits for the viewer's answer.
    Answer,
    Due,
}

/// What we lent that waits for the viewer's answer, is overdue or due within a week: at most so many lines, and how
/// many more there are.
pub fn due(going_on: &[GoingOn], today: Day, most: usize) -> (Vec<LoanLine>, usize) {
    let mut all = Vec::new();
    for of_team in going_on {
        // What is with us stands in a list of its own.
        let ours = |loan: &&Loan| loan.lender == of_team.team;
        for loan in of_team.loans.iter().filter(ours) {
            if let Some((turn, what, more)) = due_line(loan, of_team.keeps, today) {
                let line = LoanLine::of(loan, what, &more, today);
                all.push(((turn, loan.due_on), line));
            }
        }
    }
    all.sort_by_key(|(order, _)| *order);
    let more = all.len().saturating_sub(most);
    all.truncate(most);
    (all.into_iter().map(|(_, line)| line).collect(), more)
}

fn due_line(loan: &Loan, keeps: bool, today: Day) -> Option<(Turn, String, String)> {
    let (name, other) = (&loan.kit_name, &loan.borrower_name);
    let due = || format!("loan {}, {}", loan.number, loan.due_words(today));
    if loan.is_agreed() {
        let what = format!("Hand {name} out to {other}");
        return keeps.then(|| (Turn::Answer, what, loan.sentence(today)));
    }
    if !loan.is_out() {
        let what = format!("{other} asks for {name}");
        return keeps.then(|| (Turn::Answer, what, loan.sentence(today)));
    }
    if keeps && loan.onward_asked > 0 {
        let what = format!("{other} asks to hand some of {name} on");
        return Some((Turn::Answer, what, due()));
    }
    if loan.still_out > 0 && loan.given_at.is_some_and(|at| loan.back_at < Some(at)) {
        let what = format!("{other} gave {name} back: count it");
        return Some((Turn::Answer, what, due()));
    }
    if loan.still_out > 0
        && loan
            .doubted_at
            .is_some_and(|at| at.day("UTC").days_until(today) <= NEWS_DAYS)
    {
        let what = format!("Something of {name} differs, says {other}");
        return Some((Turn::Answer, what, due()));
    }
    if loan.still_out == 0 {
        let what = if loan.open == 0 {
            format!("Close the loan of {name}")
        } else {
            format!("Agree about {name}")
        };
        return keeps.then(|| (Turn::Due, what, loan.sentence(today)));
    }
    (today.days_until(loan.due_on) <= DUE_SOON_DAYS).then(|| {
        let what = format!("Count {name} back from {other}");
        (Turn::Due, what, due())
    })
}

/// What others answered about what we asked for, borrowed or hand on, as far as it wants something of us or is news.
pub async fn answers(
    db: &mut SqliteConnection,
    going_on: &[GoingOn],
    now: Instant,
) -> sqlx::Result<Vec<LoanLine>> {
    let mut all = Vec::new();
    for of_team in going_on.iter().filter(|of_team| of_team.keeps) {
        let team = of_team.team;
        let today = now.day("UTC");
        for loan in &of_team.loans {
            if loan.borrower != Some(team) {
                continue;
            }
            let (name, lender) = (&loan.kit_name, &loan.lender_name);
            let days = format!("{} to {}", loan.out_on.words(), loan.due_on.words());
            let mut tell = |what: String, more: &str| {
                all.push(LoanLine::of(loan, what, more, today));
            };
            if loan.is_agreed() {
                tell(
                    format!("{lender} lends us {name}"),
                    &format!("agreed, {days}"),
                );
            }
            if loan.onward_agreed > 0 {
                let more = "write down the count when you hand it on";
                tell(format!("We may hand some of {name} on"), more);
            }
            if loan.proposed > 0 {
                let more = "they say what should follow from a difference";
                tell(format!("Answer {lender} about {name}"), more);
            }
        }
        let since = now.plus_minutes(-NEWS_DAYS * 24 * 60);
        for loan in loans::declined_since(db, team, since).await? {
            let what = format!("{} declined {}", loan.lender_name, loan.kit_name);
            all.push(LoanLine::of(&loan, what, "the word why is there", today));
        }
    }
    Ok(all)
}

/// What the viewer's teams have from others: of the league, handed on to them, and from outside.
pub async fn with_us(
    db: &mut SqliteConnection,
    going_on: &[GoingOn],
    today: Day,
) -> sqlx::Result<Vec<LoanLine>> {
    let mut all = Vec::new();
    for of_team in going_on {
        let team = of_team.team;
        for loan in &of_team.loans {
            if loan.borrower == Some(team) && loan.is_out() && loan.still_out > 0 {
                let what = format!("Give {} back to {}", loan.kit_name, loan.lender_name);
                let line = LoanLine::of(loan, what, &loan.due_words(today), today);
                all.push((loan.due_on, line));
            }
        }
        for loan in loans::held_by(db, team).await? {
            let (kit, from) = (&loan.kit_name, &loan.borrower_name);
            let what = format!("Give some of {kit} back to {from}");
            let line = LoanLine {
                href: format!("/loans/{}/held", loan.id),
                ..LoanLine::of(&loan, what, &loan.due_words(today), today)
            };
            all.push((loan.due_on, line));
        }
        for one in loans::borrowed_by(db, team).await? {
            let line = LoanLine {
                href: format!("/borrowed/{}", one.id),
                what: format!("Give {} back to {}", one.what(), one.lender),
                more: sentence(&one.due_words(today)),
                is_overdue: one.is_overdue(today),
            };
            all.push((one.due_on, line));
        }
    }
    all.sort_by_key(|(due_on, _)| *due_on);
    Ok(all.into_iter().map(|(_, line)| line).collect())
}
