//! The queries about what left on a loan and what happened to it.

use sqlx::SqliteConnection;

use super::said::Side;
use crate::clock::{Day, Instant};
use crate::ids::LoanId;

/// What went out, or what the kit lacked then.
#[derive(Debug, Clone)]
pub struct LoanLine {
    pub place_name: Option<String>,
    pub name: String,
    pub colour: String,
    pub number: String,
    /// A piece's state, or "short".
    pub state: String,
    pub qty: i64,
    pub loose: bool,
}

pub async fn lines(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<LoanLine>> {
    sqlx::query_as!(
        LoanLine,
        r#"
            select
                place.name as "place_name?",
                part.name,
                part.colour,
                part.number,
                loan_line.state,
                loan_line.qty,
                loan_line.loose as "loose: bool"
            from loan_line
            join part on part.id = loan_line.part_id
            left join place on place.id = loan_line.place_id
            where loan_line.loan_id = $1
            order by loan_line.line
        "#,
        loan
    )
    .fetch_all(db)
    .await
}

/// One thing that happened to a loan.
#[derive(Debug, Clone)]
pub struct Step {
    pub kind: String,
    pub words: String,
    pub due_on: Option<Day>,
    pub entry: Option<i64>,
    pub of_borrower: bool,
    /// The handing on whose team said it, and that team's name.
    pub held: Option<i64>,
    pub held_by: String,
    pub person_name: String,
    /// As typed on the phone of somebody without an account.
    pub phone_name: String,
    pub done_at: Instant,
}

impl Step {
    pub fn side(&self) -> Side {
        Side::read(self.of_borrower, self.held)
    }
}

/// All that happened to a loan, in order.
pub async fn steps(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<Step>> {
    sqlx::query_as!(
        Step,
        r#"
            select
                kind as "kind!: String",
                words as "words!: String",
                due_on as "due_on?: Day",
                entry_seq as "entry?: i64",
                of_borrower as "of_borrower!: bool",
                held_n as "held?: i64",
                held_by as "held_by!: String",
                person_name as "person_name!: String",
                phone_name as "phone_name!: String",
                done_at as "done_at!: Instant"
            from (
                select
                    loan_step.kind, loan_step.words, loan_step.due_on, loan_step.entry_seq,
                    loan_step.of_borrower, null as held_n, '' as held_by, person.name as person_name, '' as phone_name,
                    loan_step.done_at, 0 as is_note, loan_step.line
                from loan_step
                join person on person.id = loan_step.person_id
                where loan_step.loan_id = $1
                union all
                select
                    loan_note.kind, loan_note.words, null, loan_note.entry_seq,
                    loan_note.of_borrower, loan_note.held_n, coalesce(team.name, ''),
                    coalesce(person.name, ''), coalesce(loan_phone.name, ''),
                    loan_note.done_at, 1, loan_note.line
                from loan_note
                left join person on person.id = loan_note.person_id
                left join loan_phone on loan_phone.id = loan_note.phone_id
                left join loan_onward on loan_onward.loan_id = loan_note.loan_id
                    and loan_onward.n = loan_note.held_n
                left join team on team.id = loan_onward.team_id
                where loan_note.loan_id = $1
            )
            order by done_at, is_note, line
        "#,
        loan
    )
    .fetch_all(db)
    .await
}
