//! What a kit needs and has, part by part.

use std::collections::HashSet;

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::error::AppError;
use crate::guides::import::guard;
use crate::guides::need::Child;
use crate::guides::{self, AssemblyName};
use crate::ids::{AssemblyId, KitId, PartId};
use crate::kits::rules::{Account, Standing, Summary, plural};
use crate::kits::{self, Kit};
use crate::people::viewer::form_encode;
use crate::text::fold;
use crate::web::extract::{Path, Query};
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::Page;

#[derive(Deserialize, Default)]
pub(super) struct Filter {
    #[serde(default)]
    q: String,
    #[serde(default)]
    assembly: String,
    #[serde(default)]
    colour: String,
    #[serde(default)]
    only: String,
}

const ONLY: [(&str, &str); 3] = [
    ("short", "short"),
    ("over", "over"),
    ("to-come", "still to come"),
];

#[derive(Template)]
#[template(path = "kits/parts.html")]
pub(super) struct PartsPage {
    frame: Frame,
    kit: Kit,
    summary: Summary,
    filter: Filter,
    assemblies: Vec<Choice>,
    colours: Vec<Choice>,
    only: Vec<Choice>,
    /// What is chosen, in words, and where the list is without it.
    chosen: Vec<(String, String)>,
    /// Choices of the address that mean nothing here.
    ignored: Vec<String>,
    accounts: Vec<Account>,
    in_all: usize,
}

impl PartsPage {
    fn nothing_wrong(&self) -> Option<&str> {
        None
    }

    fn heading(&self) -> String {
        let shown = self.accounts.len();
        if self.chosen.is_empty() {
            format!("{shown} {}", plural(shown, "part", "parts"))
        } else {
            format!("{shown} of {} parts", self.in_all)
        }
    }

    fn history(&self, account: &Account) -> String {
        format!("/history?kit={}&part={}", self.kit.id, account.line.part)
    }

    fn is_not_counted(&self, account: &Account) -> bool {
        account.standing() == Standing::NotCounted
    }

    fn short(&self, account: &Account) -> i64 {
        match account.standing() {
            Standing::Short(by) => by,
            _ => 0,
        }
    }
}

pub(super) async fn index(
    State(app): State<App>,
    frame: Frame,
    Path(kit): Path<KitId>,
    Query(filter): Query<Filter>,
) -> Result<Page<PartsPage>, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::found(&mut db, kit).await?;
    let mut accounts = kits::accounts(&mut db, kit.id).await?;
    let (assemblies, rows) = match kit.revision {
        Some(revision) => (
            guides::assemblies(&mut db, revision).await?,
            guides::list_rows(&mut db, revision).await?,
        ),
        None => (Vec::new(), Vec::new()),
    };
    let mut colours: Vec<String> = accounts
        .iter()
        .map(|account| account.line.colour.clone())
        .filter(|colour| !colour.is_empty())
        .collect();
    colours.sort_unstable();
    colours.dedup();

    let (filter, ignored) = understood(filter, &assemblies, &colours);
    let of_assembly: HashSet<PartId> = rows
        .iter()
        .filter(|row| {
            row.assembly
                .is_some_and(|assembly| assembly.to_string() == filter.assembly)
        })
        .filter_map(|row| match row.child {
            Child::Part(part) => Some(part),
            Child::Assembly(_) => None,
        })
        .collect();
    let summary = Summary::of(&accounts);
    let in_all = accounts.len();
    accounts.retain(|account| passes(account, &filter, &of_assembly));
    Ok(Page(PartsPage {
        chosen: chosen(&kit, &filter, &assemblies),
        assemblies: select(
            assemblies
                .iter()
                .map(|assembly| (assembly.id.to_string(), assembly.name.clone())),
            &filter.assembly,
        ),
        colours: select(
            colours.into_iter().map(|colour| (colour.clone(), colour)),
            &filter.colour,
        ),
        only: select(
            ONLY.iter()
                .map(|(value, text)| ((*value).to_owned(), (*text).to_owned())),
            &filter.only,
        ),
        frame,
        kit,
        summary,
        filter,
        ignored,
        accounts,
        in_all,
    }))
}

fn select(options: impl Iterator<Item = (String, String)>, chosen: &str) -> Vec<Choice> {
    let mut choices = vec![Choice::new("", "All", chosen.is_empty())];
    choices.extend(options.map(|(value, text)| {
        let is_chosen = value == chosen;
        Choice::new(value, text, is_chosen)
    }));
    choices
}

