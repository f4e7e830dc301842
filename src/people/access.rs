//! Who may do what. Every route is registered together with its rule; one without does not compile.
//!
//! Some rules ask about a **subject**: the thing whose id stands first in the path (a kit, a place, a
//! count, a stint, a team). The guard looks up whose it is, so a handler cannot forget to.

use axum::Router;
use axum::extract::{FromRequestParts, RawPathParams, Request};
use axum::handler::Handler;
use axum::http::{Method, StatusCode};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, on};
use uuid::Uuid;

use super::{Role, Viewer, store};
use crate::app::App;
use crate::error::AppError;
use crate::ids::TeamId;
use crate::web::problem;

/// The rules. `allowed` is their truth table.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Rule {
    /// Everybody, with or without an account.
    Anyone,
    /// Whoever opened a helper pass that still holds, with or without an account.
    Helps,
    /// Whoever opened a loan link that still holds, with or without an account.
    Borrows,
    /// Everybody with an account.
    SignedIn,
    /// Whoever keeps a team's kits, or answers for the league: seasons, guides, parts lists.
    KeepsGuides,
    /// Whoever keeps some team's kits.
    KeepsSomeTeam,
    /// Whoever belongs to some team.
    WorksSomewhere,
    /// Whoever answers for the league.
    Coordinates,
    /// See the subject's team's books: its members, and coordinators.
    Sees,
    /// See the subject, a loan: the members of the team that lends and of the one that borrows, and
    /// coordinators.
    SeesEither,
    /// Answer for the borrowing side of the subject, a loan: that team's keeper and deputies.
    KeepsOther,
    /// Answer for either side of the subject, a loan: the keepers and deputies of both teams.
    KeepsEither,
    /// See what of the subject, a loan, was handed on to one's own team: its members.
    SeesHeld,
    /// Answer for what of the subject, a loan, was handed on: the keeper and deputies of the team that got it.
    KeepsHeld,
    /// Count and move in the subject's team's books: its members.
    Works,
    /// Decide about the subject's team's books: its keeper and deputies.
    Keeps,
    /// Decide who belongs to the subject, a team: its keeper and deputies, and coordinators.
    Staffs,
}

impl Rule {
    pub const ALL: [Rule; 17] = [
        Rule::Anyone,
        Rule::Helps,
        Rule::Borrows,
        Rule::SignedIn,
        Rule::KeepsGuides,
        Rule::KeepsSomeTeam,
        Rule::WorksSomewhere,
        Rule::Coordinates,
        Rule::Sees,
        Rule::SeesEither,
        Rule::KeepsOther,
        Rule::KeepsEither,
        Rule::SeesHeld,
        Rule::KeepsHeld,
        Rule::Works,
        Rule::Keeps,
        Rule::Staffs,
    ];

    /// Whether it asks about the thing in the path.
    pub fn has_subject(self) -> bool {
        match self {
            Rule::Sees
            | Rule::SeesEither
            | Rule::KeepsOther
            | Rule::KeepsEither
            | Rule::SeesHeld
            | Rule::KeepsHeld
            | Rule::Works
            | Rule::Keeps
            | Rule::Staffs => true,
            Rule::Anyone
            | Rule::Helps
            | Rule::Borrows
            | Rule::SignedIn
            | Rule::KeepsGuides
            | Rule::KeepsSomeTeam
            | Rule::WorksSomewhere
            | Rule::Coordinates => false,
        }
    }

    /// Whether it asks about who got something of a loan from its borrower.
    fn asks_for_hands(self) -> bool {
        matches!(self, Rule::SeesHeld | Rule::KeepsHeld)
    }

