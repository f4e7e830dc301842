//! Links that work once: the code of the first start, invitations, new passwords. Only hashes of them
//! are kept, so each is shown once, to the one who made it.

use super::password::{self, without_password};
use super::rules::{self, PeopleRefused};
use super::store::accounts::{self, Account};
use super::store::links::{self as rows, Link, NewLink, Purpose};
use super::store::{members, teams};
use super::{Role, Viewer, add_member, add_person, add_team, memory, open_session, sign_in};
use crate::app::App;
use crate::clock::Instant;
use crate::code::Code;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{PersonId, TeamId, TokenId};
use crate::receipts::{self, Outcome, Sent};
use crate::secret;

pub use rows::OpenInvite;

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

/// Makes an invitation for a coordinator, on the machine itself. Answers the path of the link. Whoever
/// holds it can also set the password of any account: it was made by the machine's owner, who could
/// write into the database as well.
pub async fn invite_coordinator(app: &App) -> Result<String, AppError> {
    let token = secret::token();
    let now = app.clock.now();
    let mut tx = app.db.begin_write().await?;
    let ends_at = now.plus_days(rules::INVITE_DAYS);
    let new = NewLink {
        coordinator: true,
        ..link(&token, Purpose::Invite, now, ends_at)
    };
    rows::insert(&mut tx, &new).await?;
    tx.commit_quietly().await?;
    tracing::info!("an invitation for a coordinator was made on the machine");
    Ok(format!("/invites/{token}"))
}

fn link(token: &str, purpose: Purpose, made_at: Instant, ends_at: Instant) -> NewLink {
    NewLink {
        token_hash: secret::hash(token.as_bytes()),
        purpose,
        person: None,
        team: None,
        role: None,
        coordinator: false,
        made_by: None,
        made_at,
        ends_at,
    }
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

/// What became of a form that makes an account: the token for the cookie comes the first time only.
pub struct Joined {
    pub outcome: Outcome,
    pub token: Option<String>,
}

impl Joined {
    fn again(outcome: Outcome) -> Self {
        Self {
            outcome,
            token: None,
        }
    }
}

async fn recorded_before(app: &App, sent: &Sent) -> Result<Option<Outcome>, AppError> {
    let mut db = app.db.read().await?;
    receipts::again(&mut db, sent).await
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

/// What became of the form that makes a link.
pub enum LinkMade {
    /// The path of the link, to be shown now and never again.
    Now { path: String },
    /// It was made before.
    Before(Outcome),
}

/// Invites somebody to a team.
pub async fn invite(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    role: Role,
) -> Result<LinkMade, NotDone<PeopleRefused>> {
    let token = secret::token();
    let outcome = receipts::once(app, sent, Some(viewer.person), async |tx| {
        let now = app.clock.now();
        let new = NewLink {
            team: Some(team),
            role: Some(role),
            made_by: Some(viewer.person),
            ..link(
                &token,
                Purpose::Invite,
                now,
                now.plus_days(rules::INVITE_DAYS),
            )
        };
        rows::insert(tx, &new).await?;
        tracing::info!(person = %viewer.person, %team, role = role.word(), "invited somebody");
        Ok(format!("/teams/{team}/people"))
    })
    .await?;
    Ok(match outcome {
        Outcome::Done { .. } => LinkMade::Now {
            path: format!("/invites/{token}"),
        },
        again => LinkMade::Before(again),
    })
}

/// A team's invitations that nobody has accepted yet.
pub async fn open_invites(app: &App, team: TeamId) -> Result<Vec<OpenInvite>, AppError> {
    let mut db = app.db.read().await?;
    Ok(rows::open_invites(&mut db, team, app.clock.now()).await?)
}

/// Takes an invitation back.
pub async fn take_invite_back(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    invite: TokenId,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        if !rows::delete_invite(tx, team, invite).await? {
            return Err(AppError::NotFound("invitation").into());
        }
        tracing::info!(person = %viewer.person, %team, "took an invitation back");
        Ok(format!("/teams/{team}/people"))
    })
    .await
}

