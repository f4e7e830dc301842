//! The pages about people. Those that show persons, sessions or links are never stored by browsers.

mod account;
mod form;
mod join;
mod league;
mod sign_in;
mod start;
mod team;
mod team_people;

pub use sign_in::sign_in_again;
pub use start::start_first;

use axum::handler::Handler;

use super::access::{Routes, Rule};

pub fn routes() -> Routes {
    Routes::new()
        .get("/start", Rule::Anyone, start::show)
        .post("/start", Rule::Anyone, start::begin)
        .get("/sign-in", Rule::Anyone, sign_in::show)
        .post(
            "/sign-in",
            Rule::Anyone,
            sign_in::sign_in.layer(sign_in::room_for_held_form()),
        )
        .post("/sign-out", Rule::Anyone, sign_in::sign_out)
        .get("/account", Rule::SignedIn, account::show)
        .post("/account", Rule::SignedIn, account::change)
        .get("/account/password", Rule::SignedIn, account::password)
        .post(
            "/account/password",
            Rule::SignedIn,
            account::change_password,
        )
        .post(
            "/account/sessions/end-others",
            Rule::SignedIn,
            account::end_others,
        )
        .post(
            "/account/sessions/{session}/end",
            Rule::SignedIn,
            account::end_session,
        )
        .get("/people", Rule::SignedIn, team::people)
        .get("/teams", Rule::SignedIn, team::index)
        .get("/teams/new", Rule::Coordinates, team::new)
        .post("/teams", Rule::Coordinates, team::add)
        .get("/teams/{team}", Rule::Sees, team::show)
        .post("/teams/{team}", Rule::Coordinates, team::change)
        .get("/teams/{team}/people", Rule::Sees, team_people::show)
        .post("/teams/{team}/invites", Rule::Staffs, team_people::invite)
        .post(
            "/teams/{team}/invites/{invite}/end",
            Rule::Staffs,
            team_people::take_back,
        )
        .post(
            "/teams/{team}/people/{person}/role",
            Rule::Staffs,
            team_people::change_role,
        )
        .post(
            "/teams/{team}/people/{person}/end",
            Rule::Staffs,
            team_people::end,
        )
        .post(
            "/teams/{team}/people/{person}/reset",
            Rule::Staffs,
            team_people::reset,
        )
        .get("/invites/{token}", Rule::Anyone, join::show)
        .post("/invites/{token}", Rule::Anyone, join::accept)
        .get("/invites/{token}/password", Rule::Anyone, join::password)
        .post(
            "/invites/{token}/password",
            Rule::Anyone,
            join::set_password,
        )
        .get("/resets/{token}", Rule::Anyone, join::reset)
        .post("/resets/{token}", Rule::Anyone, join::do_reset)
        .get("/league", Rule::Coordinates, league::show)
        .post("/league", Rule::Coordinates, league::rename)
        .post("/league/coordinators", Rule::Coordinates, league::give)
        .post(
            "/league/coordinators/{person}/end",
            Rule::Coordinates,
            league::take,
        )
}
