//! Whether a kit can be built now, or on a later day: the facts for `build`, and its answer by name.

use std::collections::{BTreeSet, HashMap};

use sqlx::SqliteConnection;

use super::build::{
    self, Answer, Asked, BuildRefused, CureKind, Pieces, Purpose, Source, StandIn, Wanted,
};
use super::rules::looks::LookedAt;
use super::{Kit, asked, looks, statement, store};
use crate::clock::Day;
use crate::guides::need::{Child, Line};
use crate::ids::{AssemblyId, KitId, PartId};
use crate::ledger::State;
use crate::parts::stand_ins::Allowed;
use crate::{guides, parts};

/// Where lacking pieces could come from: an address, and words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct From {
    pub href: String,
    pub words: String,
}

type Checked = Result<Answer<PartId, AssemblyId, KitId, usize>, BuildRefused<PartId, AssemblyId>>;

/// The answer, and what is named in it.
pub struct Building {
    pub answer: Checked,
    pub assemblies: HashMap<AssemblyId, String>,
    pub parts: HashMap<PartId, String>,
    /// What a cure's source is.
    pub sources: Vec<From>,
    /// Pieces of the kit that are with somebody else, and so are not reckoned with.
    pub lent_out: i64,
    /// What nobody counts, and what was seen of it.
    pub looked_at: HashMap<PartId, LookedAt>,
}

/// So much is enough of what is only looked at, for whatever a list asks.
const ENOUGH: u64 = 1_000_000_000;

/// Whether the kit can be built on a day for a purpose. `None` for a kit that is checked against nothing.
pub async fn building(
    db: &mut SqliteConnection,
    kit: &Kit,
    purpose: Purpose,
    day: Day,
    today: Day,
) -> sqlx::Result<Option<Building>> {
    let Some((revision, size)) = kit.revision.zip(kit.size) else {
        return Ok(None);
    };
    let looked_at: HashMap<PartId, LookedAt> = looks::looked_at(db, kit.id)
        .await?
        .into_iter()
        .map(|part| (part.part, part))
        .collect();
    let mut lines = Vec::new();
    let mut walk: Vec<Wanted<AssemblyId>> = Vec::new();
    let mut met = BTreeSet::new();
    for row in guides::list_rows(db, revision).await? {
        let Some(quantity) = row.quantities.get(&size) else {
            continue;
        };
        if let Child::Assembly(assembly) = row.child
            && met.insert(assembly)
        {
            walk.push(Wanted {
                assembly,
                must_stand: 0,
            });
        }
        // What is only looked at stops nothing, unless nothing can be built without it.
        if let Child::Part(part) = row.child
            && looked_at.get(&part).is_some_and(|part| !part.essential)
        {
            continue;
        }
        lines.push(Line {
            parent: row.assembly,
            child: row.child,
            basis: row.basis,
            quantity: *quantity,
        });
    }
    let statement = statement(db, kit.id).await?;
    let mut names: HashMap<PartId, String> = HashMap::new();
    let mut pieces = Vec::new();
    for line in &statement {
        let facts = &line.facts;
        for (state, held) in [
            (State::Good, facts.good),
            (State::Doubtful, facts.doubtful),
            (State::PracticeOnly, facts.practice_only),
        ] {
            pieces.push(Pieces {
                part: line.part,
                kit: kit.id,
                state,
                pieces: held.unsigned_abs(),
            });
        }
        let marks = [line.number.as_str(), line.name.as_str()];
        let marks: Vec<&str> = marks.into_iter().filter(|mark| !mark.is_empty()).collect();
        let mut words = marks.join(" ");
        if !line.colour.is_empty() {
            words.push_str(", ");
            words.push_str(&line.colour);
        }
        names.insert(line.part, words);
    }
    for part in looked_at.values().filter(|part| part.essential) {
        pieces.push(Pieces {
            part: part.part,
            kit: kit.id,
            state: State::Good,
            pieces: if part.stops_a_build() { 0 } else { ENOUGH },
        });
        names.insert(part.part, part.full_name());
    }
    let stand_ins: Vec<_> = parts::stand_ins_that_hold(db)
        .await?
        .into_iter()
        .map(|(part, stands_in_for, allowed)| StandIn {
            part,
            stands_in_for,
            officially: allowed == Allowed::Official,
        })
        .collect();
    let (sources, from) = sources(db, kit, today).await?;
    let asked = Asked {
        lines: &lines,
        walk: &walk,
        pieces: &pieces,
        stand_ins: &stand_ins,
        on_hand: &[],
        purpose,
        sources: &sources,
        day,
    };
    Ok(Some(Building {
        answer: build::check(&asked, build::STEPS),
        assemblies: guides::assembly_names(db, revision).await?,
        parts: names,
        sources: from,
        lent_out: statement.iter().map(|line| line.facts.lent_out).sum(),
        looked_at,
    }))
}

/// Pieces that could be had: what the team's spares boxes hold, what its other kits have beyond their need,
/// what the supplier promised and what was ordered by a day.
async fn sources(
    db: &mut SqliteConnection,
    kit: &Kit,
    today: Day,
) -> sqlx::Result<(Vec<Source<PartId, usize>>, Vec<From>)> {
    let (mut sources, mut from) = (Vec::new(), Vec::<From>::new());
    let mut known = |one: From| match from.iter().position(|known| *known == one) {
        Some(at) => at,
        None => {
            from.push(one);
            from.len() - 1
        }
    };
    let spares: BTreeSet<KitId> = store::of_team(db, kit.team)
        .await?
        .into_iter()
        .filter(|other| other.revision.is_none())
        .map(|other| other.id)
        .collect();
    for (other, name, part, over) in store::overs_elsewhere(db, kit.id).await? {
        let is_spares = spares.contains(&other);
        sources.push(Source {
            kind: if is_spares {
                CureKind::SparesBox
            } else {
                CureKind::OtherKitOfTheTeam
            },
            source: known(From {
                href: format!("/kits/{other}/parts/{part}"),
                words: if is_spares {
                    format!("spares in {name}")
                } else {
                    format!("{name} has them over")
                },
            }),
            part,
            pieces: over.unsigned_abs(),
            there_on: today,
        });
    }
    let open = store::open(db, kit.id).await?;
    for (line, arrived) in asked(db, kit.id).await? {
        let left = line.asked.still_promised(arrived);
        if let Some(by) = line.by
            && left > 0
            && open.contains(&line.report)
        {
            sources.push(Source {
                kind: CureKind::Order,
                source: known(From {
                    href: format!("/kits/{}/reports", kit.id),
                    words: format!("promised by {}", by.words()),
                }),
                part: line.part,
                pieces: left.unsigned_abs(),
                // What was promised by a day that has passed may come on any other.
                there_on: if by < today {
                    Day(jiff::civil::Date::MAX)
                } else {
                    by
                },
            });
        }
    }
    for line in store::ordered(db, kit.id).await? {
        let Some(by) = line.by else {
            continue;
        };
        sources.push(Source {
            kind: CureKind::Order,
            source: known(From {
                href: format!("/kits/{}/orders/{}", kit.id, line.number),
                words: format!("ordered, expected by {}", by.words()),
            }),
            part: line.part,
            pieces: line.left.unsigned_abs(),
            there_on: if by < today {
                Day(jiff::civil::Date::MAX)
            } else {
                by
            },
        });
    }
    Ok((sources, from))
}