/// Makes the link with which a member of a team chooses a new password.
pub async fn reset_link(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    team: TeamId,
    person: PersonId,
) -> Result<LinkMade, NotDone<PeopleRefused>> {
    let token = secret::token();
    let outcome = receipts::once(app, sent, Some(viewer.person), async |tx| {
        let missing = || AppError::NotFound("member");
        members::role(tx, person, team).await?.ok_or_else(missing)?;
        let maker = members::reach(tx, viewer.person)
            .await?
            .ok_or_else(missing)?;
        let whose = members::reach(tx, person).await?.ok_or_else(missing)?;
        if let Err(refused) = rules::may_reset(&maker, &whose) {
            tracing::warn!(by = %viewer.person, %person, "denied a link for a new password");
            return Err(NotDone::Refused(refused));
        }
        let now = app.clock.now();
        rows::delete_resets(tx, person).await?;
        let new = NewLink {
            person: Some(person),
            made_by: Some(viewer.person),
            ..link(
                &token,
                Purpose::Reset,
                now,
                now.plus_minutes(rules::RESET_MINUTES),
            )
        };
        rows::insert(tx, &new).await?;
        tracing::info!(by = %viewer.person, %person, "made a link for a new password");
        Ok(format!("/teams/{team}/people"))
    })
    .await?;
    Ok(match outcome {
        Outcome::Done { .. } => LinkMade::Now {
            path: format!("/resets/{token}"),
        },
        again => LinkMade::Before(again),
    })
}

/// An invitation as the invited person sees it.
pub struct Invite {
    link: Link,
    /// The team and what they would be there; `None` for a coordinator's invitation.
    pub team: Option<(String, Role)>,
    pub invited_by: Option<String>,
}

impl Invite {
    /// Whether its holder may set the password of an account that exists: only if it was made on the
    /// machine itself.
    pub fn sets_passwords(&self) -> bool {
        self.link.coordinator && self.link.made_by.is_none()
    }
}

/// A link that still works.
async fn usable(
    db: &mut sqlx::SqliteConnection,
    token: &str,
    purpose: Purpose,
    now: Instant,
) -> Result<Link, AppError> {
    let link = rows::find(db, &secret::hash(token.as_bytes())).await?;
    link.filter(|link| link.purpose == purpose && link.used_at.is_none() && now < link.ends_at)
        .ok_or_else(|| {
            AppError::Gone(
                "This link was used already, or it is too old, or it was taken back. Ask whoever \
                 gave it to you for a new one."
                    .into(),
            )
        })
}

/// Looks an invitation up.
pub async fn find_invite(app: &App, token: &str) -> Result<Invite, AppError> {
    let mut db = app.db.read().await?;
    read_invite(&mut db, token, app.clock.now()).await
}

async fn read_invite(
    db: &mut sqlx::SqliteConnection,
    token: &str,
    now: Instant,
) -> Result<Invite, AppError> {
    let link = usable(db, token, Purpose::Invite, now).await?;
    let team = match (link.team, link.role) {
        (Some(team), Some(role)) => teams::find(db, team).await?.map(|team| (team.name, role)),
        _ => None,
    };
    let invited_by = match link.made_by {
        Some(person) => accounts::by_id(db, person)
            .await?
            .map(|account| account.name),
        None => None,
    };
    Ok(Invite {
        link,
        team,
        invited_by,
    })
}

/// Makes the person what the invitation says, and uses it up.
async fn take_up(
    app: &App,
    tx: &mut Tx,
    invite: &Invite,
    person: PersonId,
) -> Result<(), NotDone<PeopleRefused>> {
    if let (Some(team), Some(role)) = (invite.link.team, invite.link.role) {
        if members::role(tx, person, team).await?.is_some() {
            let name = invite.team.as_ref().map(|(name, _)| name.clone());
            return Err(NotDone::Refused(PeopleRefused::MemberAlready(
                name.unwrap_or_default(),
            )));
        }
        add_member(app, tx, person, team, role).await?;
        tracing::info!(%person, %team, role = role.word(), "accepted an invitation");
    }
    if invite.link.coordinator {
        accounts::set_coordinator(tx, person, true).await?;
        tracing::info!(%person, "became a coordinator by invitation");
    }
    rows::use_up(tx, invite.link.id, app.clock.now()).await?;
    Ok(())
}

/// Accepts an invitation with the account one has.
pub async fn accept(
    app: &App,
    viewer: &Viewer,
    sent: &Sent,
    token: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    receipts::once(app, sent, Some(viewer.person), async |tx| {
        let invite = read_invite(tx, token, app.clock.now()).await?;
        take_up(app, tx, &invite, viewer.person).await?;
        Ok("/".into())
    })
    .await
}

