//! Lends some of the invented crates: one loan is overdue, one was handed on, one is outside the league; and borrows.

use std::collections::BTreeMap;

use anyhow::Context;

use super::fill::{Story, id_in, unrefused};
use super::kept::{Kits, Places};
use super::world::story::{GUESTS, LENT, Lent, Onward};
use super::world::{Days, Minutes};
use crate::ids::{LoanId, PlaceId};
use crate::lent::{self, Made};
use crate::loans::onward::{COUNTED, going};
use crate::loans::rules::borrowed::Typed as Borrowing;
use crate::loans::rules::lending::{AS_CLOSED, NOT_COUNTED, Typed};
use crate::loans::{self, Chosen, OnwardTyped, Side, Speaker};

pub(super) async fn lend(story: &Story, kits: &Kits, places: &Places) -> anyhow::Result<()> {
    for lent in LENT {
        let crates = lent
            .crates
            .iter()
            .map(|name| {
                let id = places.get(name);
                id.copied().with_context(|| format!("no crate {name}"))
            })
            .collect::<anyhow::Result<Vec<_>>>()?;
        let loan = hand_out(story, kits, lent, &crates).await?;
        if !lent.phone.is_empty() {
            open_link(story, lent, loan).await?;
        }
        if let Some(onward) = &lent.onward {
            hand_on(story, lent, onward, loan, &crates).await?;
        }
    }
    borrow(story).await
}

/// Goes to a day, or to a moment ago where that day is today.
fn go_to(story: &Story, days: Days) {
    story.go_to(Minutes((days.0 * 24 * 60).min(-5)));
}

fn date(story: &Story, days: Days) -> String {
    days.date(story.today().0).to_string()
}

async fn hand_out(
    story: &Story,
    kits: &Kits,
    lent: &Lent,
    crates: &[PlaceId],
) -> anyhow::Result<LoanId> {
    go_to(story, lent.out);
    let typed = Typed {
        borrower: lent.to.into(),
        contact: lent.contact.into(),
        purpose: lent.purpose.into(),
        out_on: date(story, lent.out),
        due_on: date(story, lent.due),
        counted: if lent.not_counted.is_empty() {
            AS_CLOSED.into()
        } else {
            NOT_COUNTED.into()
        },
        not_counted: lent.not_counted.into(),
        despite: lent.despite.into(),
    };
    let mut chosen = Chosen::default();
    chosen.crates.extend(crates.iter().map(PlaceId::to_string));
    let viewer = story.viewer(lent.by)?;
    let sent = story.sent();
    let kit = kits.id(lent.kit)?;
    let out = unrefused(loans::lend(&story.app, viewer, &sent, kit, None, &typed, &chosen).await)?;
    id_in(out.location())
}

/// The borrower opens the loan's link on a phone and says that all of it is there.
async fn open_link(story: &Story, lent: &Lent, loan: LoanId) -> anyhow::Result<()> {
    let viewer = story.viewer(lent.by)?;
    let made = unrefused(lent::make(&story.app, viewer, &story.sent(), loan).await)?;
    let Made::Now(key) = made else {
        anyhow::bail!("the link was made before");
    };
    let token = unrefused(lent::open(&story.app, &key, lent.phone).await)?;
    let phone = lent::phone(&story.app, &token).await?.context("a phone")?;
    let speaker = Speaker::phone(phone.id);
    let sent = story.sent();
    unrefused(loans::confirm_count(&story.app, &speaker, &sent, loan, "yes", "").await)?;
    Ok(())
}

/// The borrower asks, the lender says yes, and both who give and who get it count.
async fn hand_on(
    story: &Story,
    lent: &Lent,
    onward: &Onward,
    loan: LoanId,
    crates: &[PlaceId],
) -> anyhow::Result<()> {
    let app = &story.app;
    go_to(story, onward.asked);
    let typed = OnwardTyped {
        to: onward.to.into(),
        contact: String::new(),
        why: onward.why.into(),
        crates: crates.iter().map(PlaceId::to_string).collect(),
    };
    let speaker = Speaker::member(story.viewer(onward.by)?, Side::Borrower, loan);
    unrefused(loans::ask_onward(app, &speaker, &story.sent(), loan, &typed).await)?;
    let lender = story.viewer(lent.by)?;
    let of = (loan, 1);
    unrefused(loans::answer_onward(app, lender, &story.sent(), of, true, "").await)?;
    go_to(story, onward.done);
    let mut db = app.db.read().await?;
    let mut counted = BTreeMap::from([("counted".to_owned(), COUNTED.to_owned())]);
    for line in going(&mut db, loan, 1)
        .await?
        .iter()
        .flat_map(|place| &place.lines)
    {
        let qty: i64 = line.out.states.iter().sum();
        counted.insert(line.field.clone(), qty.to_string());
    }
    drop(db);
    unrefused(loans::handed_on(app, &speaker, &story.sent(), of, &counted).await)?;
    Ok(())
}

async fn borrow(story: &Story) -> anyhow::Result<()> {
    for guest in GUESTS {
        go_to(story, guest.out);
        let typed = Borrowing {
            lender: guest.lender.into(),
            contact: guest.contact.into(),
            crates: guest.crates.into(),
            pieces: guest.pieces.into(),
            purpose: guest.purpose.into(),
            out_on: date(story, guest.out),
            due_on: date(story, guest.due),
        };
        let (viewer, team) = (story.viewer(guest.by)?, story.team(guest.team)?);
        let done = loans::borrow(&story.app, viewer, &story.sent(), team, &typed).await;
        let borrowed = id_in(unrefused(done)?.location())?;
        let (due, why) = guest.later;
        let due = date(story, due);
        let sent = story.sent();
        unrefused(loans::keep_until(&story.app, viewer, &sent, borrowed, &due, why).await)?;
    }
    Ok(())
}
