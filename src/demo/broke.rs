//! What broke and was lost in the invented league.

use anyhow::Context;

use super::counted::Counted;
use super::fill::{Story, id_in, unrefused};
use super::kept::Kits;
use super::world::{self, KETTLEHORN, MARUNA, Minutes, OLD_NEEDLE};
use crate::damage::rules::standing::Kind;
use crate::damage::rules::telling::Typed;
use crate::damage::{self, AboutTyped, Decision};
use crate::events;
use crate::ids::{DamageId, PlaceId};
use crate::places;

pub(super) async fn tell(story: &Story, kits: &Kits, counted: &Counted) -> anyhow::Result<()> {
    old_needle(story, kits, counted).await?;
    strangers(story, kits).await
}

/// Last season's kit: a piece that is kept in use, one on the list for the next order, one lost.
async fn old_needle(story: &Story, kits: &Kits, counted: &Counted) -> anyhow::Result<()> {
    let kit = kits.id(OLD_NEEDLE)?;
    let mut db = story.app.db.read().await?;
    let mut pieces = places::pieces(&mut db, counted.old_crate, true).await?;
    drop(db);
    pieces.retain(|line| line.kit == kit && line.qty > 2);
    let [bent, cracked, lost, ..] = pieces.as_slice() else {
        anyhow::bail!("too few kinds of part in the crate of {OLD_NEEDLE}");
    };
    let viewer = story.viewer(MARUNA)?;
    let team = story.team(world::LEAGUE)?;
    let mut db = story.app.db.read().await?;
    let (from, to) = (story.today().plus_days(-60), story.today());
    let event = events::between(&mut db, from, to)
        .await?
        .into_iter()
        .find(|event| event.name == "Rope Bridge Day")
        .context("the event that is over")?;
    drop(db);
    for (line, what, usable, happened, decided) in [
        (bent, "broken", "yes", "bent", Some(Kind::KeptInUse)),
        (cracked, "broken", "unsure", "cracked", Some(Kind::ToOrder)),
        (lost, "lost", "", "", None),
    ] {
        story.go_to(Minutes(-9 * 24 * 60));
        let typed = Typed {
            what: what.into(),
            usable: usable.into(),
            happened: happened.into(),
            event_id: event.id.to_string(),
            ..Typed::default()
        };
        let about = AboutTyped {
            stand: format!("{}.{}.{}", line.part, line.kit, line.place),
            ..AboutTyped::default()
        };
        let sent = story.sent();
        let done = damage::tell(&story.app, viewer, &sent, team, &typed, &about).await;
        let report: DamageId = id_in(unrefused(done)?.location())?;
        let Some(kind) = decided else {
            continue;
        };
        story.go_to(Minutes(-8 * 24 * 60));
        let decision = Decision {
            kind,
            qty: 1,
            why: String::new(),
            from: String::new(),
        };
        let sent = story.sent();
        unrefused(damage::decide(&story.app, viewer, &sent, report, &decision).await)?;
    }
    Ok(())
}

/// What people without an account told about a bag: it waits.
async fn strangers(story: &Story, kits: &Kits) -> anyhow::Result<()> {
    let mut db = story.app.db.read().await?;
    let bags = places::in_kit(&mut db, kits.id(KETTLEHORN)?).await?;
    let bag: PlaceId = bags.first().context("a bag")?.id;
    let bag = places::find(&mut db, bag).await?.context("a bag")?;
    drop(db);
    story.go_to(Minutes(-35));
    let typed = Typed {
        note: "One of the long grey ones has a crack at the hole.".into(),
        reporter: "Sorrel".into(),
        ..Typed::default()
    };
    let sent = story.sent();
    let done = damage::tell_without_account(
        &story.app,
        &sent,
        &bag,
        &typed,
        &AboutTyped::default(),
        damage::Credit::Anybody,
    )
    .await;
    unrefused(done).map(|_| ())
}
