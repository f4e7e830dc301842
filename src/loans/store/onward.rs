//! The queries about crates that are handed on.

use sqlx::SqliteConnection;

use crate::clock::Instant;
use crate::ids::{KitId, LoanId, PartId, PersonId, PlaceId, TeamId};
use crate::loans::rules::words::OnwardState;

/// Crates that the borrower hands on, or asks to.
#[derive(Debug, Clone)]
pub struct Onward {
    pub n: i64,
    pub team: Option<TeamId>,
    /// The team's name, or the name that was written in.
    pub to: String,
    pub contact: String,
    pub why: String,
    pub state: OnwardState,
    pub answer: String,
    pub answered_by: Option<PersonId>,
    pub handed_at: Option<Instant>,
    pub counted: bool,
    pub not_counted: String,
}

pub async fn onwards(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<Onward>> {
    sqlx::query_as!(
        Onward,
        r#"
            select
                loan_onward.n,
                loan_onward.team_id as "team: TeamId",
                coalesce(team.name, loan_onward.outsider) as "to!: String",
                loan_onward.contact,
                loan_onward.why,
                loan_onward.state as "state: OnwardState",
                loan_onward.answer,
                loan_onward.answered_by as "answered_by: PersonId",
                loan_onward.handed_at as "handed_at: Instant",
                loan_onward.counted as "counted: bool",
                loan_onward.not_counted
            from loan_onward
            left join team on team.id = loan_onward.team_id
            where loan_onward.loan_id = $1
            order by loan_onward.n
        "#,
        loan
    )
    .fetch_all(db)
    .await
}

/// The crates of each asking: its number and a crate.
pub async fn onward_places(
    db: &mut SqliteConnection,
    loan: LoanId,
) -> sqlx::Result<Vec<(i64, PlaceId)>> {
    let rows = sqlx::query!(
        r#"
            select n, place_id as "place: PlaceId"
            from loan_onward_place
            where loan_id = $1
            order by n
        "#,
        loan
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.n, row.place)).collect())
}

/// What was counted when it was handed on.
#[derive(Debug, Clone, Copy)]
pub struct OnwardLine {
    pub n: i64,
    pub place: PlaceId,
    pub part: PartId,
    pub kit: KitId,
    pub qty: i64,
}

pub async fn onward_lines(
    db: &mut SqliteConnection,
    loan: LoanId,
) -> sqlx::Result<Vec<OnwardLine>> {
    sqlx::query_as!(
        OnwardLine,
        r#"
            select
                n,
                place_id as "place: PlaceId",
                part_id as "part: PartId",
                kit_id as "kit: KitId",
                qty
            from loan_onward_line
            where loan_id = $1
            order by n
        "#,
        loan
    )
    .fetch_all(db)
    .await
}

/// What both counted as it was handed on, as they read it.
#[derive(Debug, Clone)]
pub struct HeldLine {
    pub n: i64,
    pub place_name: String,
    pub name: String,
    pub colour: String,
    pub number: String,
    pub qty: i64,
}

pub async fn held_lines(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<HeldLine>> {
    sqlx::query_as!(
        HeldLine,
        r#"
            select
                loan_onward_line.n,
                place.name as place_name,
                part.name,
                part.colour,
                part.number,
                loan_onward_line.qty
            from loan_onward_line
            join place on place.id = loan_onward_line.place_id
            join part on part.id = loan_onward_line.part_id
            where loan_onward_line.loan_id = $1
            order by loan_onward_line.n, place.position, part.name, part.colour, part.number
        "#,
        loan
    )
    .fetch_all(db)
    .await
}

pub struct NewOnward<'a> {
    pub n: i64,
    pub team: Option<TeamId>,
    pub outsider: &'a str,
    pub contact: &'a str,
    pub why: &'a str,
    pub places: &'a [PlaceId],
    pub now: Instant,
}

