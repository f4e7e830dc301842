//! Handed on to a team of the league: what of another team's loan is or was with it, which is all that its members
//! see of that loan.

use sqlx::SqliteConnection;

use super::rules::stretches::Stretch;
use super::saying::Speaker;
use super::store::{self, Difference, HeldLine, LoanPlace, Onward, Side};
use super::{Loan, hands, refused};
use crate::error::{AppError, NotDone};
use crate::ids::{LoanId, PlaceId, TeamId};
use crate::people::Viewer;
use crate::places;
use crate::web::form::Wrong;

/// One handing on, as the team reads it that it went to.
#[derive(Debug, Clone)]
pub struct Held {
    pub onward: Onward,
    /// Crates with when they left this team again; `None` while it has them.
    pub stretches: Vec<Stretch>,
    pub places: Vec<LoanPlace>,
    /// What both counted as it was handed on; none where nobody counted.
    pub lines: Vec<HeldLine>,
    /// What lacked or broke in that time, as far as it is laid to it.
    pub laid: Vec<Difference>,
}

impl Held {
    /// Something of it is still with the team.
    pub fn is_here(&self) -> bool {
        self.stretches.iter().any(|one| one.until.is_none())
    }
}

/// What of a loan was handed on to teams of the viewer's, in order.
pub async fn held(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    loan: &Loan,
) -> sqlx::Result<Vec<Held>> {
    let hands = hands(db, loan, "").await?;
    let places = store::places(db, loan.id).await?;
    let went = store::onward_places(db, loan.id).await?;
    let lines = store::held_lines(db, loan.id).await?;
    let differences = store::differences(db, loan.id).await?;
    let mut all = Vec::new();
    for onward in store::onwards(db, loan.id).await? {
        let is_ours = onward
            .team
            .is_some_and(|team| viewer.role_in(team).is_some());
        if !is_ours || onward.handed_at.is_none() {
            continue;
        }
        let n = onward.n;
        all.push(Held {
            stretches: hands.iter().filter(|one| one.n == n).cloned().collect(),
            places: places
                .iter()
                .filter(|place| went.contains(&(n, place.place)))
                .cloned()
                .collect(),
            lines: lines.iter().filter(|line| line.n == n).cloned().collect(),
            laid: differences
                .iter()
                .filter(|one| one.laid_to == Some(n))
                .cloned()
                .collect(),
            onward,
        });
    }
    Ok(all)
}

/// A team of the league that has a place on loan.
#[derive(Debug, Clone)]
pub struct HasIt {
    pub loan: LoanId,
    pub loan_number: i64,
    pub team: TeamId,
    pub team_name: String,
    pub side: Side,
}

impl HasIt {
    /// One of its members, about that loan.
    pub fn speaker(&self, viewer: &Viewer) -> Speaker {
        match self.side {
            Side::Holder(n) => Speaker::holder(viewer, self.loan, n),
            side => Speaker::member(viewer, side, self.loan),
        }
    }

    /// Where its members see the loan.
    pub fn path(&self) -> String {
        match self.side {
            Side::Holder(_) => format!("/loans/{}/held", self.loan),
            _ => format!("/loans/{}", self.loan),
        }
    }
}

/// The viewer's team that has a place on loan: as the loan's borrower, or because it was handed on to it.
pub async fn has_it(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    place: PlaceId,
) -> sqlx::Result<Option<HasIt>> {
    if viewer.memberships().is_empty() {
        return Ok(None);
    }
    let way: Vec<PlaceId> = places::way(db, place)
        .await?
        .into_iter()
        .map(|step| step.id)
        .collect();
    for membership in viewer.memberships() {
        let team = membership.team;
        if let Some((loan, loan_number, held)) = store::with_team(db, &way, team).await? {
            return Ok(Some(HasIt {
                loan,
                loan_number,
                team,
                team_name: membership.team_name.clone(),
                side: held.map_or(Side::Borrower, Side::Holder),
            }));
        }
    }
    Ok(None)
}

/// Speaks for a team about what was handed on to it and is still there.
pub async fn holder(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    loan: LoanId,
    n: i64,
) -> Result<Speaker, NotDone<Vec<Wrong>>> {
    let loan = store::find(db, loan)
        .await?
        .ok_or(AppError::NotFound("loan"))?;
    let all = held(db, viewer, &loan).await?;
    let one = all
        .iter()
        .find(|one| one.onward.n == n)
        .ok_or(AppError::NotFound("handing on"))?;
    if !one.onward.team.is_some_and(|team| viewer.keeps(team)) {
        let why = "This is for the keeper and deputies of the team that has it.";
        return Err(NotDone::Failed(AppError::Forbidden(why.into())));
    }
    if !one.is_here() {
        return Err(refused("", "all of it went on or back already"));
    }
    Ok(Speaker::holder(viewer, loan.id, n))
}