/// The filter without what means nothing here, and that in words.
fn understood(
    mut filter: Filter,
    assemblies: &[AssemblyName],
    colours: &[String],
) -> (Filter, Vec<String>) {
    let mut ignored = Vec::new();
    filter.q = filter.q.trim().to_owned();
    let knows_assembly = filter
        .assembly
        .parse::<AssemblyId>()
        .is_ok_and(|id| assemblies.iter().any(|assembly| assembly.id == id));
    if !filter.assembly.is_empty() && !knows_assembly {
        filter.assembly.clear();
        ignored.push("This kit’s parts list has no such assembly.".to_owned());
    }
    if !filter.colour.is_empty() && !colours.contains(&filter.colour) {
        ignored.push(format!("Nothing in this kit is {}.", filter.colour));
        filter.colour.clear();
    }
    if !filter.only.is_empty() && !ONLY.iter().any(|(value, _)| *value == filter.only) {
        ignored.push(format!("“{}” is no choice here.", filter.only));
        filter.only.clear();
    }
    (filter, ignored)
}

fn passes(account: &Account, filter: &Filter, of_assembly: &HashSet<PartId>) -> bool {
    let line = &account.line;
    let words = fold(&format!("{} {} {}", line.number, line.name, line.colour));
    let state = match filter.only.as_str() {
        "short" => matches!(account.standing(), Standing::Short(_)),
        "over" => line.facts.over() > 0,
        "to-come" => line.to_come() > 0,
        _ => true,
    };
    state
        && fold(&filter.q)
            .split(' ')
            .all(|wanted| words.contains(wanted))
        && (filter.assembly.is_empty() || of_assembly.contains(&line.part))
        && (filter.colour.is_empty() || filter.colour == line.colour)
}

fn chosen(kit: &Kit, filter: &Filter, assemblies: &[AssemblyName]) -> Vec<(String, String)> {
    let fields = [
        ("q", filter.q.as_str()),
        ("assembly", filter.assembly.as_str()),
        ("colour", filter.colour.as_str()),
        ("only", filter.only.as_str()),
    ];
    let without = |name: &str| {
        let rest: Vec<String> = fields
            .iter()
            .filter(|(field, value)| *field != name && !value.is_empty())
            .map(|(field, value)| format!("{field}={}", form_encode(value)))
            .collect();
        format!("/kits/{}/parts?{}", kit.id, rest.join("&"))
    };
    fields
        .iter()
        .filter(|(_, value)| !value.is_empty())
        .map(|(field, value)| {
            let words = match *field {
                "q" => format!("“{value}”"),
                "assembly" => assemblies
                    .iter()
                    .find(|assembly| assembly.id.to_string() == *value)
                    .map_or(String::new(), |assembly| assembly.name.clone()),
                "only" => ONLY
                    .iter()
                    .find(|(known, _)| known == value)
                    .map_or(String::new(), |(_, text)| format!("{text} only")),
                _ => (*value).to_owned(),
            };
            (words, without(field))
        })
        .collect()
}

pub(super) async fn download(
    State(app): State<App>,
    Path(kit): Path<KitId>,
) -> Result<Response, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::found(&mut db, kit).await?;
    let accounts = kits::accounts(&mut db, kit.id).await?;
    let bytes = table(&accounts).map_err(|error| AppError::Broken(error.into()))?;
    Ok(super::file(&kit, "parts", "csv", bytes))
}

fn table(accounts: &[Account]) -> Result<Vec<u8>, csv::Error> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record([
        "number",
        "name",
        "colour",
        "how to know it",
        "need",
        "here",
        "short",
        "over",
        "still to come",
        "counted",
        "practice only",
        "broken",
        "missing",
    ])?;
    for account in accounts {
        let line = &account.line;
        let short = match account.standing() {
            Standing::Short(by) => by,
            _ => 0,
        };
        let counted = if account.is_counted() { "yes" } else { "no" };
        let numbers = [
            line.facts.need,
            line.facts.here(),
            short,
            line.facts.over(),
            line.to_come(),
        ]
        .map(|number| number.to_string());
        let states = [
            line.facts.practice_only,
            line.facts.broken,
            line.facts.missing,
        ]
        .map(|number| number.to_string());
        let words = [&line.number, &line.name, &line.colour, &line.how_to_know]
            .map(|cell| guard::put_on(cell).into_owned());
        writer.write_record(
            words
                .iter()
                .chain(&numbers)
                .map(String::as_str)
                .chain([counted])
                .chain(states.iter().map(String::as_str)),
        )?;
    }
    writer
        .into_inner()
        .map_err(|error| csv::Error::from(std::io::Error::other(error.to_string())))
}