/// Accepts an invitation with a new account, signed in.
pub async fn accept_as_new(
    app: &App,
    sent: &Sent,
    token: &str,
    [name, email, password]: [&str; 3],
    device: &str,
) -> Result<Joined, NotDone<Vec<PeopleRefused>>> {
    let sent = without_password(sent, &["/invites", token, name, email]);
    if let Some(outcome) = recorded_before(app, &sent).await? {
        return Ok(Joined::again(outcome));
    }
    let invite = find_invite(app, token).await?;
    let context = context(
        app,
        name,
        email,
        invite.team.iter().map(|(team, _)| team.clone()),
    );
    let mut refused = Vec::new();
    let mut keep = |checked: Result<String, PeopleRefused>| {
        checked.unwrap_or_else(|wrong| {
            refused.push(wrong);
            String::new()
        })
    };
    let (name, email) = (keep(rules::person_name(name)), keep(rules::email(email)));
    let hash = match password::choose(&app.people.hashing, password, context.await?).await {
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
    let mut session = None;
    let outcome = receipts::once(app, &sent, None, async |tx| {
        let invite = read_invite(tx, token, app.clock.now()).await?;
        if accounts::by_email(tx, &email).await?.is_some() {
            return Err(NotDone::Refused(vec![PeopleRefused::SignInInstead]));
        }
        let person = add_person(app, tx, &name, Some(&email), Some(&hash), false).await?;
        take_up(app, tx, &invite, person)
            .await
            .map_err(NotDone::one)?;
        session = Some(open_session(app, tx, person, device).await?);
        Ok("/".into())
    })
    .await?;
    Ok(Joined {
        outcome,
        token: session,
    })
}

async fn context(
    app: &App,
    name: &str,
    email: &str,
    teams: impl Iterator<Item = String>,
) -> Result<Vec<String>, AppError> {
    let mut words = vec![
        memory::league(app).await?,
        name.to_owned(),
        email.to_owned(),
    ];
    words.extend(teams);
    Ok(words)
}

/// Sets the password of an account that exists, with an invitation made on the machine itself. What the
/// account may do stays as it was.
pub async fn set_password_by_invite(
    app: &App,
    sent: &Sent,
    token: &str,
    email: &str,
    new: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    let sent = without_password(sent, &["/invites/password", token, email]);
    if let Some(outcome) = recorded_before(app, &sent).await? {
        return Ok(outcome);
    }
    if !find_invite(app, token).await?.sets_passwords() {
        return Err(AppError::NotFound("page").into());
    }
    let account = {
        let mut db = app.db.read().await?;
        accounts::by_email(&mut db, &sign_in::key(email)).await?
    };
    let account = account.ok_or(NotDone::Refused(PeopleRefused::NoSuchAccount))?;
    choose_and_set(app, &sent, &account, new, Purpose::Invite, token).await
}

/// The link for a new password, if it still works. Answers whose account it is.
pub async fn find_reset(app: &App, token: &str) -> Result<PersonId, AppError> {
    let mut db = app.db.read().await?;
    let link = usable(&mut db, token, Purpose::Reset, app.clock.now()).await?;
    link.person.ok_or(AppError::NotFound("link"))
}

/// Sets a new password with a link from a keeper or coordinator.
pub async fn reset_password(
    app: &App,
    sent: &Sent,
    token: &str,
    new: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    let sent = without_password(sent, &["/resets", token]);
    if let Some(outcome) = recorded_before(app, &sent).await? {
        return Ok(outcome);
    }
    let person = find_reset(app, token).await?;
    let account = {
        let mut db = app.db.read().await?;
        accounts::by_id(&mut db, person).await?
    };
    let account = account.ok_or(AppError::NotFound("account"))?;
    choose_and_set(app, &sent, &account, new, Purpose::Reset, token).await
}

async fn choose_and_set(
    app: &App,
    sent: &Sent,
    account: &Account,
    new: &str,
    purpose: Purpose,
    token: &str,
) -> Result<Outcome, NotDone<PeopleRefused>> {
    let email = account.email.clone().unwrap_or_default();
    let teams = {
        let mut db = app.db.read().await?;
        super::store::memberships(&mut db, account.person).await?
    };
    let teams = teams.into_iter().map(|there| there.team_name);
    let words = context(app, &account.name, &email, teams).await?;
    let hash = password::choose(&app.people.hashing, new, words).await?;
    receipts::once(app, sent, Some(account.person), async |tx| {
        let now = app.clock.now();
        let link = usable(tx, token, purpose, now).await?;
        rows::use_up(tx, link.id, now).await?;
        sign_in::set_password(tx, account, &hash, None).await?;
        tracing::info!(person = %account.person, ?purpose, "chose a new password by link");
        Ok("/sign-in".into())
    })
    .await
}