pub async fn add_onward(
    db: &mut SqliteConnection,
    loan: LoanId,
    new: &NewOnward<'_>,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            insert into loan_onward (loan_id, n, team_id, outsider, contact, why, state, asked_at)
            values ($1, $2, $3, $4, $5, $6, 'asked', $7)
        "#,
        loan,
        new.n,
        new.team,
        new.outsider,
        new.contact,
        new.why,
        new.now
    )
    .execute(&mut *db)
    .await?;
    for place in new.places {
        sqlx::query!(
            r#"insert into loan_onward_place (loan_id, n, place_id) values ($1, $2, $3)"#,
            loan,
            new.n,
            place
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
}

/// The lender's yes or no, with a word why and whose it was.
pub async fn answer_onward(
    db: &mut SqliteConnection,
    loan: LoanId,
    n: i64,
    state: OnwardState,
    answer: &str,
    by: PersonId,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update loan_onward
            set state = $3, answer = $4, answered_by = $5
            where loan_id = $1 and n = $2
        "#,
        loan,
        n,
        state,
        answer,
        by
    )
    .execute(db)
    .await?;
    Ok(())
}

pub async fn drop_onward(db: &mut SqliteConnection, loan: LoanId, n: i64) -> sqlx::Result<()> {
    sqlx::query!(
        r#"update loan_onward set state = 'dropped' where loan_id = $1 and n = $2"#,
        loan,
        n
    )
    .execute(db)
    .await?;
    Ok(())
}

/// It was handed on: where it stands since, and on what count.
pub async fn hand_on(
    db: &mut SqliteConnection,
    (loan, n): (LoanId, i64),
    spot: PlaceId,
    now: Instant,
    not_counted: &str,
    lines: &[OnwardLine],
) -> sqlx::Result<()> {
    let counted = not_counted.is_empty();
    sqlx::query!(
        r#"
            update loan_onward
            set state = 'done', spot_id = $3, handed_at = $4, counted = $5, not_counted = $6
            where loan_id = $1 and n = $2
        "#,
        loan,
        n,
        spot,
        now,
        counted,
        not_counted
    )
    .execute(&mut *db)
    .await?;
    for line in lines {
        sqlx::query!(
            r#"
                insert into loan_onward_line (loan_id, n, place_id, part_id, kit_id, qty)
                values ($1, $2, $3, $4, $5, $6)
            "#,
            loan,
            n,
            line.place,
            line.part,
            line.kit,
            line.qty
        )
        .execute(&mut *db)
        .await?;
    }
    Ok(())
}

/// Lays a difference to a stretch.
pub async fn lay(
    db: &mut SqliteConnection,
    (loan, line): (LoanId, i64),
    n: i64,
    by: &str,
    words: &str,
) -> sqlx::Result<()> {
    sqlx::query!(
        r#"
            update loan_difference
            set laid_to = $3, laid_by = $4, laid_words = $5
            where loan_id = $1 and line = $2
        "#,
        loan,
        line,
        n,
        by,
        words
    )
    .execute(db)
    .await?;
    Ok(())
}

/// When a loan left.
pub async fn left_at(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Option<Instant>> {
    sqlx::query_scalar!(
        r#"
            select done_at as "at: Instant"
            from loan_step
            where loan_id = $1 and kind = 'handed out'
            order by line desc
            limit 1
        "#,
        loan
    )
    .fetch_optional(db)
    .await
}

/// How many pieces of a part left in a place, or loose.
#[derive(Debug, Clone, Copy)]
pub struct LeftLine {
    pub place: PlaceId,
    pub part: PartId,
    pub kit: KitId,
    pub qty: i64,
    pub loose: bool,
}

pub async fn left_lines(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Vec<LeftLine>> {
    sqlx::query_as!(
        LeftLine,
        r#"
            select
                place_id as "place!: PlaceId",
                part_id as "part: PartId",
                kit_id as "kit: KitId",
                qty,
                loose as "loose: bool"
            from loan_line
            where loan_id = $1 and place_id is not null
        "#,
        loan
    )
    .fetch_all(db)
    .await
}
