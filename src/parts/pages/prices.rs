//! A team's money: its currency, the value above which a second name is needed, and what parts cost.

use askama::Template;
use axum::extract::State;
use axum::response::Response;
use serde::Deserialize;

use crate::app::App;
use crate::error::{AppError, NotDone};
use crate::ids::{FormId, PartId, TeamId};
use crate::parts::Part;
use crate::parts::prices::{self, PriceSaid, Priced, TeamMoney};
use crate::people::{self, Viewer, shown_name};
use crate::reckon::money::Money;
use crate::web::extract::{Form, Path};
use crate::web::flash;
use crate::web::form::{self, Wrong};
use crate::web::frame::Frame;
use crate::web::page::{self, Page};

/// Earlier decisions and prices on a page.
const EARLIER: i64 = 20;

#[derive(Template)]
#[template(path = "parts/money.html")]
pub(super) struct MoneyPage {
    frame: Frame,
    team: TeamId,
    team_name: String,
    /// What was decided, the latest first.
    said: Vec<TeamMoney>,
    priced: Vec<Priced>,
    zone: String,
    may_keep: bool,
    fields: MoneyForm,
    wrongs: Vec<Wrong>,
}

impl MoneyPage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn status(&self) -> String {
        match self.said.first() {
            None => "Nothing is decided yet, so nobody is asked for a second name.".into(),
            Some(said) => decided(said),
        }
    }

    /// What held before, with who decided it.
    fn earlier(&self) -> Vec<String> {
        let all = self.said.iter();
        all.map(|said| {
            let (who, at) = (shown_name(&said.set_by), said.set_at.words(&self.zone));
            format!("{at}, {who}: {}", decided(said))
        })
        .collect()
    }

    fn words(&self, one: &Priced) -> String {
        words(&one.name, &one.colour, &one.number)
    }

    fn costs(&self, one: &Priced) -> String {
        one.price.map_or("not known".into(), prices::words)
    }
}

/// "Peg, black (B-4)".
fn words(name: &str, colour: &str, number: &str) -> String {
    let mut text = name.to_owned();
    if !colour.is_empty() {
        text.push_str(&format!(", {colour}"));
    }
    if !number.is_empty() {
        text.push_str(&format!(" ({number})"));
    }
    text
}

fn decided(said: &TeamMoney) -> String {
    match said.above {
        Some(above) => format!("A second name is needed to write off more than {above}."),
        None => format!(
            "Prices are in {}. Nobody is asked for a second name when something is written off.",
            said.currency
        ),
    }
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct MoneyForm {
    currency: String,
    above: String,
}

pub(super) async fn money(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
) -> Result<Page<MoneyPage>, AppError> {
    money_page(&app, &viewer, frame, team, None, Vec::new())
        .await
        .map(Page)
}

async fn money_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    team: TeamId,
    typed: Option<MoneyForm>,
    wrongs: Vec<Wrong>,
) -> Result<MoneyPage, AppError> {
    let mut db = app.db.read().await?;
    let said = prices::money_said(&mut db, team, EARLIER).await?;
    let fields = typed.unwrap_or_else(|| match said.first() {
        Some(now) => MoneyForm {
            currency: now.currency.to_string(),
            above: now.above.map(Money::amount).unwrap_or_default(),
        },
        None => MoneyForm::default(),
    });
    Ok(MoneyPage {
        frame,
        team_name: people::team_name(&mut db, team).await?,
        priced: prices::priced(&mut db, team).await?,
        zone: viewer.zone().to_owned(),
        may_keep: viewer.keeps(team),
        team,
        said,
        fields,
        wrongs,
    })
}

pub(super) async fn decide(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(team): Path<TeamId>,
    form: Form<MoneyForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let (currency, above) = (&fields.currency, &fields.above);
    match prices::decide(&app, &viewer, &form.sent, team, currency, above).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Decided.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = money_page(&app, &viewer, frame, team, Some(fields), wrongs).await?;
            Ok(page::again(page))
        }
    }
}

