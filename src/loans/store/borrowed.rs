//! The queries about what was borrowed outside the league, and about pieces that are not ours.

use sqlx::SqliteConnection;

use crate::clock::{Day, Instant};
use crate::ids::{BorrowedId, LoanId, NotOursId, PartId, PersonId, StintId, TeamId};
use crate::loans::rules::borrowed::{Borrowing, Called, Some as Pieces};

/// Something a team has from somebody outside the league.
#[derive(Debug, Clone)]
pub struct Borrowed {
    pub id: BorrowedId,
    pub number: i64,
    pub team: TeamId,
    pub team_name: String,
    pub lender: String,
    pub contact: String,
    pub crates: String,
    pub purpose: String,
    pub out_on: Day,
    pub due_on: Day,
    pub given_on: Option<Day>,
    pub given_words: String,
    /// Pieces written in line by line.
    pub pieces: i64,
}

macro_rules! borrowed {
    ($rest:literal, $($value:expr),+) => {
        sqlx::query_as!(
            Borrowed,
            r#"
            select
                borrowed.id as "id!: BorrowedId",
                borrowed.number as "number!: i64",
                borrowed.team_id as "team!: TeamId",
                team.name as "team_name!",
                borrowed.lender as "lender!",
                borrowed.contact as "contact!",
                borrowed.crates as "crates!",
                borrowed.purpose as "purpose!",
                borrowed.out_on as "out_on!: Day",
                borrowed.due_on as "due_on!: Day",
                borrowed.given_on as "given_on?: Day",
                borrowed.given_words as "given_words!",
                (
                    select coalesce(sum(qty), 0) from borrowed_line
                    where borrowed_line.borrowed_id = borrowed.id
                ) as "pieces!: i64"
            from borrowed
            join team on team.id = borrowed.team_id
            "# + $rest,
            $($value),+
        )
    };
}

pub async fn find_borrowed(
    db: &mut SqliteConnection,
    borrowed: BorrowedId,
) -> sqlx::Result<Option<Borrowed>> {
    borrowed!("where borrowed.id = $1", borrowed)
        .fetch_optional(db)
        .await
}

