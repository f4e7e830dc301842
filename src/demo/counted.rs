//! Counts the invented kits as the story tells, and puts what is counted into crates.

use std::collections::HashMap;

use anyhow::Context;

use super::fill::{Story, id_in, unrefused};
use super::kept::{Kits, Places, keeper_of};
use super::store;
use super::world::places::{CRATES, Holds, LOOSE};
use super::world::story::{self as told, BagCount, Progress};
use super::world::{self, BEXEL, KETTLEHORN, LONG_GABLE, MARUNA, Minutes, OLD_NEEDLE, TAMSEL};
use crate::counts::rules::close::Answers;
use crate::counts::{self, Tap, Uncounted};
use crate::ids::{CountId, FormId, KitId, PartId, PlaceId, StintId, TallyId};
use crate::kits;
use crate::ledger::{self, Document, Entry, Move, Outside, PlaceMove, Stand};
use crate::places;

/// What counting came to.
pub(super) struct Counted {
    pub open: CountId,
    pub full_crate: PlaceId,
    /// A crate of last season's kit.
    pub old_crate: PlaceId,
}

pub(super) async fn count(story: &Story, kits: &Kits, places: &Places) -> anyhow::Result<Counted> {
    bring_in_old_needle(story, kits.id(OLD_NEEDLE)?, places).await?;

    let gable = kits.id(LONG_GABLE)?;
    let closed = open(story, gable, TAMSEL, told::CLOSED[0].began).await?;
    count_bags(story, gable, closed, told::CLOSED).await?;
    story.go_to(Minutes(told::CLOSED[told::CLOSED.len() - 1].began.0 + 30));
    close(story, closed).await?;
    carry(story, gable, LONG_GABLE, TAMSEL, places).await?;

    let horn = kits.id(KETTLEHORN)?;
    set_down_boxes(story, horn, places).await?;
    let open = open(story, horn, BEXEL, Minutes(told::UNDER_WAY[0].began.0 - 2)).await?;
    count_bags(story, horn, open, told::UNDER_WAY).await?;
    let full_crate = *places
        .get("Gable 3, cable-way and bridge")
        .context("a full crate")?;
    let old_crate = CRATES
        .iter()
        .find(|krate| matches!(krate.holds, Holds::Assemblies { kit, .. } if kit == OLD_NEEDLE))
        .and_then(|krate| places.get(krate.name).copied())
        .context("a crate of last season's kit")?;
    Ok(Counted {
        open,
        full_crate,
        old_crate,
    })
}

async fn open(
    story: &Story,
    kit: KitId,
    person: &'static str,
    at: Minutes,
) -> anyhow::Result<CountId> {
    story.go_to(at);
    let viewer = story.viewer(person)?;
    let outcome = unrefused(counts::open(&story.app, viewer, &story.sent(), kit, None).await)?;
    id_in(outcome.location())
}

async fn count_bags(
    story: &Story,
    kit: KitId,
    count: CountId,
    bags: &'static [BagCount],
) -> anyhow::Result<()> {
    let mut db = story.app.db.read().await?;
    let by_name: HashMap<String, PlaceId> = places::in_kit(&mut db, kit)
        .await?
        .into_iter()
        .map(|bag| (bag.name, bag.id))
        .collect();
    let statement = kits::statement(&mut db, kit).await?;
    drop(db);
    let number_of: HashMap<PartId, String> = statement
        .into_iter()
        .map(|line| (line.part, line.number))
        .collect();
    for bag in bags {
        story.go_to(bag.began);
        let place = *by_name
            .get(bag.bag)
            .with_context(|| format!("no {}", bag.bag))?;
        let mut db = story.app.db.read().await?;
        let slip = store::slip_of(&mut db, place).await?;
        drop(db);
        let viewer = story.viewer(bag.person)?;
        let begun = counts::begin(&story.app, viewer, &story.sent(), count, place, true).await;
        let stint: StintId = id_in(unrefused(begun)?.location().trim_end_matches("/lines"))?;
        let lines = match bag.progress {
            Progress::Done => slip.len(),
            Progress::Lines(lines) => lines.min(slip.len()),
        };
        let mut taps = Vec::new();
        for (at, (part, due)) in slip.iter().take(lines).enumerate() {
            let mut db = story.app.db.read().await?;
            let only_looked_at = kits::looks::is_looked_at(&mut db, *part).await?;
            drop(db);
            if only_looked_at {
                let seen = (*part, Some(place), told::seen_in(bag.kit, bag.bag));
                let sent = story.sent();
                let then = format!("/stints/{stint}");
                let looked = kits::looks::look(&story.app, viewer, &sent, kit, seen, &then).await;
                unrefused(looked)?;
                continue;
            }
            let number = number_of.get(part).map(String::as_str).unwrap_or_default();
            let counted = bag
                .differs
                .iter()
                .find(|differs| differs.number == number)
                .map_or(*due, |differs| differs.counted.into());
            let minutes = i32::try_from(at / 2)?;
            story.go_to(Minutes(bag.began.0 + minutes));
            taps.push(Tap {
                id: TallyId::new(),
                part: *part,
                amount: counted,
                shown: None,
                undoes: None,
                done_at: story.app.clock.now(),
            });
        }
        let batch = counts::record(&story.app, viewer, stint, &taps).await?;
        anyhow::ensure!(
            batch.results.iter().all(counts::Recorded::is_new),
            "a tap of {} was not recorded: {:?}",
            bag.bag,
            batch.results
        );
        if bag.progress == Progress::Done {
            let sent = story.sent();
            unrefused(counts::done(&story.app, viewer, &sent, stint, Uncounted::Leave).await)?;
        }
    }
    Ok(())
}