    /// Who could, for the page that says no.
    fn who(self) -> &'static str {
        match self {
            Rule::Anyone => "everybody",
            Rule::Helps => "people with a helper pass that holds",
            Rule::Borrows => "people with a loan link that holds",
            Rule::SignedIn => "people with an account",
            Rule::KeepsGuides => "keepers, deputies and coordinators",
            Rule::KeepsSomeTeam => "keepers and deputies",
            Rule::WorksSomewhere => "the members of a team",
            Rule::Coordinates => "the league's coordinators",
            Rule::Sees => "the team's members and coordinators",
            Rule::SeesEither => "the members of both teams and coordinators",
            Rule::KeepsOther => "the borrowing team's keeper and deputies",
            Rule::KeepsEither => "the keepers and deputies of both teams",
            Rule::SeesHeld => "the members of a team that some of this loan was handed on to",
            Rule::KeepsHeld => {
                "the keeper and deputies of a team that some of this loan was handed on to"
            }
            Rule::Works => "the team's members",
            Rule::Keeps => "the team's keeper and deputies",
            Rule::Staffs => "the team's keeper and deputies, and coordinators",
        }
    }
}

/// What the viewer is, as far as rules ask.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Standing {
    pub coordinator: bool,
    /// Keeper or deputy of any team.
    pub keeps_some_team: bool,
    /// Member of any team.
    pub works_somewhere: bool,
    /// What they are to the subject's team; `None` for other teams and where there is no subject.
    pub role_there: Option<Role>,
    /// What they are to the team on the other side of a loan.
    pub role_beside: Option<Role>,
    /// The most they are to a team that something of a loan was handed on to.
    pub role_holding: Option<Role>,
}

/// The truth table. `standing` is `None` for somebody without an account.
pub fn allowed(rule: Rule, standing: Option<Standing>) -> bool {
    let Some(standing) = standing else {
        return rule == Rule::Anyone;
    };
    let keeps_there = standing.role_there.is_some_and(Role::keeps);
    match rule {
        Rule::Anyone | Rule::SignedIn => true,
        Rule::Helps | Rule::Borrows => false,
        Rule::KeepsGuides => standing.keeps_some_team || standing.coordinator,
        Rule::KeepsSomeTeam => standing.keeps_some_team,
        Rule::WorksSomewhere => standing.works_somewhere,
        Rule::Coordinates => standing.coordinator,
        Rule::Sees => standing.role_there.is_some() || standing.coordinator,
        Rule::SeesEither => {
            standing.role_there.is_some() || standing.role_beside.is_some() || standing.coordinator
        }
        Rule::KeepsOther => standing.role_beside.is_some_and(Role::keeps),
        Rule::KeepsEither => keeps_there || standing.role_beside.is_some_and(Role::keeps),
        Rule::SeesHeld => standing.role_holding.is_some(),
        Rule::KeepsHeld => standing.role_holding.is_some_and(Role::keeps),
        Rule::Works => standing.role_there.is_some(),
        Rule::Keeps => keeps_there,
        Rule::Staffs => keeps_there || standing.coordinator,
    }
}

/// The same for a phone on which a helper pass was opened, as far as it is not signed in.
pub fn allowed_to_helpers(rule: Rule) -> bool {
    matches!(rule, Rule::Anyone | Rule::Helps)
}

/// The same for a phone on which a loan link was opened.
pub fn allowed_to_borrowers(rule: Rule) -> bool {
    matches!(rule, Rule::Anyone | Rule::Borrows)
}

/// Stands in a request whose phone opened a loan link that still holds.
#[derive(Debug, Clone, Copy)]
pub struct Borrowing;

/// Stands in a request whose phone opened a helper pass that still holds.
#[derive(Debug, Clone, Copy)]
pub struct Helping;

/// One registered route, for the tests that go through all of them.
#[derive(Debug, Clone)]
pub struct Listed {
    pub method: Method,
    pub path: &'static str,
    pub rule: Rule,
}

/// The routes of a slice, each with its rule.
#[derive(Default)]
pub struct Routes {
    router: Router<App>,
    listed: Vec<Listed>,
}

impl Routes {
    pub fn new() -> Self {
        Self::default()
    }