/// What a team has from outside the league and has not given back, the longest due first.
pub async fn borrowed_by(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Borrowed>> {
    borrowed!(
        "where borrowed.team_id = $1 and borrowed.given_on is null order by borrowed.due_on, borrowed.number",
        team
    )
    .fetch_all(db)
    .await
}

/// What a team had from outside the league, the latest first; at most `most`.
pub async fn borrowed_before(
    db: &mut SqliteConnection,
    team: TeamId,
    most: i64,
) -> sqlx::Result<Vec<Borrowed>> {
    borrowed!(
        "where borrowed.team_id = $1 and borrowed.given_on is not null order by borrowed.number desc limit $2",
        team,
        most
    )
    .fetch_all(db)
    .await
}

pub async fn add_borrowed(
    db: &mut SqliteConnection,
    id: BorrowedId,
    team: TeamId,
    new: &Borrowing,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into borrowed (
                id, number, team_id, lender, contact, crates, purpose, out_on, due_on, made_by, made_at
            )
            values (
                $1, (select coalesce(max(number), 0) + 1 from borrowed), $2, $3, $4, $5, $6, $7, $8, $9, $10
            )
        "#,
        id,
        team,
        new.lender,
        new.contact,
        new.crates,
        new.purpose,
        new.out_on,
        new.due_on,
        by,
        now
    )
    .execute(&mut *db)
    .await?;
    for (at, line) in (1i64..).zip(&new.pieces) {
        sqlx::query!(
            r#"
                insert into borrowed_line (borrowed_id, line, qty, words, part_id)
                values ($1, $2, $3, $4, $5)
            "#,
            id,
            at,
            line.qty,
            line.words,
            line.part
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
}

/// That something goes back on another day.
#[derive(Debug, Clone)]
pub struct Later {
    pub was_on: Day,
    pub due_on: Day,
    pub why: String,
}

/// Notes it, and changes the day.
pub async fn add_later(
    db: &mut SqliteConnection,
    borrowed: BorrowedId,
    later: &Later,
    by: PersonId,
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into borrowed_later (borrowed_id, line, was_on, due_on, why, person_id, done_at)
            values (
                $1,
                (select coalesce(max(line), 0) + 1 from borrowed_later where borrowed_id = $1),
                $2, $3, $4, $5, $6
            )
        "#,
        borrowed,
        later.was_on,
        later.due_on,
        later.why,
        by,
        now
    )
    .execute(&mut *db)
    .await?;
    sqlx::query!(
        r#"update borrowed set due_on = $2 where id = $1"#,
        borrowed,
        later.due_on
    )
    .execute(db)
    .await?;
    Ok(())
}

/// How often its day was changed, in order.
pub async fn laters(db: &mut SqliteConnection, borrowed: BorrowedId) -> sqlx::Result<Vec<Later>> {
    sqlx::query_as!(
        Later,
        r#"
            select was_on as "was_on: Day", due_on as "due_on: Day", why
            from borrowed_later
            where borrowed_id = $1
            order by line
        "#,
        borrowed
    )
    .fetch_all(db)
    .await
}

/// A line of what was borrowed, with the part it names.
#[derive(Debug, Clone)]
pub struct BorrowedLine {
    pub qty: i64,
    pub words: String,
    pub name: Option<String>,
    pub colour: Option<String>,
    pub number: Option<String>,
}

pub async fn borrowed_lines(
    db: &mut SqliteConnection,
    borrowed: BorrowedId,
) -> sqlx::Result<Vec<BorrowedLine>> {
    sqlx::query_as!(
        BorrowedLine,
        r#"
            select
                borrowed_line.qty,
                borrowed_line.words,
                part.name as "name?",
                part.colour as "colour?",
                part.number as "number?"
            from borrowed_line
            left join part on part.id = borrowed_line.part_id
            where borrowed_line.borrowed_id = $1
            order by borrowed_line.line
        "#,
        borrowed
    )
    .fetch_all(db)
    .await
}

/// It was given back on a day, or (without one) it was not.
pub async fn set_given(
    db: &mut SqliteConnection,
    borrowed: BorrowedId,
    given: Option<(Day, PersonId)>,
    words: &str,
) -> sqlx::Result<()> {
    let (on, by) = given.unzip();
    sqlx::query!(
        r#"
            update borrowed
            set given_on = $2, given_by = $3, given_words = $4
            where id = $1
        "#,
        borrowed,
        on,
        by,
        words
    )
    .execute(db)
    .await?;
    Ok(())
}

/// Every part as people may call it.
pub async fn called(db: &mut SqliteConnection) -> sqlx::Result<Vec<Called>> {
    sqlx::query_as!(
        Called,
        r#"select id as "part: PartId", number, name, colour from part"#
    )
    .fetch_all(db)
    .await
}

/// Pieces that are not ours, found while counting a place.
#[derive(Debug, Clone)]
pub struct NotOurs {
    pub id: NotOursId,
    pub qty: i64,
    pub words: String,
    /// Whose they are, where that is known.
    pub whose: Option<String>,
    pub place_name: String,
    pub person_name: String,
    pub done_at: Instant,
}

macro_rules! not_ours {
    ($rest:literal, $($value:expr),+) => {
        sqlx::query_as!(
            NotOurs,
            r#"
            select
                not_ours.id as "id!: NotOursId",
                not_ours.qty as "qty!: i64",
                not_ours.words as "words!",
                coalesce(borrowed.lender, lender.name) as "whose?: String",
                place.name as "place_name!",
                person.name as "person_name!",
                not_ours.done_at as "done_at!: Instant"
            from not_ours
            join stint on stint.id = not_ours.stint_id
            join place on place.id = stint.place_id
            join person on person.id = not_ours.person_id
            left join borrowed on borrowed.id = not_ours.borrowed_id
            left join loan on loan.id = not_ours.loan_id
            left join team as lender on lender.id = loan.lender_id
            where not_ours.withdrawn_at is null
            "# + $rest,
            $($value),+
        )
    };
}

pub async fn not_ours_of_stint(
    db: &mut SqliteConnection,
    stint: StintId,
) -> sqlx::Result<Vec<NotOurs>> {
    not_ours!(
        "and not_ours.stint_id = $1 order by not_ours.done_at, not_ours.id",
        stint
    )
    .fetch_all(db)
    .await
}

pub async fn not_ours_of_borrowed(
    db: &mut SqliteConnection,
    borrowed: BorrowedId,
) -> sqlx::Result<Vec<NotOurs>> {
    not_ours!(
        "and not_ours.borrowed_id = $1 order by not_ours.done_at, not_ours.id",
        borrowed
    )
    .fetch_all(db)
    .await
}

pub async fn add_not_ours(
    db: &mut SqliteConnection,
    (id, stint, person): (NotOursId, StintId, PersonId),
    pieces: &Pieces,
    (borrowed, loan): (Option<BorrowedId>, Option<LoanId>),
    now: Instant,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into not_ours (
                id, stint_id, qty, words, part_id, borrowed_id, loan_id, person_id, done_at
            )
            values ($1, $2, $3, $4, $5, $6, $7, $8, $9)
        "#,
        id,
        stint,
        pieces.qty,
        pieces.words,
        pieces.part,
        borrowed,
        loan,
        person,
        now
    )
    .execute(db)
    .await?;
    Ok(())
}

/// It was a mistake; answers whether it stood there.
pub async fn withdraw_not_ours(
    db: &mut SqliteConnection,
    (id, stint): (NotOursId, StintId),
    now: Instant,
) -> sqlx::Result<bool> {
    let done = sqlx::query!(
        r#"
            update not_ours
            set withdrawn_at = $3
            where id = $1 and stint_id = $2 and withdrawn_at is null
        "#,
        id,
        stint,
        now
    )
    .execute(db)
    .await?;
    Ok(done.rows_affected() == 1)
}
