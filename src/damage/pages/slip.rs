//! The page of one report: what was told, what became of it, and what can be decided now.

use askama::Template;
use axum::extract::State;
use serde::Deserialize;
use sqlx::SqliteConnection;

use super::tell::{self, Offer, offers};
use crate::app::App;
use crate::damage::rules::second;
use crate::damage::rules::standing::{Kind, Standing, is_in_force};
use crate::damage::rules::telling::What;
use crate::damage::rules::words;
use crate::damage::store::Small;
use crate::damage::{self, Slip, store};
use crate::error::AppError;
use crate::find::rules::expression;
use crate::ids::{DamageId, FormId, PartId, PlaceId, TeamId};
use crate::ledger::{Seq, State as PieceState};
use crate::parts::prices;
use crate::people::{self, Viewer};
use crate::web::extract::Path;
use crate::web::form::{self, Choice, Wrong};
use crate::web::frame::Frame;
use crate::web::page::Page;
use crate::{kits, orders, places};

/// Other reports that a waiting one may be joined with.
const JOINABLE: usize = 8;

#[derive(Template)]
#[template(path = "damage/slip.html")]
pub(super) struct SlipPage {
    frame: Frame,
    slip: Slip,
    /// "Found in Bag 2 (7K3-F28), in crate Ridge (9PD-K4C)".
    lay: String,
    timeline: Vec<Happening>,
    /// "Kit 07 is now 1 short of it".
    lacks: Option<String>,
    assemblies: Vec<String>,
    spares: Vec<Choice>,
    /// Whether a second name is needed to write it off: asked for, and why or why not.
    second: Option<(bool, String)>,
    pictures: Vec<Small>,
    /// What was ordered instead, and what else of the part its kit has open: the page, its name, how it stands.
    orders: Vec<(String, String, String)>,
    /// Why what is open may not be needed any more.
    needless: Option<String>,
    /// It was found, no kit of the team misses it, and another team does.
    is_missed_elsewhere: bool,
    /// Other reports, where this one waits.
    others: Vec<Choice>,
    pub several: Vec<Offer>,
    pub fields: AcceptForm,
    pub typed: DecideForm,
    zone: String,
    may_work: bool,
    may_decide: bool,
    pub wrongs: Vec<Wrong>,
}

/// One line of the timeline.
struct Happening {
    line: i64,
    words: String,
    why: String,
    /// What a write-off was worth, and who agreed. Only for the team itself.
    worth: Option<String>,
    entry: Option<Seq>,
    other: Option<DamageId>,
    taken_back: bool,
}

