//! The queries about loans.

mod back;
mod borrowed;
mod drafts;
mod happened;
mod onward;
mod places;
mod said;
mod write;

pub use back::{Difference, add_difference, agree, came_home, difference, differences, lines_out};
pub use borrowed::{
    Borrowed, Later, NotOurs, add_borrowed, add_later, add_not_ours, borrowed_before, borrowed_by,
    borrowed_lines, called, find_borrowed, laters, not_ours_of_borrowed, not_ours_of_stint,
    set_given, withdraw_not_ours,
};
pub use drafts::{Draft, add_draft, draft, drop_drafts};
pub use happened::{LoanLine, lines, steps};
pub use onward::{
    HeldLine, NewOnward, Onward, OnwardLine, add_onward, answer_onward, drop_onward, hand_on,
    held_lines, lay, left_at, left_lines, onward_lines, onward_places, onwards,
};
pub use places::{LoanPlace, holder, places, spot, with_team};
pub use said::{By, NewNote, NewSay, Say, Side, add_note, add_say, last_note, says};
pub use write::{
    NewLine, NewLoan, NewStep, add_line, add_place, add_step, hand_out, insert, next_number,
    set_back, set_days_around, set_despite, set_due, set_state,
};

use sqlx::SqliteConnection;

use super::rules::words::State;
use crate::clock::{Day, Instant};
use crate::code::Code;
use crate::ids::{CountId, KitId, LoanId, PlaceId, TeamId};

#[derive(Debug, Clone)]
pub struct Loan {
    pub id: LoanId,
    pub number: i64,
    pub lender: TeamId,
    pub lender_name: String,
    pub kit: KitId,
    pub kit_name: String,
    pub kit_code: Code,
    /// `None` for somebody outside the league.
    pub borrower: Option<TeamId>,
    /// The team's name, or the name that was written in.
    pub borrower_name: String,
    pub contact: String,
    pub purpose: String,
    pub out_on: Day,
    pub due_on: Day,
    pub state: State,
    pub counted: Option<CountId>,
    pub counted_at: Option<Instant>,
    /// The code of that count.
    pub counted_code: Option<Code>,
    pub not_counted: String,
    pub whole_kit: bool,
    /// Why it was lent or promised although it was not free.
    pub despite: String,
    pub spot: Option<PlaceId>,
    /// Crates, and the bag of loose pieces, that are still out.
    pub still_out: i64,
    /// When the last of it came back.
    pub back_at: Option<Instant>,
    /// The lender's time zone.
    pub zone: String,
    /// When the borrower's side said last that it was given back, or that something differs; `None` where it said
    /// something else since.
    pub given_at: Option<Instant>,
    pub doubted_at: Option<Instant>,
    /// When the borrower said last that all of it is there.
    pub confirmed_at: Option<Instant>,
    /// Differences that wait for an agreement.
    pub open: i64,
    /// Of these, those about which the lender proposed something that the borrower has not answered.
    pub proposed: i64,
    /// Askings to hand some of it on that wait for the lender, and those that may be done.
    pub onward_asked: i64,
    pub onward_agreed: i64,
    /// Pieces that did not come back and are owed.
    pub owed: i64,
    /// Others who have some of it, because the borrower handed it on: "Tin Mill, Saddle Post".
    pub handed_to: Option<String>,
}

