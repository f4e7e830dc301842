//! What broke and was lost in the invented league.

use anyhow::Context;

use super::counted::Counted;
use super::fill::{Story, id_in, unrefused};
use super::kept::Kits;
use super::world::{self, KETTLEHORN, MARUNA, Minutes, OLD_NEEDLE};
use crate::damage::rules::standing::Kind;
use crate::damage::rules::telling::Typed;
use crate::damage::shown::{self, Shows};
use crate::damage::{self, AboutTyped, Decision};
use crate::events;
use crate::ids::{DamageId, KitId, PartId, PlaceId, TeamId};
use crate::orders;
use crate::parts::{self, prices};
use crate::places;

pub(super) async fn tell(story: &Story, kits: &Kits, counted: &Counted) -> anyhow::Result<()> {
    old_needle(story, kits, counted).await?;
    strangers(story, kits).await
}

/// Last season's kit: a piece that is kept in use, one that was ordered, one lost, one written off.
async fn old_needle(story: &Story, kits: &Kits, counted: &Counted) -> anyhow::Result<()> {
    let kit = kits.id(OLD_NEEDLE)?;
    let mut db = story.app.db.read().await?;
    let mut pieces = places::pieces(&mut db, counted.old_crate, true).await?;
    drop(db);
    pieces.retain(|line| line.kit == kit && line.qty > 2);
    let [bent, cracked, lost, split, ..] = pieces.as_slice() else {
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
    prices(story, team, [split.part, cracked.part]).await?;
    for (line, what, usable, happened, decided) in [
        (bent, "broken", "yes", "bent", Some(Kind::KeptInUse)),
        (cracked, "broken", "unsure", "cracked", Some(Kind::ToOrder)),
        (lost, "lost", "", "", None),
        (split, "broken", "no", "came apart", Some(Kind::WrittenOff)),
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
            why: match kind {
                Kind::WrittenOff => "Split from end to end.".into(),
                _ => String::new(),
            },
            from: String::new(),
            // Dear enough that somebody else had to agree.
            second: match kind {
                Kind::WrittenOff => "Wisp Tallow".into(),
                _ => String::new(),
            },
        };
        let sent = story.sent();
        unrefused(damage::decide(&story.app, viewer, &sent, report, &decision).await)?;
    }
    order(story, kit, bent.part).await
}

/// What two parts cost the league, and that it wants a second name above a value.
async fn prices(story: &Story, team: TeamId, [dear, cheap]: [PartId; 2]) -> anyhow::Result<()> {
    let viewer = story.viewer(MARUNA)?;
    story.go_to(Minutes(-30 * 24 * 60));
    let (app, sent) = (&story.app, story.sent());
    unrefused(prices::decide(app, viewer, &sent, team, "EUR", "20").await)?;
    for (part, amount, pieces) in [(dear, "24.50", "1"), (cheap, "18.00", "12")] {
        let sent = story.sent();
        unrefused(prices::say(app, viewer, &sent, (team, part), amount, pieces).await)?;
    }
    let sent = story.sent();
    unrefused(shown::decide(app, viewer, &sent, team, Shows::Pictures.word()).await)?;
    Ok(())
}

/// What was decided to be ordered is on its way; something else waits for the next order.
async fn order(story: &Story, kit: KitId, other: PartId) -> anyhow::Result<()> {
    let viewer = story.viewer(MARUNA)?;
    story.go_to(Minutes(-7 * 24 * 60));
    let by = story.today().plus_days(9).to_string();
    let (app, sent) = (&story.app, story.sent());
    let first = (kit, 1);
    unrefused(orders::order(app, viewer, &sent, first, "Quernstone Turnery", "", &by).await)?;
    story.go_to(Minutes(-6 * 24 * 60));
    let mut db = app.db.read().await?;
    let part = parts::find(&mut db, other)
        .await?
        .context("the bent part")?;
    drop(db);
    let typed = orders::Typed {
        kit: kit.to_string(),
        part: parts::full_words(&part),
        qty: "2".into(),
        needed_on: story.today().plus_days(20).to_string(),
        why: "The bent one will not last.".into(),
    };
    let sent = story.sent();
    unrefused(orders::want(app, viewer, &sent, &typed).await)?;
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
