//! What is with whom, and what was.

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::{KitId, TeamId};
use crate::kits;
use crate::loans::rules::words::State as LoanState;
use crate::loans::{Borrowed, Loan, store};
use crate::people::Viewer;
use crate::people::viewer::form_encode;
use crate::web::extract::Query;
use crate::web::frame::Frame;
use crate::web::page::Page;

/// Loans that are over, as many as a page shows.
const MOST_OVER: i64 = 100;

#[derive(Template)]
#[template(path = "loans/lend.html")]
pub(super) struct LendPage {
    frame: Frame,
    today: Day,
    /// The viewer's teams.
    teams: Vec<TeamId>,
    out: Vec<Loan>,
    back: Vec<Loan>,
    borrowed: Vec<Loan>,
    asked: Vec<Loan>,
    /// Of loans to other teams, what they handed on to us.
    held: Vec<Loan>,
    /// From outside the league.
    guests: Vec<Borrowed>,
    /// Kits the viewer may lend: id, name.
    kits: Vec<(KitId, String)>,
    /// The first team whose kits the viewer keeps.
    keeps: Option<TeamId>,
}

impl LendPage {
    fn is_ours(&self, loan: &Loan) -> bool {
        self.teams.contains(&loan.lender)
    }

    fn sentence(&self, loan: &Loan) -> String {
        loan.sentence(self.today)
    }

    fn is_overdue(&self, loan: &Loan) -> bool {
        loan.is_overdue(self.today)
    }

    fn due(&self, loan: &Loan) -> String {
        loan.due_words(self.today)
    }

    fn is_late(&self, one: &Borrowed) -> bool {
        one.is_overdue(self.today)
    }

    fn goes_back(&self, one: &Borrowed) -> String {
        one.due_words(self.today)
    }

    fn has_any(&self) -> bool {
        !(self.out.is_empty()
            && self.back.is_empty()
            && self.borrowed.is_empty()
            && self.held.is_empty()
            && self.guests.is_empty()
            && self.asked.is_empty())
    }
}

pub(super) async fn lend(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
) -> Result<Page<LendPage>, AppError> {
    let mut db = app.db.read().await?;
    let mut page = LendPage {
        frame,
        today: viewer.today(&app),
        teams: viewer.memberships().iter().map(|one| one.team).collect(),
        out: Vec::new(),
        back: Vec::new(),
        borrowed: Vec::new(),
        asked: Vec::new(),
        held: Vec::new(),
        guests: Vec::new(),
        kits: Vec::new(),
        keeps: viewer
            .memberships()
            .iter()
            .find(|one| one.role.keeps())
            .map(|one| one.team),
    };
    let mut known = std::collections::HashSet::new();
    for membership in viewer.memberships() {
        for loan in store::going_on(&mut db, membership.team).await? {
            if !known.insert(loan.id) {
                continue;
            }
            let list = match (loan.state, page.is_ours(&loan)) {
                (LoanState::Out, _) if loan.still_out == 0 => &mut page.back,
                (LoanState::Out, true) => &mut page.out,
                (LoanState::Out, false) => &mut page.borrowed,
                _ => &mut page.asked,
            };
            list.push(loan);
        }
        page.held
            .extend(store::held_by(&mut db, membership.team).await?);
        page.guests
            .extend(store::borrowed_by(&mut db, membership.team).await?);
        if membership.role.keeps() {
            let kits = kits::of_team(&mut db, membership.team).await?;
            page.kits
                .extend(kits.into_iter().map(|kit| (kit.id, kit.name)));
        }
    }
    page.out.sort_by_key(|loan| loan.due_on);
    page.borrowed.sort_by_key(|loan| loan.due_on);
    Ok(Page(page))
}

#[derive(Deserialize)]
pub(super) struct Wanted {
    #[serde(default)]
    borrower: String,
}

#[derive(Template)]
#[template(path = "loans/index.html")]
pub(super) struct IndexPage {
    frame: Frame,
    today: Day,
    borrower: String,
    loans: Vec<Loan>,
    /// Of loans to other teams, what they handed on to us.
    held: Vec<Loan>,
    /// From outside the league, given back already.
    guests: Vec<Borrowed>,
}

impl IndexPage {
    fn sentence(&self, loan: &Loan) -> String {
        loan.sentence(self.today)
    }

    fn is_overdue(&self, loan: &Loan) -> bool {
        loan.is_overdue(self.today)
    }

    fn of_borrower(&self, loan: &Loan) -> String {
        format!("/loans?borrower={}", form_encode(&loan.borrower_name))
    }

    fn heading(&self) -> String {
        if self.borrower.is_empty() {
            "All loans".into()
        } else {
            format!("Lent to {}", self.borrower)
        }
    }
}

pub(super) async fn index(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Query(wanted): Query<Wanted>,
) -> Result<Page<IndexPage>, AppError> {
    let mut db = app.db.read().await?;
    let borrower = wanted.borrower.trim().to_owned();
    let mut loans: Vec<Loan> = Vec::new();
    let mut guests = Vec::new();
    let mut held = Vec::new();
    for membership in viewer.memberships() {
        let team = membership.team;
        if borrower.is_empty() {
            loans.extend(store::going_on(&mut db, team).await?);
            loans.extend(store::over(&mut db, team, MOST_OVER).await?);
            held.extend(store::held_ever(&mut db, team, MOST_OVER).await?);
            guests.extend(store::borrowed_before(&mut db, team, MOST_OVER).await?);
        } else {
            loans.extend(store::with_borrower(&mut db, team, &borrower).await?);
        }
    }
    loans.sort_by_key(|loan| std::cmp::Reverse(loan.number));
    loans.dedup_by_key(|loan| loan.id);
    Ok(Page(IndexPage {
        frame,
        today: viewer.today(&app),
        borrower,
        loans,
        held,
        guests,
    }))
}