/// Loans with both sides' names, narrowed and ordered by the rest of the query.
macro_rules! loans {
    ($rest:tt $(, $value:expr)* $(,)?) => {
        sqlx::query_as!(
            Loan,
            r#"
            select
                loan.id as "id: LoanId",
                loan.number,
                loan.lender_id as "lender: TeamId",
                lender.name as lender_name,
                loan.kit_id as "kit: KitId",
                kit.name as kit_name,
                code.code as "kit_code: Code",
                loan.borrower_id as "borrower: TeamId",
                coalesce(borrower.name, loan.outsider) as "borrower_name!: String",
                loan.contact,
                loan.purpose,
                loan.out_on as "out_on: Day",
                loan.due_on as "due_on: Day",
                loan.state as "state: State",
                loan.counted_id as "counted: CountId",
                count_sheet.closed_at as "counted_at: Instant",
                (select code from code where subject_id = loan.counted_id)
                    as "counted_code?: Code",
                loan.not_counted,
                loan.whole_kit as "whole_kit: bool",
                loan.despite,
                loan.spot_id as "spot: PlaceId",
                (
                    select count(*) from loan_place
                    where loan_place.loan_id = loan.id and loan_place.back_at is null
                        and loan_place.kind <> 'owed'
                ) as "still_out!: i64",
                (
                    select max(back_at) from loan_place
                    where loan_place.loan_id = loan.id and loan_place.kind <> 'owed'
                ) as "back_at?: Instant",
                lender.zone,
                (
                    select max(done_at) from loan_note
                    where loan_note.loan_id = loan.id and loan_note.kind = 'given back'
                ) as "given_at?: Instant",
                (
                    select case when loan_note.kind = 'count doubted' then loan_note.done_at end
                    from loan_note
                    where loan_note.loan_id = loan.id
                        and loan_note.kind in ('count doubted', 'count confirmed')
                    order by loan_note.line desc
                    limit 1
                ) as "doubted_at?: Instant",
                (
                    select case when loan_note.kind = 'count confirmed' then loan_note.done_at end
                    from loan_note
                    where loan_note.loan_id = loan.id and loan_note.held_n is null
                        and loan_note.kind in ('count doubted', 'count confirmed')
                    order by loan_note.line desc
                    limit 1
                ) as "confirmed_at?: Instant",
                (
                    select count(*) from loan_difference
                    where loan_difference.loan_id = loan.id
                        and loan_difference.kind <> 'wrong crate'
                        and loan_difference.agreement = ''
                        and loan_difference.came_home < loan_difference.qty
                ) as "open!: i64",
                (
                    select count(*) from loan_difference
                    where loan_difference.loan_id = loan.id
                        and loan_difference.agreement = ''
                        and loan_difference.came_home < loan_difference.qty
                        and 'proposed' = (
                            select loan_say.kind from loan_say
                            where loan_say.loan_id = loan.id
                                and loan_say.line = loan_difference.line
                            order by loan_say.nth desc
                            limit 1
                        )
                ) as "proposed!: i64",
                (
                    select count(*) from loan_onward
                    where loan_onward.loan_id = loan.id and loan_onward.state = 'asked'
                ) as "onward_asked!: i64",
                (
                    select count(*) from loan_onward
                    where loan_onward.loan_id = loan.id and loan_onward.state = 'agreed'
                ) as "onward_agreed!: i64",
                (
                    select coalesce(sum(qty - came_home), 0) from loan_difference
                    where loan_difference.loan_id = loan.id and loan_difference.kind = 'missing'
                ) as "owed!: i64",
                (
                    select group_concat(name, ', ')
                    from (
                        select distinct loan_hand.name
                        from loan_place
                        join loan_hand using (loan_id, place_id)
                        where loan_place.loan_id = loan.id and loan_place.back_at is null
                            and loan_hand.name <> coalesce(borrower.name, loan.outsider)
                    )
                ) as "handed_to?: String"
            from loan
            join team as lender on lender.id = loan.lender_id
            join kit on kit.id = loan.kit_id
            join code on code.subject_id = kit.id
            left join team as borrower on borrower.id = loan.borrower_id
            left join count_sheet on count_sheet.id = loan.counted_id
            "# + $rest
            $(, $value)*
        )
    };
}

pub async fn find(db: &mut SqliteConnection, loan: LoanId) -> sqlx::Result<Option<Loan>> {
    loans!(
        r#"
            where loan.id = $1
        "#,
        loan
    )
    .fetch_optional(db)
    .await
}