async fn close(story: &Story, count: CountId) -> anyhow::Result<()> {
    let viewer = story.viewer(TAMSEL)?;
    let mut db = story.app.db.read().await?;
    let mark = counts::closing_mark(&mut db, count).await?;
    drop(db);
    let answers = Answers {
        more_to_come: Some(false),
        as_they_are: false,
        reason: String::new(),
    };
    let closed = counts::close(&story.app, viewer, &story.sent(), count, &answers, &mark).await;
    unrefused(closed)?;
    Ok(())
}

/// Puts the bags of a kit into their crates, and the crates where they stand.
async fn carry(
    story: &Story,
    kit: KitId,
    name: &str,
    person: &'static str,
    made: &Places,
) -> anyhow::Result<()> {
    let mut db = story.app.db.read().await?;
    let bags = places::in_kit(&mut db, kit).await?;
    drop(db);
    let mut carried = Vec::new();
    let mut put = |bag: &str, to: PlaceId| {
        if let Some(found) = bags.iter().find(|place| place.name == bag) {
            carried.push(PlaceMove {
                place: found.id,
                from: found.parent,
                to: Some(to),
            });
        }
    };
    for krate in CRATES {
        if let Holds::Bags { kit: of, bags } = krate.holds
            && of == name
        {
            let to = *made.get(krate.name).context("a crate")?;
            bags.iter().for_each(|bag| put(bag, to));
        }
    }
    for (of, bag, place) in LOOSE {
        if *of == name {
            put(bag, *made.get(place).context("a place")?);
        }
    }
    record(story, person, "carried", Document::Kit(kit), carried).await?;
    for krate in CRATES {
        if krate.place != krate.usual_place {
            let id = *made.get(krate.name).context("a crate")?;
            let from = made.get(krate.usual_place).copied();
            let to = made.get(krate.place).copied();
            let moved = vec![PlaceMove {
                place: id,
                from,
                to,
            }];
            record(story, person, "carried", Document::Place(id), moved).await?;
        }
    }
    Ok(())
}

/// The boxes that are here stand on the sorting table.
async fn set_down_boxes(story: &Story, kit: KitId, made: &Places) -> anyhow::Result<()> {
    story.go_to(Minutes(-130));
    let table = made.get(world::places::SORTING_TABLE).copied();
    let here: Vec<&str> = world::DELIVERIES
        .iter()
        .filter(|delivery| delivery.kit == KETTLEHORN && delivery.on.0 <= 0)
        .flat_map(|delivery| delivery.boxes.iter().copied())
        .collect();
    let mut db = story.app.db.read().await?;
    let carried = places::in_kit(&mut db, kit)
        .await?
        .into_iter()
        .filter(|place| here.contains(&place.name.as_str()))
        .map(|place| PlaceMove {
            place: place.id,
            from: place.parent,
            to: table,
        })
        .collect();
    drop(db);
    record(story, BEXEL, "carried", Document::Kit(kit), carried).await
}

async fn record(
    story: &Story,
    person: &'static str,
    kind: &'static str,
    document: Document,
    carried: Vec<PlaceMove>,
) -> anyhow::Result<()> {
    let mut entry = Entry::new(
        FormId::new(),
        kind,
        story.viewer(person)?.person,
        story.app.clock.now(),
    );
    entry.document = Some(document);
    entry.carried = carried;
    let mut tx = story.app.db.begin_write().await?;
    ledger::append(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(())
}

/// Last season's kit came before the books began: it was brought in, straight into its crates.
async fn bring_in_old_needle(story: &Story, kit: KitId, made: &Places) -> anyhow::Result<()> {
    story.go_to(Minutes(-380 * 24 * 60));
    let mut db = story.app.db.read().await?;
    let by_assembly = store::need_by_assembly(&mut db, kit).await?;
    let looked_at: Vec<PartId> = kits::looks::looked_at(&mut db, kit)
        .await?
        .into_iter()
        .map(|part| part.part)
        .collect();
    drop(db);
    let person = keeper_of(world::LEAGUE)?;
    debug_assert_eq!(person, MARUNA);
    let mut entry = Entry::new(
        FormId::new(),
        "brought in",
        story.viewer(person)?.person,
        story.app.clock.now(),
    );
    entry.document = Some(Document::Kit(kit));
    for krate in CRATES {
        let Holds::Assemblies {
            kit: of,
            assemblies,
        } = krate.holds
        else {
            continue;
        };
        if of != OLD_NEEDLE {
            continue;
        }
        let place = *made.get(krate.name).context("a crate")?;
        let mut sums: HashMap<PartId, i64> = HashMap::new();
        for (assembly, part, qty) in &by_assembly {
            if looked_at.contains(part) {
                continue;
            }
            if assemblies.contains(&assembly.as_str()) {
                *sums.entry(*part).or_default() += qty;
            }
        }
        let mut sums: Vec<_> = sums.into_iter().collect();
        sums.sort_unstable();
        entry.moves.extend(sums.into_iter().map(|(part, qty)| Move {
            part,
            qty,
            from: Stand::good(kit, Outside::BroughtIn.place()),
            to: Stand::good(kit, place),
        }));
    }
    let mut tx = story.app.db.begin_write().await?;
    ledger::append(&mut tx, &entry).await?;
    tx.commit().await?;
    Ok(())
}