impl SlipPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn stands(&self) -> String {
        words::stands(self.slip.report.what, self.slip.stands.standing)
    }

    fn usables(&self) -> Vec<Choice> {
        let word = match self.fields.usable.as_str() {
            "" => self.slip.report.usable.word(),
            typed => typed,
        };
        tell::usables(word)
    }

    fn is_broken(&self) -> bool {
        self.slip.report.what == What::Broken
    }

    fn is_astray(&self) -> bool {
        self.slip.report.what == What::Astray
    }

    fn is_lost(&self) -> bool {
        self.slip.report.what == What::Lost
    }

    /// What can be decided about the pieces that are left.
    fn decisions(&self) -> Vec<Choice> {
        let kinds: &[(Kind, &str)] = match (self.slip.report.what, self.slip.stands.standing) {
            (What::Lost, Standing::Open { .. }) => &[
                (Kind::TurnedUp, "It turned up where it belongs"),
                (Kind::Missing, "Write it down as missing"),
                (Kind::ToOrder, "Put it on the list for the next order"),
            ],
            (_, Standing::Open { state, .. }) => match state {
                Some(PieceState::Doubtful) => &[
                    (Kind::KeptInUse, "Keep using it"),
                    (Kind::Mended, "It is good after all, or mended"),
                    (Kind::PracticeOnly, "Mended, for practice only"),
                    (Kind::ToOrder, "Put one on the list for the next order"),
                    (Kind::WrittenOff, "Write it off"),
                ],
                _ => &[
                    (Kind::Mended, "Mended: as good as before"),
                    (Kind::PracticeOnly, "Mended, for practice only"),
                    (Kind::KeptInUse, "Keep using it, and watch it"),
                    (Kind::ToOrder, "Put one on the list for the next order"),
                    (Kind::WrittenOff, "Write it off"),
                ],
            },
            _ => &[],
        };
        let chosen = if self.typed.kind.is_empty() {
            kinds.first().map_or("", |(kind, _)| kind.word())
        } else {
            &self.typed.kind
        };
        kinds
            .iter()
            .map(|(kind, text)| Choice::one_of(kind.word(), text, chosen))
            .collect()
    }

    fn left(&self) -> i64 {
        match self.slip.stands.standing {
            Standing::Open { left, .. } => left,
            _ => 0,
        }
    }
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct AcceptForm {
    pub part: String,
    pub stand: String,
    pub code: String,
    pub qty: String,
    pub usable: String,
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct DecideForm {
    pub kind: String,
    pub qty: String,
    pub why: String,
    pub from: String,
    pub second: String,
}

pub(super) async fn show(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(id): Path<DamageId>,
) -> Result<Page<SlipPage>, AppError> {
    let mut db = app.db.read().await?;
    slip_page(&app, &mut db, &viewer, frame, id).await.map(Page)
}

pub(super) async fn slip_page(
    app: &App,
    db: &mut SqliteConnection,
    viewer: &Viewer,
    frame: Frame,
    id: DamageId,
) -> Result<SlipPage, AppError> {
    let slip = damage::slip(db, id).await?;
    let report = &slip.report;
    let ways = places::ways(db, &Vec::from_iter(report.place)).await?;
    let lay = report.place.map_or_else(String::new, |at| ways.inside(at));
    let timeline = timeline(db, viewer, &slip).await?;
    let may_decide = viewer.keeps(report.team);
    let second = match (report.part, slip.stands.standing) {
        (
            Some(part),
            Standing::Open {
                left,
                state: Some(_),
            },
        ) if may_decide => Some(asked_for_second(db, report.team, part, left).await?),
        _ => None,
    };

    let mut lines = orders::of_reports(db, [id].into_iter()).await?;
    let mut needless = None;
    if let (Some(part), Some(kit)) = (report.part, report.kit) {
        let open = orders::open_of(db, kit, part).await?;
        needless = orders::needless(db, kit, part, &open).await?;
        let others = open
            .into_iter()
            .filter(|line| line.brief.report != Some(id));
        lines.extend(others);
    }
    let today = viewer.today(app);
    let orders = lines
        .iter()
        .map(|line| (line.path(), line.headline(), line.stands(today)))
        .collect();

    let (mut lacks, mut assemblies, mut spares) = (None, Vec::new(), Vec::new());
    if let (Some(part), Some(kit)) = (report.part, report.kit) {
        let line = kits::accounts(db, kit)
            .await?
            .into_iter()
            .find(|account| account.line.part == part);
        if let Some(short) = line.map(|account| account.line.facts.short_now())
            && short > 0
        {
            let name = report.kit_name.as_deref().unwrap_or_default();
            lacks = Some(format!("{name} is now {short} short of it."));
            assemblies = store::assemblies(db, kit, part).await?;
        }
        let mut stands = store::stands(db, report.team, Some(part), None, None, 50).await?;
        stands.retain(|stand| {
            stand.good > 0 && (stand.kit != kit || Some(stand.place) != report.place)
        });
        // A spares box gives before another kit does.
        stands.sort_by_key(|stand| !stand.is_spares_box);
        let places: Vec<PlaceId> = stands.iter().map(|stand| stand.place).collect();
        let ways = places::ways(db, &places).await?;
        spares = stands
            .iter()
            .map(|stand| {
                let text = format!(
                    "{} good {}, {}",
                    stand.good,
                    ways.inside(stand.place),
                    stand.kit_name
                );
                Choice::new(stand.key(), text, false)
            })
            .collect();
        if let Some(first) = spares.first_mut() {
            first.chosen = true;
        }
    }
    let others = if slip.is_waiting() {
        others(db, &slip).await?
    } else {
        Vec::new()
    };
    let pictures = store::pictures(db, id).await?;
    let said = expression(&report.said_part, None);
    let stands = match (slip.is_waiting(), report.part, said) {
        (true, Some(part), _) => store::stands(db, report.team, Some(part), None, None, 12).await?,
        (true, None, Some(said)) => {
            store::stands(db, report.team, None, Some(&said), None, 12).await?
        }
        _ => Vec::new(),
    };
    let several = offers(db, stands).await?;
    let fields = AcceptForm {
        part: report
            .part_words()
            .unwrap_or_else(|| report.said_part.clone()),
        qty: report.qty.to_string(),
        ..AcceptForm::default()
    };
    Ok(SlipPage {
        frame,
        lay,
        timeline,
        lacks,
        assemblies,
        spares,
        pictures,
        orders,
        needless,
        is_missed_elsewhere: is_missed_elsewhere(db, &slip).await?,
        others,
        several,
        fields,
        typed: DecideForm::default(),
        zone: viewer.zone().to_owned(),
        may_work: viewer.role_in(report.team).is_some(),
        may_decide,
        second,
        slip,
        wrongs: Vec::new(),
    })
}

/// Whether a found piece that no kit of the team misses is missed by another team.
async fn is_missed_elsewhere(db: &mut SqliteConnection, slip: &Slip) -> sqlx::Result<bool> {
    let report = &slip.report;
    if report.what != What::Found || slip.stands.standing == Standing::SetAside {
        return Ok(false);
    }
    let words = match report.part {
        Some(_) => None,
        None => expression(&report.said_part, None),
    };
    let taken_in = slip
        .steps
        .iter()
        .find(|step| step.kind == Kind::Accepted && is_in_force(step, &slip.steps))
        .and_then(|step| step.entry);
    let is_ours = match taken_in {
        Some(entry) => store::found_over(db, entry).await? == 0,
        None => !store::lacking(db, report.team, report.part, words.as_deref(), 1)
            .await?
            .is_empty(),
    };
    if is_ours {
        return Ok(false);
    }
    store::is_missed_elsewhere(db, report.team, report.part, words.as_deref()).await
}

/// Whether a second name may be needed to write so many pieces off, and the sentence that says why.
async fn asked_for_second(
    db: &mut SqliteConnection,
    team: TeamId,
    part: PartId,
    left: i64,
) -> Result<(bool, String), AppError> {
    let money = prices::money(db, team).await?;
    let Some(above) = money.and_then(|money| money.above) else {
        let words = "Your team wants no second name when something is written off.";
        return Ok((false, words.into()));
    };
    let Some(price) = prices::price(db, team, part).await? else {
        let words = "Nobody has said what it costs, so no second name is asked for.";
        return Ok((false, words.into()));
    };
    let costs = prices::words(price);
    let is_needed = price
        .of(left.unsigned_abs())
        .is_ok_and(|worth| second::is_needed(worth, Some(above)));
    Ok((
        is_needed,
        format!("It costs {costs}. Above {above} a second name is needed to write it off."),
    ))
}

async fn timeline(
    db: &mut SqliteConnection,
    viewer: &Viewer,
    slip: &Slip,
) -> sqlx::Result<Vec<Happening>> {
    let steps = &slip.steps;
    let worths = match viewer.role_in(slip.report.team) {
        Some(_) => store::worths(db, slip.report.id).await?,
        None => Vec::new(),
    };
    let ids: Vec<_> = steps.iter().map(|step| step.person).collect();
    let names: std::collections::HashMap<_, _> =
        people::names(db, &ids).await?.into_iter().collect();
    Ok(steps
        .iter()
        .filter(|step| step.kind != Kind::TakenBack)
        .map(|step| {
            let name = names.get(&step.person).map_or("", String::as_str);
            Happening {
                line: step.line,
                words: format!(
                    "{}: {} {}",
                    step.done_at.words(viewer.zone()),
                    people::shown_name(name),
                    words::step(step)
                ),
                why: step.why.clone(),
                worth: worths
                    .iter()
                    .find(|(line, _)| *line == step.line)
                    .map(|(_, worth)| second::words(worth)),
                entry: step.entry,
                other: step.other,
                taken_back: !is_in_force(step, steps),
            }
        })
        .collect())
}

/// Reports that may tell of the same pieces: of the same part first.
async fn others(db: &mut SqliteConnection, slip: &Slip) -> sqlx::Result<Vec<Choice>> {
    let mut slips = damage::of_team(db, slip.report.team, None).await?;
    slips.retain(|other| {
        other.report.id != slip.report.id
            && other.report.what == slip.report.what
            && !matches!(
                other.stands.standing,
                Standing::Joined(_) | Standing::SetAside
            )
    });
    slips.sort_by_key(|other| {
        let same_part = other.report.part.is_some() && other.report.part == slip.report.part;
        let same_place = other.report.place.is_some() && other.report.place == slip.report.place;
        (!same_part, !same_place)
    });
    slips.truncate(JOINABLE);
    Ok(slips
        .iter()
        .enumerate()
        .map(|(at, other)| {
            let text = format!("{}, told by {}", other.headline(), other.report.told_by());
            Choice::new(other.report.id, text, at == 0)
        })
        .collect())
}
