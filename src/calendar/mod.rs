//! The calendar: what goes out, what is due back, which events there are, and when each kit is free.
//!
//! Nothing is planned here: loans and events are, and this shows both as days, with what was borrowed elsewhere.
//! The same days can be taken into a calendar program by a private link, which shows one team's days for as long as
//! its owner belongs to that team and does not withdraw it.

pub mod feed;
pub mod pages;
pub mod rules;
mod store;

use sqlx::SqliteConnection;

use crate::app::App;
use crate::clock::Day;
use crate::error::{AppError, NotDone};
use crate::events;
use crate::ids::{FeedId, KitId, TeamId};
use crate::kits;
use crate::loans::availability::{Around, Kind, Stay, Taken};
use crate::loans::rules::words::State;
use crate::loans::{self, Borrowed, Loan};
use crate::people::Viewer;
use crate::places::rules::words::sentence;
use crate::receipts::{self, Outcome, Sent};
use crate::secret;
use rules::{Item, LinkRefused, What};

pub use store::{FeedLink, asked, feed, links};

/// Of the loans that are over, so many are looked at.
const MOST_OVER: i64 = 200;

/// The days of one team.
#[derive(Debug, Clone, Default)]
pub struct Days {
    pub items: Vec<Item>,
    pub kits: Vec<KitDays>,
}

/// What takes a kit away, loans and events together.
#[derive(Debug, Clone)]
pub struct KitDays {
    pub kit: KitId,
    pub name: String,
    pub taken: Vec<Taken<()>>,
    /// The days the team needs around its loans.
    pub around: Around,
    /// Who has a part of it, and until when. The rest can go elsewhere.
    pub parts_out: Vec<(String, Day)>,
}

/// A team's loans and events that touch the days from `from` to `to`, both included, and what takes its kits
/// from `from` on.
pub async fn days(
    db: &mut SqliteConnection,
    team: TeamId,
    from: Day,
    to: Day,
    today: Day,
) -> sqlx::Result<Days> {
    let mut loans = loans::going_on(db, team).await?;
    let going_on = loans.len();
    loans.extend(loans::over(db, team, MOST_OVER).await?);
    let mut items = Vec::new();
    for loan in &loans[..going_on] {
        items.extend(of_loan(loan, team, today));
    }
    // What is over stays in the months it was in.
    for loan in &loans[going_on..] {
        if loan.state == State::Closed {
            items.extend(of_loan(loan, team, today));
        }
    }
    for loan in loans::held_by(db, team).await? {
        items.push(of_held(&loan, today));
    }
    let mut guests = loans::borrowed_by(db, team).await?;
    guests.extend(loans::borrowed_before(db, team, MOST_OVER).await?);
    for one in &guests {
        items.extend(of_borrowed(one, today));
    }
    let all_events = events::between(db, from, to).await?;
    for event in &all_events {
        let ours = events::kits_of(db, event.id).await?;
        let ours: Vec<&str> = ours
            .iter()
            .filter(|kit| kit.team == team)
            .map(|kit| kit.kit_name.as_str())
            .collect();
        items.push(Item {
            uid: format!("event-{}", event.id),
            first: event.first_on,
            last: event.last_on,
            what: What::Event,
            words: match ours.as_slice() {
                [] => event.name.clone(),
                kits => format!("{}: {}", event.name, kits.join(", ")),
            },
            at: event.venue.clone(),
            href: format!("/events/{}", event.id),
            is_off: event.is_called_off,
        });
    }
    items.retain(|item| item.first <= to && from <= item.last);
    items.sort_by(|a, b| (a.first, a.last, &a.uid).cmp(&(b.first, b.last, &b.uid)));
    let mut kits = Vec::new();
    let around = loans::free::around(db, team).await?;
    for kit in kits::of_team(db, team).await? {
        let mut taken = Vec::new();
        let mut parts_out = Vec::new();
        for loan in loans[..going_on].iter().filter(|loan| {
            loan.kit == kit.id && loan.state != State::Asked && loan.back_on().is_none()
        }) {
            if is_of_a_part(loan) {
                parts_out.push((loan.borrower_name.clone(), loan.due_on));
            } else {
                taken.extend(taken_by(loan, around, today));
            }
        }
        for event in events::of_kit(db, kit.id, from).await? {
            let stay = Stay::new(event.first_on, Some(event.last_on), Around::default());
            taken.extend(stay.ok().map(|stay| Taken {
                id: (),
                kind: Kind::Event,
                name: event.event_name.clone(),
                stay,
            }));
        }
        kits.push(KitDays {
            kit: kit.id,
            name: kit.name,
            taken,
            around,
            parts_out,
        });
    }
    Ok(Days { items, kits })
}

/// Some crates or pieces went out, and the rest of the kit stayed.
fn is_of_a_part(loan: &Loan) -> bool {
    matches!(loan.state, State::Out | State::Closed) && !loan.whole_kit
}

fn taken_by(loan: &Loan, around: Around, today: Day) -> Option<Taken<()>> {
    let stay = Stay::new(loan.out_on, Some(loan.due_on), around).ok()?;
    // It is not free on a day it should be back by and is not.
    let stay = if loan.is_overdue(today) {
        stay.not_back_on(today).ok()?
    } else {
        stay
    };
    Some(Taken {
        id: (),
        kind: Kind::Loan,
        name: loan.borrower_name.clone(),
        stay,
    })
}

