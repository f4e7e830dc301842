//! Links that work once, and invitations, which are most of them. Only hashes of links are kept, so each
//! is shown once, to the one who made it.

use super::password::{self, without_password};
use super::rules::{self, PeopleRefused};
use super::store::accounts;
use super::store::links::{self as rows, Link, NewLink, Purpose};
use super::store::{members, teams};
use super::{Role, Viewer, add_member, add_person, memory, open_session};
use crate::app::App;
use crate::clock::Instant;
use crate::db::Tx;
use crate::error::{AppError, NotDone};
use crate::ids::{PersonId, TeamId, TokenId};
use crate::receipts::{self, Outcome, Sent};
use crate::secret;

pub use rows::OpenInvite;

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

pub(super) fn link(token: &str, purpose: Purpose, made_at: Instant, ends_at: Instant) -> NewLink {
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

/// What became of a form that makes an account: the token for the cookie comes the first time only.
pub struct Joined {
    pub outcome: Outcome,
    pub token: Option<String>,
}

impl Joined {
    pub(super) fn again(outcome: Outcome) -> Self {
        Self {
            outcome,
            token: None,
        }
    }
}

pub(super) async fn recorded_before(app: &App, sent: &Sent) -> Result<Option<Outcome>, AppError> {
    let mut db = app.db.read().await?;
    receipts::again(&mut db, sent).await
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
pub(super) async fn usable(
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

pub(super) async fn context(
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
