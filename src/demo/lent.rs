//! Lends some of the invented crates: one loan is out, one is overdue.

use anyhow::Context;

use super::fill::{Story, unrefused};
use super::kept::{Kits, Places};
use super::world::story::{LENT, Lent};
use super::world::{Days, Minutes};
use crate::loans::rules::lending::{AS_CLOSED, NOT_COUNTED, Typed};
use crate::loans::{self, Chosen};

pub(super) async fn lend(story: &Story, kits: &Kits, places: &Places) -> anyhow::Result<()> {
    for lent in LENT {
        hand_out(story, kits, places, lent).await?;
    }
    Ok(())
}

async fn hand_out(story: &Story, kits: &Kits, places: &Places, lent: &Lent) -> anyhow::Result<()> {
    story.go_to(Minutes((lent.out.0 * 24 * 60).min(-5)));
    let day = |days: Days| days.date(story.today().0).to_string();
    let typed = Typed {
        borrower: lent.to.into(),
        contact: String::new(),
        purpose: lent.purpose.into(),
        out_on: day(lent.out),
        due_on: day(lent.due),
        counted: if lent.not_counted.is_empty() {
            AS_CLOSED.into()
        } else {
            NOT_COUNTED.into()
        },
        not_counted: lent.not_counted.into(),
        despite: lent.despite.into(),
    };
    let mut chosen = Chosen::default();
    for name in lent.crates {
        let id = places
            .get(name)
            .with_context(|| format!("no crate {name}"))?;
        chosen.crates.push(id.to_string());
    }
    let viewer = story.viewer(lent.by)?;
    let sent = story.sent();
    let kit = kits.id(lent.kit)?;
    unrefused(loans::lend(&story.app, viewer, &sent, kit, None, &typed, &chosen).await)?;
    Ok(())
}