/// A loan as days: those it lasts, and the one by whose end it is due back.
fn of_loan(loan: &Loan, team: TeamId, today: Day) -> Vec<Item> {
    let is_ours = loan.lender == team;
    let Loan {
        id,
        lender_name,
        borrower_name,
        ..
    } = loan;
    let kit_name = if is_of_a_part(loan) {
        format!("part of {}", loan.kit_name)
    } else {
        loan.kit_name.clone()
    };
    let (goes, due) = match (loan.state, is_ours) {
        (State::Asked, true) => (format!("{borrower_name} asks for {kit_name}"), None),
        (State::Asked, false) => (format!("Asked {lender_name} for {kit_name}"), None),
        (_, true) => (
            format!("{kit_name} with {borrower_name}"),
            Some((
                What::DueBack,
                format!("{kit_name} due back from {borrower_name}"),
            )),
        ),
        (_, false) => (
            format!("{kit_name} from {lender_name}"),
            Some((
                What::GiveBack,
                format!("Give {kit_name} back to {lender_name}"),
            )),
        ),
    };
    let item = |uid: String, first, last, what, words: String| Item {
        uid,
        first,
        last,
        what,
        words: sentence(&words),
        at: String::new(),
        href: format!("/loans/{id}"),
        is_off: false,
    };
    let what = if loan.state == State::Asked {
        What::Asked
    } else {
        What::Loan
    };
    // The days it was away, once it is back.
    let last = loan.back_on().unwrap_or(loan.due_on).max(loan.out_on);
    let mut items = vec![item(format!("loan-{id}"), loan.out_on, last, what, goes)];
    // Once it is back nobody waits for it any more.
    if let Some((what, words)) = due.filter(|_| loan.back_on().is_none()) {
        let words = or_overdue(words, loan.is_overdue(today));
        items.push(item(
            format!("due-{id}"),
            loan.due_on,
            loan.due_on,
            what,
            words,
        ));
    }
    items
}

/// What was handed on to a team: by when it goes back. Whose loan it is answers for the days before.
fn of_held(loan: &Loan, today: Day) -> Item {
    let (kit, from) = (&loan.kit_name, &loan.borrower_name);
    let words = format!("Give some of {kit} back to {from}");
    Item {
        uid: format!("held-{}", loan.id),
        first: loan.due_on,
        last: loan.due_on,
        what: What::GiveBack,
        words: or_overdue(words, loan.is_overdue(today)),
        at: String::new(),
        href: format!("/loans/{}/held", loan.id),
        is_off: false,
    }
}

/// What was borrowed outside the league: the days it is with the team, and the one by whose end it goes back.
fn of_borrowed(one: &Borrowed, today: Day) -> Vec<Item> {
    let (what, lender) = (one.what(), &one.lender);
    let item = |uid: &str, (first, last), is, words: String| Item {
        uid: format!("{uid}-{}", one.id),
        first,
        last,
        what: is,
        words: sentence(&words),
        at: String::new(),
        href: format!("/borrowed/{}", one.id),
        is_off: false,
    };
    let until = one.given_on.unwrap_or(one.due_on).max(one.out_on);
    let mut items = vec![item(
        "borrowed",
        (one.out_on, until),
        What::Loan,
        format!("{what} from {lender}"),
    )];
    if one.is_with_us() {
        let words = format!("Give {what} back to {lender}");
        let words = or_overdue(words, one.is_overdue(today));
        let day = (one.due_on, one.due_on);
        items.push(item("give-back", day, What::GiveBack, words));
    }
    items
}

fn or_overdue(words: String, is_overdue: bool) -> String {
    if is_overdue {
        format!("{words} (overdue)")
    } else {
        words
    }
}

/// What became of the form that makes a link.
pub enum LinkMade {
    /// The path of the link, to be shown now and never again.
    Now { path: String },
    /// It was made before.
    Before(Outcome),
}

/// Makes a private link to a team's calendar.
pub async fn make_link(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    name: &str,
) -> Result<LinkMade, NotDone<LinkRefused>> {
    if viewer.role_in(team).is_none() {
        return Err(NotDone::Failed(AppError::Forbidden(
            "Only a team's members make links to its calendar.".into(),
        )));
    }
    let token = secret::token();
    let outcome = receipts::once(app, sent, Some(viewer.person), async |tx| {
        let own = store::links(tx, viewer.person).await?;
        let name = rules::link_name(name, own.len()).map_err(NotDone::Refused)?;
        let new = store::NewLink {
            id: FeedId::new(),
            token_hash: secret::hash(token.as_bytes()),
            team,
            person: viewer.person,
            name: &name,
            made_at: app.clock.now(),
        };
        store::insert(tx, &new).await?;
        Ok("/calendar/links".to_owned())
    })
    .await?;
    Ok(match outcome {
        Outcome::Done { .. } => LinkMade::Now {
            path: format!("/calendar/feed/{token}"),
        },
        again => LinkMade::Before(again),
    })
}

/// Withdraws one's own link: it shows nothing any more, from now on and for good.
pub async fn withdraw(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    link: FeedId,
) -> Result<Outcome, NotDone<LinkRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let done = store::withdraw(tx, link, viewer.person, app.clock.now()).await?;
        if !done {
            return Err(NotDone::Refused(LinkRefused::Gone));
        }
        Ok("/calendar/links".to_owned())
    })
    .await
}