    pub fn get<H, T>(self, path: &'static str, rule: Rule, handler: H) -> Self
    where
        H: Handler<T, App>,
        T: 'static,
    {
        let route = on(axum::routing::MethodFilter::GET, handler);
        self.add(Method::GET, path, rule, route)
    }

    pub fn post<H, T>(self, path: &'static str, rule: Rule, handler: H) -> Self
    where
        H: Handler<T, App>,
        T: 'static,
    {
        let route = on(axum::routing::MethodFilter::POST, handler);
        self.add(Method::POST, path, rule, route)
    }

    /// A form that may be larger than others: a file.
    pub fn post_large<H, T>(self, path: &'static str, rule: Rule, bytes: usize, handler: H) -> Self
    where
        H: Handler<T, App>,
        T: 'static,
    {
        let route = on(axum::routing::MethodFilter::POST, handler)
            .layer(axum::extract::DefaultBodyLimit::max(bytes));
        self.add(Method::POST, path, rule, route)
    }

    fn add(
        mut self,
        method: Method,
        path: &'static str,
        rule: Rule,
        route: MethodRouter<App>,
    ) -> Self {
        let guarded = route.route_layer(middleware::from_fn(move |request, next| {
            guard(rule, request, next)
        }));
        self.router = self.router.route(path, guarded);
        self.listed.push(Listed { method, path, rule });
        self
    }

    pub fn merge(mut self, other: Routes) -> Self {
        self.router = self.router.merge(other.router);
        self.listed.extend(other.listed);
        self
    }

    pub fn into_parts(self) -> (Router<App>, Vec<Listed>) {
        (self.router, self.listed)
    }
}

async fn guard(rule: Rule, request: Request, next: Next) -> Response {
    match check(rule, request).await {
        Ok(request) => next.run(request).await,
        Err(response) => response,
    }
}

async fn check(rule: Rule, request: Request) -> Result<Request, Response> {
    if rule == Rule::Anyone {
        return Ok(request);
    }
    if request.extensions().get::<Helping>().is_some() && allowed_to_helpers(rule) {
        return Ok(request);
    }
    if request.extensions().get::<Borrowing>().is_some() && allowed_to_borrowers(rule) {
        return Ok(request);
    }
    let again = match rule {
        Rule::Helps => Some("Scan the pass again, or ask somebody of the team."),
        Rule::Borrows => Some(
            "The loan may be closed, or the link withdrawn. If all of it was given back, nothing is left to do; \
             otherwise ask the lender.",
        ),
        _ => None,
    };
    if let Some(again) = again {
        return Err(problem::answer(
            StatusCode::FORBIDDEN,
            format!("This is for {}. {again}", rule.who()),
        ));
    }
    let Some(viewer) = request.extensions().get::<Viewer>().cloned() else {
        return Err(super::viewer::sign_in_first(request).await);
    };
    let (mut parts, body) = request.into_parts();
    let sides = if rule.has_subject() {
        match subject_sides(&mut parts, rule)
            .await
            .map_err(IntoResponse::into_response)?
        {
            Some(sides) => Some(sides),
            None => return Err(AppError::NotFound("page").into_response()),
        }
    } else {
        None
    };
    let standing = match &sides {
        Some(sides) => Standing {
            role_beside: sides.other.and_then(|other| viewer.role_in(other)),
            role_holding: sides
                .hands
                .iter()
                .filter_map(|team| viewer.role_in(*team))
                .max_by_key(|role| role.keeps()),
            ..viewer.standing(Some(sides.team))
        },
        None => viewer.standing(None),
    };
    if allowed(rule, Some(standing)) {
        return Ok(Request::from_parts(parts, body));
    }
    tracing::info!(person = %viewer.person, path = %parts.uri.path(), ?rule, "refused");
    Err(problem::answer(
        StatusCode::FORBIDDEN,
        format!(
            "This is for {}. Ask the keeper if you should be able to do it.",
            rule.who()
        ),
    ))
}

/// The teams that have to do with the thing whose id stands first in the path.
struct Sides {
    team: TeamId,
    /// The team on its other side, if it has one.
    other: Option<TeamId>,
    /// Teams that something of it was handed on to, as far as the rule asks.
    hands: Vec<TeamId>,
}

async fn subject_sides(
    parts: &mut axum::http::request::Parts,
    rule: Rule,
) -> Result<Option<Sides>, AppError> {
    let params = RawPathParams::from_request_parts(parts, &())
        .await
        .map_err(|_| AppError::NotFound("page"))?;
    let Some(subject) = params
        .iter()
        .next()
        .and_then(|(_, id)| id.parse::<Uuid>().ok())
    else {
        return Ok(None);
    };
    let app = parts
        .extensions
        .get::<App>()
        .cloned()
        .ok_or_else(|| anyhow::anyhow!("the app is not in the request"))?;
    let mut db = app.db.read().await?;
    let (team, other) = match store::subject_team(&mut db, subject).await? {
        Some(team) => (team, None),
        None => match store::subject_sides(&mut db, subject).await? {
            Some(sides) => sides,
            None => return Ok(None),
        },
    };
    let hands = if rule.asks_for_hands() {
        store::subject_hands(&mut db, subject).await?
    } else {
        Vec::new()
    };
    Ok(Some(Sides { team, other, hands }))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Rows are rules; columns: a helper pass, a loan link, no account, account only, coordinator, keeper elsewhere, crew there,
    /// deputy there, keeper there, crew beside, keeper beside, crew holding, keeper holding.
    #[test]
    fn the_truth_table() {
        let nothing = Standing {
            coordinator: false,
            keeps_some_team: false,
            works_somewhere: false,
            role_there: None,
            role_beside: None,
            role_holding: None,
        };
        let there = |role| Standing {
            role_there: Some(role),
            keeps_some_team: role != Role::Crew,
            works_somewhere: true,
            ..nothing
        };
        let beside = |role| Standing {
            role_there: None,
            role_beside: Some(role),
            ..there(role)
        };
        let holding = |role| Standing {
            role_there: None,
            role_holding: Some(role),
            ..there(role)
        };
        let columns = [
            None,
            Some(nothing),
            Some(Standing {
                coordinator: true,
                ..nothing
            }),
            Some(Standing {
                keeps_some_team: true,
                works_somewhere: true,
                ..nothing
            }),
            Some(there(Role::Crew)),
            Some(there(Role::Deputy)),
            Some(there(Role::Keeper)),
            Some(beside(Role::Crew)),
            Some(beside(Role::Keeper)),
            Some(holding(Role::Crew)),
            Some(holding(Role::Keeper)),
        ];
        let table = [
            (Rule::Anyone, "yyyyyyyyyyyyy"),
            (Rule::Helps, "y------------"),
            (Rule::Borrows, "-y-----------"),
            (Rule::SignedIn, "---yyyyyyyyyy"),
            (Rule::KeepsGuides, "----yy-yy-y-y"),
            (Rule::KeepsSomeTeam, "-----y-yy-y-y"),
            (Rule::WorksSomewhere, "-----yyyyyyyy"),
            (Rule::Coordinates, "----y--------"),
            (Rule::Sees, "----y-yyy----"),
            (Rule::SeesEither, "----y-yyyyy--"),
            (Rule::KeepsOther, "----------y--"),
            (Rule::KeepsEither, "-------yy-y--"),
            (Rule::SeesHeld, "-----------yy"),
            (Rule::KeepsHeld, "------------y"),
            (Rule::Works, "------yyy----"),
            (Rule::Keeps, "-------yy----"),
            (Rule::Staffs, "----y--yy----"),
        ];
        assert_eq!(table.len(), Rule::ALL.len(), "every rule has its row");
        for (rule, row) in table {
            let by_account = columns.iter().map(|standing| allowed(rule, *standing));
            let found: String = [allowed_to_helpers(rule), allowed_to_borrowers(rule)]
                .into_iter()
                .chain(by_account)
                .map(|is_allowed| if is_allowed { 'y' } else { '-' })
                .collect();
            assert_eq!(found, row, "{rule:?}");
        }
    }
}
