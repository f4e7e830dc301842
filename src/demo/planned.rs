//! Writes the invented events down: one is over, one is coming.

use anyhow::Context;

use super::fill::{Story, id_in, unrefused};
use super::kept::Kits;
use super::world::story::EVENTS;
use super::world::{Days, Minutes};
use crate::events::{self, rules::Typed};
use crate::passes;

pub(super) async fn plan(story: &Story, kits: &Kits) -> anyhow::Result<()> {
    for event in EVENTS {
        story.go_to(Minutes(event.planned.0 * 24 * 60));
        let day = |days: Days| days.date(story.today().0).to_string();
        let typed = Typed {
            name: event.name.into(),
            venue: event.venue.into(),
            first_on: day(event.first),
            last_on: day(event.last),
            note: String::new(),
        };
        let viewer = story.viewer(event.by)?;
        let team = story.team(event.team)?;
        let sent = story.sent();
        let planned = events::plan(&story.app, viewer, &sent, team, &typed).await;
        let id = id_in(unrefused(planned)?.location())?;
        for (kit, keeper) in event.kits {
            let viewer = story.viewer(keeper)?;
            let kit = Some(kits.id(kit)?);
            let sent = story.sent();
            unrefused(events::bring(&story.app, viewer, &sent, id, kit, "").await)?;
        }
        // Helpers are expected at what is still to come.
        let [(_, keeper), ..] = event.kits else {
            continue;
        };
        if event.first.0 > 0 {
            let viewer = story.viewer(keeper)?;
            let sent = story.sent();
            let team = viewer.main_team().context("their team")?.team;
            unrefused(passes::make(&story.app, viewer, &sent, id, team).await)?;
        }
    }
    Ok(())
}