#[derive(Template)]
#[template(path = "parts/price.html")]
pub(super) struct PricePage {
    frame: Frame,
    team: TeamId,
    part: Part,
    money: Option<TeamMoney>,
    /// What was said, the latest first.
    said: Vec<PriceSaid>,
    zone: String,
    may_keep: bool,
    fields: PriceForm,
    wrongs: Vec<Wrong>,
}

impl PricePage {
    fn form_id(&self) -> FormId {
        self.frame.form_id()
    }

    fn wrong(&self, field: &str) -> Option<&str> {
        form::at(&self.wrongs, field)
    }

    fn error(&self) -> &'static str {
        form::title_prefix(&self.wrongs)
    }

    fn words(&self) -> String {
        words(&self.part.name, &self.part.colour, &self.part.number)
    }

    fn status(&self) -> String {
        match self.said.first().and_then(|said| said.price) {
            Some(price) => format!("Buying it again costs {}.", prices::words(price)),
            None => "Nobody has said what it costs.".into(),
        }
    }

    fn earlier(&self) -> Vec<String> {
        let all = self.said.iter();
        all.map(|said| {
            let (who, at) = (shown_name(&said.set_by), said.set_at.words(&self.zone));
            let price = said
                .price
                .map_or("not known any more".into(), prices::words);
            format!("{at}, {who}: {price}")
        })
        .collect()
    }

    fn amount_label(&self) -> String {
        match &self.money {
            Some(money) => format!("Costs ({})", money.currency),
            None => "Costs".into(),
        }
    }
}

#[derive(Deserialize, Default, Clone)]
#[serde(default)]
pub(super) struct PriceForm {
    amount: String,
    for_pieces: String,
}

pub(super) async fn price(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(of): Path<(TeamId, PartId)>,
) -> Result<Page<PricePage>, AppError> {
    price_page(&app, &viewer, frame, of, None, Vec::new())
        .await
        .map(Page)
}

async fn price_page(
    app: &App,
    viewer: &Viewer,
    frame: Frame,
    (team, part): (TeamId, PartId),
    typed: Option<PriceForm>,
    wrongs: Vec<Wrong>,
) -> Result<PricePage, AppError> {
    let mut db = app.db.read().await?;
    let part = crate::parts::find(&mut db, part)
        .await?
        .ok_or(AppError::NotFound("part"))?;
    let said = prices::prices_said(&mut db, team, part.id, EARLIER).await?;
    let fields = typed.unwrap_or_else(|| match said.first().and_then(|said| said.price) {
        Some(price) => PriceForm {
            amount: price.money.amount(),
            for_pieces: price.for_pieces.to_string(),
        },
        None => PriceForm {
            for_pieces: "1".into(),
            ..PriceForm::default()
        },
    });
    Ok(PricePage {
        frame,
        money: prices::money(&mut db, team).await?,
        zone: viewer.zone().to_owned(),
        may_keep: viewer.keeps(team),
        team,
        part,
        said,
        fields,
        wrongs,
    })
}

pub(super) async fn say(
    State(app): State<App>,
    viewer: Viewer,
    frame: Frame,
    Path(of): Path<(TeamId, PartId)>,
    form: Form<PriceForm>,
) -> Result<Response, AppError> {
    let fields = form.fields;
    let (amount, for_pieces) = (&fields.amount, &fields.for_pieces);
    match prices::say(&app, &viewer, &form.sent, of, amount, for_pieces).await {
        Ok(outcome) => Ok(flash::told(&outcome, "Written down.", viewer.zone())),
        Err(NotDone::Failed(error)) => Err(error),
        Err(NotDone::Refused(wrongs)) => {
            let page = price_page(&app, &viewer, frame, of, Some(fields), wrongs).await?;
            Ok(page::again(page))
        }
    }
}