/// What a team has lent, borrowed, asked for or is asked for, the longest due first.
pub async fn going_on(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Loan>> {
    loans!(
        r#"
            where (loan.lender_id = $1 or loan.borrower_id = $1)
                and loan.state in ('asked', 'agreed', 'out')
            order by loan.due_on, loan.number
        "#,
        team
    )
    .fetch_all(db)
    .await
}

/// What a team asked for and was declined since a moment, the latest first.
pub async fn declined_since(
    db: &mut SqliteConnection,
    team: TeamId,
    since: Instant,
) -> sqlx::Result<Vec<Loan>> {
    loans!(
        r#"
            where loan.borrower_id = $1 and loan.state = 'declined'
                and exists (
                    select 1 from loan_step
                    where loan_step.loan_id = loan.id and loan_step.kind = 'declined'
                        and loan_step.done_at >= $2
                )
            order by loan.number desc
        "#,
        team,
        since
    )
    .fetch_all(db)
    .await
}

/// Loans of other teams of which something was handed on to a team that still has it, the longest due first.
pub async fn held_by(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<Vec<Loan>> {
    loans!(
        r#"
            where loan.state = 'out' and loan.borrower_id is not $1
                and loan.id in (
                    select loan_place.loan_id
                    from loan_place
                    join loan_hand using (loan_id, place_id)
                    where loan_place.back_at is null and loan_hand.team_id = $1
                )
            order by loan.due_on, loan.number
        "#,
        team
    )
    .fetch_all(db)
    .await
}

/// Loans of other teams of which something was ever handed on to a team, the latest first; at most `most`.
pub async fn held_ever(
    db: &mut SqliteConnection,
    team: TeamId,
    most: i64,
) -> sqlx::Result<Vec<Loan>> {
    loans!(
        r#"
            where loan.borrower_id is not $1
                and loan.id in (
                    select loan_id from loan_onward where state = 'done' and team_id = $1
                )
            order by loan.number desc
            limit $2
        "#,
        team,
        most
    )
    .fetch_all(db)
    .await
}

/// What a team lent or borrowed before, the latest first; at most `most`.
pub async fn over(db: &mut SqliteConnection, team: TeamId, most: i64) -> sqlx::Result<Vec<Loan>> {
    loans!(
        r#"
            where (loan.lender_id = $1 or loan.borrower_id = $1)
                and loan.state not in ('asked', 'agreed', 'out')
            order by loan.number desc
            limit $2
        "#,
        team,
        most
    )
    .fetch_all(db)
    .await
}

/// What a team lent one borrower, or what was handed on to them, the latest first; at most 200.
pub async fn with_borrower(
    db: &mut SqliteConnection,
    team: TeamId,
    name: &str,
) -> sqlx::Result<Vec<Loan>> {
    loans!(
        r#"
            where loan.lender_id = $1
                and (
                    coalesce(borrower.name, loan.outsider) = $2
                    or loan.id in (
                        select loan_onward.loan_id
                        from loan_onward
                        left join team on team.id = loan_onward.team_id
                        where loan_onward.state = 'done'
                            and coalesce(team.name, loan_onward.outsider) = $2
                    )
                )
            order by loan.number desc
            limit 200
        "#,
        team,
        name
    )
    .fetch_all(db)
    .await
}

/// The loans of a kit that go on, the longest due first.
pub async fn of_kit(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<Loan>> {
    loans!(
        r#"
            where loan.kit_id = $1 and loan.state in ('asked', 'agreed', 'out')
            order by loan.due_on, loan.number
        "#,
        kit
    )
    .fetch_all(db)
    .await
}

/// The other teams of the league, by name.
pub async fn other_teams(
    db: &mut SqliteConnection,
    team: TeamId,
) -> sqlx::Result<Vec<(TeamId, String)>> {
    let rows = sqlx::query!(
        r#"select id as "id: TeamId", name from team where id <> $1 order by name"#,
        team
    )
    .fetch_all(db)
    .await?;
    Ok(rows.into_iter().map(|row| (row.id, row.name)).collect())
}

/// Where pieces of a kit lie now, outside places left out.
pub async fn holds(db: &mut SqliteConnection, kit: KitId) -> sqlx::Result<Vec<PlaceId>> {
    sqlx::query_scalar!(
        r#"
            select distinct place_id as "place: PlaceId"
            from balance
            where kit_id = $1 and outside = 0 and qty > 0
        "#,
        kit
    )
    .fetch_all(db)
    .await
}

/// The days a team needs before its kits go out and after they came back.
pub async fn days_around(db: &mut SqliteConnection, team: TeamId) -> sqlx::Result<(i64, i64)> {
    let row = sqlx::query!(
        r#"select days_before_loans, days_after_loans from team where id = $1"#,
        team
    )
    .fetch_one(db)
    .await?;
    Ok((row.days_before_loans, row.days_after_loans))
}
