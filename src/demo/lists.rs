//! Reads the invented parts lists in, as a keeper would.

use std::collections::HashMap;

use anyhow::Context;

use super::fill::{Story, id_in, unrefused};
use super::store;
use super::world::{self, MARUNA, Minutes, parts};
use crate::clock::Day;
use crate::guides::{self, GuideWanted, imports};
use crate::ids::RevisionId;
use crate::parts::rules::Described;
use crate::{parts as kinds, seasons};

/// Revisions by season and label.
pub(super) type Revisions = HashMap<(&'static str, &'static str), RevisionId>;

pub(super) async fn read_in(story: &Story) -> anyhow::Result<Revisions> {
    let coordinator = story.viewer(MARUNA)?;
    let day = |days: world::Days| Day(days.date(story.today().0));
    let mut revisions = Revisions::new();
    for season in world::SEASONS {
        story.go_to(Minutes(season.starts.0 * 24 * 60));
        let outcome = unrefused(
            seasons::begin(
                &story.app,
                coordinator,
                &story.sent(),
                season.name,
                day(season.starts),
            )
            .await,
        )?;
        let season_id = id_in(outcome.location())?;
        let mut guide = None;
        for revision in season.revisions {
            story.go_to(Minutes(revision.issued.0 * 24 * 60));
            let outcome = match guide {
                None => unrefused(
                    guides::publish(
                        &story.app,
                        coordinator,
                        &story.sent(),
                        &GuideWanted {
                            season: Some(season_id),
                            name: season.guide.into(),
                            maker: world::LEAGUE.into(),
                            sizes: format!("{}, {}", world::HALF, world::FULL),
                            label: revision.label.into(),
                            issued_on: day(revision.issued),
                        },
                    )
                    .await,
                )?,
                Some(guide) => unrefused(
                    guides::revise(
                        &story.app,
                        coordinator,
                        &story.sent(),
                        guide,
                        revision.label,
                        day(revision.issued),
                        None,
                    )
                    .await,
                )?,
            };
            let id: RevisionId = id_in(outcome.location())?;
            take_over(story, id, revision.parts_list).await?;
            let mut db = story.app.db.read().await?;
            guide = guides::revision(&mut db, id)
                .await?
                .map(|found| found.guide);
            revisions.insert((season.name, revision.label), id);
        }
    }
    describe_parts(story).await?;
    Ok(revisions)
}

async fn take_over(story: &Story, revision: RevisionId, list: &str) -> anyhow::Result<()> {
    let viewer = story.viewer(MARUNA)?;
    let bytes = list.as_bytes();
    let sent = story.sent();
    let brought =
        imports::bring(&story.app, viewer, &sent, revision, "parts-list.csv", bytes).await;
    let draft = id_in(unrefused(brought)?.location())?;
    unrefused(imports::take(&story.app, viewer, &story.sent(), draft).await)?;
    Ok(())
}

/// How parts are counted, and what can hurt.
async fn describe_parts(story: &Story) -> anyhow::Result<()> {
    let numbers = parts::GROUPS
        .iter()
        .map(|(number, _)| *number)
        .chain(parts::BY_LOOK.iter().copied())
        .chain(parts::CAUTIONS.iter().map(|(number, _)| *number));
    let mut numbers: Vec<&str> = numbers.collect();
    numbers.sort_unstable();
    numbers.dedup();
    for number in numbers {
        let mut db = story.app.db.read().await?;
        let mut found = Vec::new();
        for id in store::with_number(&mut db, number).await? {
            found.extend(kinds::find(&mut db, id).await?);
        }
        drop(db);
        anyhow::ensure!(!found.is_empty(), "no part {number}");
        for part in found {
            let group = parts::GROUPS.iter().find(|(grouped, _)| *grouped == number);
            let hazard = parts::CAUTIONS
                .iter()
                .find(|(cautioned, _)| *cautioned == number);
            let counted_by = if group.is_some() {
                "group"
            } else if parts::BY_LOOK.contains(&number) {
                "look"
            } else {
                "piece"
            };
            let described = Described {
                name: part.name.clone(),
                mass: part.mass_g.map(|mass| mass.to_string()).unwrap_or_default(),
                how_to_know: part.how_to_know.clone(),
                hazard: hazard
                    .map(|(_, words)| (*words).to_owned())
                    .unwrap_or_default(),
                counted_by: counted_by.into(),
                group_of: group.map(|(_, size)| size.to_string()).unwrap_or_default(),
                essential: String::new(),
            };
            let viewer = story.viewer(MARUNA)?;
            let sent = story.sent();
            let kept =
                kinds::describe(&story.app, viewer, &sent, part.id, part.version, &described).await;
            unrefused(kept).with_context(|| format!("part {number}"))?;
        }
    }
    Ok(())
}
