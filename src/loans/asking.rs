//! Asking for a kit, the answer, and more days.

use super::free;
use super::rules::lending::{self, Typed};
use super::rules::words::State;
use super::store::{self, NewLoan, NewStep};
use super::{found, refused};
use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::ids::{KitId, LoanId, TeamId};
use crate::kits;
use crate::people::Viewer;
use crate::receipts::{self, Outcome, Sent};
use crate::web::form::Wrong;

/// A team asks for another team's kit for some days.
pub async fn ask(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    kit: KitId,
    team: TeamId,
    typed: &Typed,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    if !viewer.keeps(team) {
        return Err(NotDone::Failed(AppError::Forbidden(
            "Only a team's keeper and deputies ask for it.".into(),
        )));
    }
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let kit = kits::find(tx, kit)
            .await?
            .ok_or(AppError::NotFound("kit"))?;
        if kit.team == team {
            return Err(refused("team", "this kit is yours already"));
        }
        if kit.put_away {
            return Err(refused("", "this kit was put away"));
        }
        let days = lending::read_days(typed).map_err(NotDone::Refused)?;
        if days.due_on < viewer.today(app) {
            return Err(refused("due_on", "that day has passed"));
        }
        let wanted = free::Wanted {
            out_on: days.out_on,
            due_on: days.due_on,
            loan: None,
            whole: true,
            today: viewer.today(app),
            by_lender: false,
            despite: "",
        };
        free::granted(tx, &kit, wanted, "out_on").await?;
        let now = app.clock.now();
        let new = NewLoan {
            id: LoanId::new(),
            number: store::next_number(tx).await?,
            lender: kit.team,
            kit: kit.id,
            borrower: Some(team),
            outsider: "",
            contact: "",
            purpose: &days.purpose,
            out_on: days.out_on,
            due_on: days.due_on,
            state: State::Asked,
            counted: None,
            not_counted: "",
            whole_kit: false,
            spot: None,
            now,
        };
        store::insert(tx, &new).await?;
        let step = NewStep {
            kind: "asked",
            words: &days.purpose,
            due_on: None,
            entry: None,
            of_borrower: true,
            person: viewer.person,
            now,
        };
        store::add_step(tx, new.id, &step).await?;
        Ok(format!("/loans/{}", new.id))
    })
    .await
}

/// What the lender's keeper says to a team that asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    Agree,
    Decline,
}

/// Agrees, or declines with a word why.
pub async fn answer(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    loan: LoanId,
    answer: Answer,
    why: &str,
    despite: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        let may = match answer {
            Answer::Agree => loan.state == State::Asked,
            // What was agreed to can still be called off before it leaves.
            Answer::Decline => matches!(loan.state, State::Asked | State::Agreed),
        };
        if !may {
            return Err(refused("", "this was answered already"));
        }
        let why = short(why, "why")?;
        if answer == Answer::Decline && why.is_empty() {
            return Err(refused("why", "say in a word why not"));
        }
        if answer == Answer::Agree {
            let kit = kits::find(tx, loan.kit)
                .await?
                .ok_or(AppError::NotFound("kit"))?;
            let wanted = free::Wanted {
                out_on: loan.out_on,
                due_on: loan.due_on,
                loan: Some(loan.id),
                whole: true,
                today: viewer.today(app),
                by_lender: true,
                despite,
            };
            let despite = free::granted(tx, &kit, wanted, "despite").await?;
            store::set_despite(tx, loan.id, &despite).await?;
        }
        let (state, kind) = match answer {
            Answer::Agree => (State::Agreed, "agreed"),
            Answer::Decline => (State::Declined, "declined"),
        };
        store::set_state(tx, loan.id, state).await?;
        let step = NewStep {
            kind,
            words: why,
            due_on: None,
            entry: None,
            of_borrower: false,
            person: viewer.person,
            now: app.clock.now(),
        };
        store::add_step(tx, loan.id, &step).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}

/// The team that asked asks no more.
pub async fn withdraw(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    loan: LoanId,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        if !matches!(loan.state, State::Asked | State::Agreed) {
            return Err(refused("", "this does not wait any more"));
        }
        store::set_state(tx, loan.id, State::Withdrawn).await?;
        let step = NewStep {
            kind: "withdrawn",
            words: "",
            due_on: None,
            entry: None,
            of_borrower: true,
            person: viewer.person,
            now: app.clock.now(),
        };
        store::add_step(tx, loan.id, &step).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}

/// Gives a loan more days, with a reason.
pub async fn extend(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    loan: LoanId,
    due_on: &str,
    why: &str,
    despite: &str,
) -> Result<Outcome, NotDone<Vec<Wrong>>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let loan = found(tx, loan).await?;
        if !loan.is_out() {
            return Err(refused("", "only what is out can be due later"));
        }
        let due_on: Day = due_on
            .trim()
            .parse()
            .map_err(|_| refused("later_due_on", "say by which day it comes back"))?;
        if due_on <= loan.due_on {
            let text = format!(
                "it is due on {} now; choose a later day",
                loan.due_on.words()
            );
            return Err(refused("later_due_on", text));
        }
        let why = short(why, "later_why")?;
        if why.is_empty() {
            return Err(refused("later_why", "say why it may stay longer"));
        }
        let kit = kits::find(tx, loan.kit)
            .await?
            .ok_or(AppError::NotFound("kit"))?;
        let wanted = free::Wanted {
            // The days it has already are its own.
            out_on: loan.due_on.plus_days(1),
            due_on,
            loan: Some(loan.id),
            whole: loan.whole_kit,
            today: viewer.today(app),
            by_lender: true,
            despite,
        };
        let despite = free::granted(tx, &kit, wanted, "later_despite").await?;
        if !despite.is_empty() {
            store::set_despite(tx, loan.id, &despite).await?;
        }
        store::set_due(tx, loan.id, due_on).await?;
        let step = NewStep {
            kind: "due later",
            words: why,
            due_on: Some(due_on),
            entry: None,
            of_borrower: false,
            person: viewer.person,
            now: app.clock.now(),
        };
        store::add_step(tx, loan.id, &step).await?;
        Ok(format!("/loans/{}", loan.id))
    })
    .await
}

fn short<'a>(text: &'a str, field: &str) -> Result<&'a str, NotDone<Vec<Wrong>>> {
    let text = text.trim();
    if text.chars().count() > 500 {
        return Err(refused(field, "at most 500 characters"));
    }
    Ok(text)
}
