//! What is short and over, and where to look before it is reported.

use std::collections::HashMap;

use askama::Template;
use axum::extract::State;

use super::part::looks;
use crate::app::App;
use crate::error::AppError;
use crate::guides;
use crate::guides::need::Child;
use crate::ids::{FormId, KitId, PartId};
use crate::kits::rules::alike::{hides_under_film, likeness};
use crate::kits::rules::look_first::{Alike, Case, Hint, Spot, rank};
use crate::kits::rules::{Account, Standing, Summary, plural};
use crate::kits::{self, Arrival, Kit, store};
use crate::people::Viewer;
use crate::web::extract::Path;
use crate::web::frame::Frame;
use crate::web::page::Page;

struct ShortLine {
    account: Account,
    by: i64,
    hints: Vec<Hint>,
}

#[derive(Template)]
#[template(path = "kits/shorts.html")]
pub(super) struct ShortsPage {
    frame: Frame,
    form_id: FormId,
    kit: Kit,
    arrival: Arrival,
    short: Vec<ShortLine>,
    over: Vec<(Account, i64)>,
    to_come: Vec<(Account, i64)>,
    not_counted: Vec<Account>,
    may_work: bool,
}

impl ShortsPage {
    fn heading(&self) -> String {
        format!(
            "{} {} short, {} over",
            self.short.len(),
            plural(self.short.len(), "line", "lines"),
            self.over.len()
        )
    }

    fn purpose(&self) -> &'static str {
        if self.arrival.complete {
            "recount"
        } else {
            "arrival"
        }
    }

    fn history(&self, account: &Account) -> String {
        format!("/history?kit={}&part={}", self.kit.id, account.line.part)
    }
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
) -> Result<Page<ShortsPage>, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::found(&mut db, kit).await?;
    let accounts = kits::accounts(&mut db, kit.id).await?;
    let arrival = kits::arrival(&mut db, kit.id).await?;
    let mut assemblies: HashMap<PartId, Vec<(String, i64)>> = HashMap::new();
    let mut elsewhere: HashMap<PartId, Vec<(KitId, String, i64)>> = HashMap::new();
    if Summary::of(&accounts).short > 0 {
        assemblies = assemblies_of(&mut db, &kit).await?;
        for (other, name, part, over) in store::overs_elsewhere(&mut db, kit.id).await? {
            elsewhere.entry(part).or_default().push((other, name, over));
        }
    }
    let mut page = ShortsPage {
        form_id: frame.form_id(),
        frame,
        arrival,
        short: Vec::new(),
        over: Vec::new(),
        to_come: Vec::new(),
        not_counted: Vec::new(),
        may_work: viewer.role_in(kit.team).is_some(),
        kit,
    };
    for account in &accounts {
        match account.standing() {
            Standing::AllHere | Standing::LentOut(_) => {}
            Standing::Over(by) => page.over.push((account.clone(), by)),
            Standing::ToCome(by) => page.to_come.push((account.clone(), by)),
            Standing::NotCounted => page.not_counted.push(account.clone()),
            Standing::Short(by) => page.short.push(ShortLine {
                hints: rank(Case {
                    spots: spots(account),
                    alikes: alikes(account, &accounts),
                    assemblies: assemblies.remove(&account.line.part).unwrap_or_default(),
                    film: hides_under_film(&account.line.how_to_know),
                    other_kits: elsewhere.remove(&account.line.part).unwrap_or_default(),
                }),
                account: account.clone(),
                by,
            }),
        }
    }
    Ok(Page(page))
}

fn spots(account: &Account) -> Vec<Spot> {
    account
        .spots
        .iter()
        .map(|spot| Spot {
            place: spot.place,
            name: spot.name.clone(),
            planned: spot.planned,
            here: spot.here(),
            counted: spot.counted_at.is_some(),
        })
        .collect()
}

fn alikes(account: &Account, all: &[Account]) -> Vec<Alike> {
    all.iter()
        .filter(|other| other.line.part != account.line.part)
        .filter_map(|other| {
            let likeness = likeness(looks(account), looks(other))?;
            let marks: Vec<&str> = [other.line.number.as_str(), other.line.colour.as_str()]
                .into_iter()
                .filter(|mark| !mark.is_empty())
                .collect();
            Some(Alike {
                part: other.line.part,
                name: other.line.name.clone(),
                marks: marks.join(", "),
                likeness,
                over: other.line.facts.over(),
                at: other
                    .spots
                    .iter()
                    .filter(|spot| spot.here() > 0)
                    .map(|spot| spot.name.clone())
                    .collect(),
            })
        })
        .collect()
}

/// For each part, the assemblies that name it, with what they take of it in the kit's size.
async fn assemblies_of(
    db: &mut sqlx::SqliteConnection,
    kit: &Kit,
) -> Result<HashMap<PartId, Vec<(String, i64)>>, AppError> {
    let mut assemblies: HashMap<PartId, Vec<(String, i64)>> = HashMap::new();
    let Some((revision, size)) = kit.revision.zip(kit.size) else {
        return Ok(assemblies);
    };
    let names = guides::assembly_names(db, revision).await?;
    for row in guides::list_rows(db, revision).await? {
        let (Child::Part(part), Some(assembly), Some(quantity)) =
            (row.child, row.assembly, row.quantities.get(&size))
        else {
            continue;
        };
        let name = names.get(&assembly).cloned().unwrap_or_default();
        let quantity = i64::try_from(*quantity).unwrap_or(i64::MAX);
        assemblies.entry(part).or_default().push((name, quantity));
    }
    Ok(assemblies)
}
