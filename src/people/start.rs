//! The first start: a code that the program prints makes the first account.

use super::links::{Joined, link, recorded_before};
use super::password::{self, without_password};
use super::rules::{self, PeopleRefused};
use super::store::links::{self as rows, Link, Purpose};
use super::store::{accounts, teams};
use super::{Role, add_member, add_person, add_team, memory, open_session};
use crate::app::App;
use crate::clock::Instant;
use crate::code::Code;
use crate::error::{AppError, NotDone};
use crate::receipts::{self, Sent};
use crate::secret;

const GROUPS: usize = 3;

/// Makes the code with which the first account can be made, as a text to print, if nobody has an account.
/// Earlier codes stop working.
pub async fn start_code(app: &App) -> Result<Option<String>, AppError> {
    if memory::somebody(app).await? {
        return Ok(None);
    }
    // Three codes as they are printed on crates, so that a mistyped one is noticed and named:
    // together 74 random bits for half an hour.
    let groups: Vec<Code> = (0..GROUPS)
        .map(|_| Code::from_random(u64::from_le_bytes(secret::random())))
        .collect();
    let plain: String = groups.iter().map(Code::plain).collect();
    let now = app.clock.now();
    let mut tx = app.db.begin_write().await?;
    rows::delete_starts(&mut tx).await?;
    let ends_at = now.plus_minutes(rules::RESET_MINUTES);
    rows::insert(&mut tx, &link(&plain, Purpose::Start, now, ends_at)).await?;
    tx.commit_quietly().await?;
    let groups: Vec<String> = groups.iter().map(Code::to_string).collect();
    Ok(Some(groups.join(" ")))
}

/// What the form of the first start says.
pub struct FirstStart<'a> {
    pub code: &'a str,
    pub league: &'a str,
    pub team: &'a str,
    pub zone: &'a str,
    pub name: &'a str,
    pub email: &'a str,
    pub password: &'a str,
}

/// Names the league and makes its first team and account: a coordinator, who keeps that team's kits.
pub async fn begin_league(
    app: &App,
    sent: &Sent,
    form: &FirstStart<'_>,
    device: &str,
) -> Result<Joined, NotDone<Vec<PeopleRefused>>> {
    let said = [
        "/start",
        form.code,
        form.league,
        form.team,
        form.zone,
        form.name,
        form.email,
    ];
    let sent = without_password(sent, &said);
    if let Some(outcome) = recorded_before(app, &sent).await? {
        return Ok(Joined::again(outcome));
    }
    if memory::somebody(app).await? {
        return Err(done_already().into());
    }
    // The code first: nobody else gets the machine to hash anything.
    let code = typed_code(form.code).map_err(|wrong| NotDone::Refused(vec![wrong]))?;
    {
        let mut db = app.db.read().await?;
        start_link(&mut db, &code, app.clock.now())
            .await
            .map_err(NotDone::one)?;
    }
    let mut refused = Vec::new();
    let mut keep = |checked: Result<String, PeopleRefused>| {
        checked.unwrap_or_else(|wrong| {
            refused.push(wrong);
            String::new()
        })
    };
    let league = keep(rules::league_name(form.league));
    let team = keep(rules::team_name(form.team, []));
    let zone = keep(rules::zone(form.zone));
    let name = keep(rules::person_name(form.name));
    let email = keep(rules::email(form.email));
    let context = [form.league, form.team, form.name, form.email].map(str::to_owned);
    let hash = match password::choose(&app.people.hashing, form.password, context.to_vec()).await {
        Ok(hash) => hash,
        Err(NotDone::Refused(wrong)) => {
            refused.push(wrong);
            String::new()
        }
        Err(NotDone::Failed(error)) => return Err(error.into()),
    };
    if !refused.is_empty() {
        return Err(NotDone::Refused(refused));
    }

    let mut token = None;
    let outcome = receipts::once(app, &sent, None, async |tx| {
        if accounts::somebody(tx).await? {
            return Err(done_already().into());
        }
        let now = app.clock.now();
        let link = start_link(tx, &code, now).await.map_err(NotDone::one)?;
        rows::use_up(tx, link.id, now).await?;
        teams::set_league(tx, &league).await?;
        let team = add_team(tx, &team, &zone).await?;
        let person = add_person(app, tx, &name, Some(&email), Some(&hash), true).await?;
        add_member(app, tx, person, team, Role::Keeper).await?;
        token = Some(open_session(app, tx, person, device).await?);
        tracing::info!(%person, "the first account was made");
        Ok("/".into())
    })
    .await?;
    Ok(Joined { outcome, token })
}

fn done_already() -> AppError {
    AppError::Conflict(
        "Fieldstow is set up already. Sign in, or ask a keeper for an invitation.".into(),
    )
}

/// The letters of a typed code without spaces and hyphens, read as meant.
fn typed_code(typed: &str) -> Result<String, PeopleRefused> {
    let letters: Vec<char> = typed
        .chars()
        .filter(|letter| !letter.is_whitespace() && *letter != '-')
        .collect();
    if letters.len() != GROUPS * 6 {
        return Err(PeopleRefused::MistypedCode(
            "the code has three groups of six characters, like 7K3-F28".into(),
        ));
    }
    letters
        .chunks(6)
        .map(|group| {
            Code::parse(&group.iter().collect::<String>())
                .map(|code| code.plain().to_owned())
                .map_err(|wrong| PeopleRefused::MistypedCode(wrong.to_string()))
        })
        .collect()
}

async fn start_link(
    db: &mut sqlx::SqliteConnection,
    code: &str,
    now: Instant,
) -> Result<Link, NotDone<PeopleRefused>> {
    let found = rows::find(db, &secret::hash(code.as_bytes())).await?;
    match found {
        Some(link) if link.purpose == Purpose::Start && link.used_at.is_none() => {
            if now >= link.ends_at {
                return Err(NotDone::Refused(PeopleRefused::OldCode));
            }
            Ok(link)
        }
        _ => Err(NotDone::Refused(PeopleRefused::WrongCode)),
    }
}
