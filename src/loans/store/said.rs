//! The queries about what the sides of a loan say: notes beside its steps, and answers about differences.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{LoanId, PersonId, PhoneId};

/// Who says something about a loan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    Person(PersonId),
    /// Somebody without an account, on whose phone the loan's link was opened.
    Phone(PhoneId),
}

impl By {
    fn columns(self) -> (Option<PersonId>, Option<PhoneId>) {
        match self {
            By::Person(person) => (Some(person), None),
            By::Phone(phone) => (None, Some(phone)),
        }
    }
}

/// On whose side somebody stands who says something about a loan.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    Lender,
    Borrower,
    /// Of the team that crates were handed on to: the number of that handing on.
    Holder(i64),
}

impl Side {
    pub(super) fn read(of_borrower: bool, held: Option<i64>) -> Self {
        match (of_borrower, held) {
            (_, Some(n)) => Self::Holder(n),
            (true, None) => Self::Borrower,
            (false, None) => Self::Lender,
        }
    }

    /// A holder has it from the borrower, so it counts as the borrower's side.
    fn columns(self) -> (bool, Option<i64>) {
        match self {
            Self::Lender => (false, None),
            Self::Borrower => (true, None),
            Self::Holder(n) => (true, Some(n)),
        }
    }
}

pub struct NewNote<'a> {
    pub kind: &'static str,
    pub words: &'a str,
    pub entry: Option<i64>,
    pub side: Side,
    pub by: By,
    pub now: Instant,
}

pub async fn add_note(
    db: &mut SqliteConnection,
    loan: LoanId,
    new: &NewNote<'_>,
) -> sqlx::Result<()> {
    let (person, phone) = new.by.columns();
    let (of_borrower, held) = new.side.columns();
    let words: String = new.words.chars().take(500).collect();
    sqlx::query!(
        r#"
            insert into loan_note (
                loan_id, line, kind, words, entry_seq, of_borrower, held_n, person_id, phone_id,
                done_at
            )
            values (
                $1,
                (select coalesce(max(line), 0) + 1 from loan_note where loan_id = $1),
                $2, $3, $4, $5, $6, $7, $8, $9
            )
        "#,
        loan,
        new.kind,
        words,
        new.entry,
        of_borrower,
        held,
        person,
        phone,
        new.now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// A note with the name of whoever wrote it on a phone.
#[derive(Debug, Clone)]
pub struct Noted {
    pub words: String,
    /// The name typed on the phone; empty for a member.
    pub name: String,
    pub done_at: Instant,
}

/// The borrower's last note whose kind begins so: what they said of the count at the start, say.
pub async fn last_note(
    db: &mut SqliteConnection,
    loan: LoanId,
    kind: &str,
) -> sqlx::Result<Option<Noted>> {
    sqlx::query_as!(
        Noted,
        r#"
            select
                loan_note.words,
                coalesce(loan_phone.name, '') as "name!: String",
                loan_note.done_at as "done_at: Instant"
            from loan_note
            left join loan_phone on loan_phone.id = loan_note.phone_id
            where loan_note.loan_id = $1 and loan_note.kind like $2 || '%'
                and loan_note.held_n is null
            order by loan_note.line desc
            limit 1
        "#,
        loan,
        kind
    )
    .fetch_optional(db)
    .await
}

/// What one side said about a difference.
#[derive(Debug, Clone)]
pub struct Say {
    pub line: i64,
    pub nth: i64,
    /// "proposed", "agreed" or "said otherwise".
    pub kind: String,
    pub agreement: String,
    pub pays: String,
    pub words: String,
    pub name: String,
}

/// All that was said about a loan's differences, in order.
pub async fn says(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<Say>> {
    sqlx::query_as!(
        Say,
        r#"
            select line, nth, kind, agreement, pays, words, name
            from loan_say
            where loan_id = $1
            order by line, nth
        "#,
        loan
    )
    .fetch_all(db)
    .await
}

pub struct NewSay<'a> {
    pub line: i64,
    pub kind: &'static str,
    pub agreement: &'a str,
    pub pays: &'a str,
    pub words: &'a str,
    pub name: &'a str,
    pub now: Instant,
}

pub async fn add_say(
    db: &mut SqliteConnection,
    loan: LoanId,
    new: &NewSay<'_>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into loan_say (loan_id, line, nth, kind, agreement, pays, words, name, said_at)
            values (
                $1, $2,
                (select coalesce(max(nth), 0) + 1 from loan_say where loan_id = $1 and line = $2),
                $3, $4, $5, $6, $7, $8
            )
        "#,
        loan,
        new.line,
        new.kind,
        new.agreement,
        new.pays,
        new.words,
        new.name,
        new.now
    )
    .execute(db)
    .await?;
    Ok(())
}
