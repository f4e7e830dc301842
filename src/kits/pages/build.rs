//! Can it be built?

use askama::Template;
use axum::extract::State;
use serde::Deserialize;

use crate::app::App;
use crate::clock::Day;
use crate::error::AppError;
use crate::ids::{AssemblyId, KitId, PartId};
use crate::kits::Kit;
use crate::kits::build::{Answer, BuildRefused, Cure, CureKind, Lack, Proof, Purpose, Stands};
use crate::kits::building::{self, Building, From};
use crate::kits::rules::looks::LookedAt;
use crate::kits::rules::plural;
use crate::people::Viewer;
use crate::web::extract::{Path, Query};
use crate::web::form::Choice;
use crate::web::frame::Frame;
use crate::web::page::Page;

type Whole = Answer<PartId, AssemblyId, KitId, usize>;

#[derive(Template)]
#[template(path = "kits/build.html")]
pub(super) struct BuildPage {
    frame: Frame,
    kit: Kit,
    purpose: Purpose,
    day: Day,
    today: Day,
    /// The day that was asked for could not be read.
    ignored: bool,
    is_counted: bool,
    building: Option<Building>,
}

impl BuildPage {
    fn answer(&self) -> Option<&Whole> {
        self.building.as_ref()?.answer.as_ref().ok()
    }

    /// Why there is no answer.
    fn refused(&self) -> Option<String> {
        let building = self.building.as_ref()?;
        let why = building.answer.as_ref().err()?;
        Some(match why {
            BuildRefused::StandsInForItself(_)
            | BuildRefused::TooLarge
            | BuildRefused::TwiceInWalk(_)
            | BuildRefused::NotInField(_)
            | BuildRefused::MoreThanHeld(_)
            | BuildRefused::Need(_) => why.to_string(),
        })
    }

    fn verdict(&self) -> String {
        let Some(answer) = self.answer() else {
            return "Nothing to build".into();
        };
        let purpose = match self.purpose {
            Purpose::Official => "official play",
            Purpose::Practice => "practice",
        };
        if answer.whole {
            return format!("Yes, for {purpose}");
        }
        let held: u64 = answer.assemblies.iter().map(|one| one.held).sum();
        let stand: u64 = answer.assemblies.iter().map(|one| one.stand).sum();
        if held == stand {
            return format!(
                "Not whole for {purpose}: every assembly can stand, something beside lacks"
            );
        }
        format!("No: {stand} of {held} assemblies can stand for {purpose}")
    }

    fn lacking(&self, answer: &Whole) -> String {
        let counted = || {
            answer
                .lacks
                .iter()
                .filter(|lack| self.looked(&lack.part).is_none())
        };
        let lines = counted().count();
        let looked = answer.lacks.len() - lines;
        if lines == 0 {
            return format!(
                "{looked} {} without which nothing can be built",
                plural(looked, "thing lacks", "things lack")
            );
        }
        let pieces: u64 = counted().map(|lack| lack.lacking).sum();
        format!(
            "{pieces} {} of {lines} {} lack",
            if pieces == 1 { "piece" } else { "pieces" },
            plural(lines, "part", "parts")
        )
    }

    fn is_best(&self, answer: &Whole) -> bool {
        answer.proof == Proof::Proven
    }

    fn assembly(&self, assembly: &AssemblyId) -> &str {
        let names = self.building.as_ref().map(|building| &building.assemblies);
        names
            .and_then(|names| names.get(assembly))
            .map_or("an assembly", String::as_str)
    }

    fn part(&self, part: &PartId) -> &str {
        let names = self.building.as_ref().map(|building| &building.parts);
        names
            .and_then(|names| names.get(part))
            .map_or("a part", String::as_str)
    }

    /// What nobody counts has no number that lacks.
    fn looked(&self, part: &PartId) -> Option<&LookedAt> {
        self.building.as_ref()?.looked_at.get(part)
    }

    /// The parts that stop an assembly.
    fn stopped_by(&self, answer: &Whole, one: &Stands<AssemblyId>) -> String {
        let parts: Vec<&str> = answer
            .lacks
            .iter()
            .filter(|lack| lack.stops.contains(&one.assembly))
            .map(|lack| self.part(&lack.part))
            .collect();
        parts.join("; ")
    }

    fn stops(&self, lack: &Lack<PartId, AssemblyId, usize>) -> String {
        let names: Vec<&str> = lack.stops.iter().map(|one| self.assembly(one)).collect();
        names.join(", ")
    }

    fn cure(&self, cure: &Cure<usize>) -> From {
        let named = cure
            .source
            .and_then(|at| self.building.as_ref()?.sources.get(at));
        match (cure.kind, named) {
            (CureKind::PracticeOrStandIn, _) => From {
                href: String::new(),
                words: "practice-only pieces, or parts that stand in, are here for practice".into(),
            },
            (_, Some(named)) => named.clone(),
            (_, None) => From {
                href: String::new(),
                words: "elsewhere".into(),
            },
        }
    }

    fn purposes(&self) -> Vec<Choice> {
        let chosen = match self.purpose {
            Purpose::Official => "official",
            Purpose::Practice => "practice",
        };
        vec![
            Choice::one_of("official", "official play", chosen),
            Choice::one_of("practice", "practice", chosen),
        ]
    }

    fn nothing_wrong(&self) -> Option<&str> {
        None
    }

    fn lent_out(&self) -> i64 {
        self.building
            .as_ref()
            .map_or(0, |building| building.lent_out)
    }
}

#[derive(Deserialize)]
#[serde(default)]
pub(super) struct Wanted {
    purpose: String,
    day: String,
}

impl Default for Wanted {
    fn default() -> Self {
        Self {
            purpose: "official".into(),
            day: String::new(),
        }
    }
}

pub(super) async fn build(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(kit): Path<KitId>,
    Query(wanted): Query<Wanted>,
) -> Result<Page<BuildPage>, AppError> {
    let mut db = app.db.read().await?;
    let kit = super::found(&mut db, kit).await?;
    let today = viewer.today(&app);
    let read: Option<Day> = wanted.day.trim().parse().ok();
    let day = read.filter(|day| *day >= today).unwrap_or(today);
    let ignored = !wanted.day.trim().is_empty() && read != Some(day);
    let purpose = match wanted.purpose.as_str() {
        "practice" => Purpose::Practice,
        _ => Purpose::Official,
    };
    let arrival = crate::kits::arrival(&mut db, kit.id).await?;
    Ok(Page(BuildPage {
        frame,
        building: building::building(&mut db, &kit, purpose, day, today).await?,
        kit,
        purpose,
        day,
        today,
        ignored,
        is_counted: arrival.counted,
    }))
}
