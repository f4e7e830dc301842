//! The pages of loans.

mod acts;
mod around;
mod ask;
mod aside;
mod back;
mod borrowed;
mod differing;
mod held;
mod lend;
mod list;
mod onward;
mod sheet;
mod show;
mod sides;

use sqlx::SqliteConnection;

pub use differing::{Differing, differing};
pub use onward::{
    Asked, CountPage, Tick, asked, askings, count_page, ticks, typed as onward_typed,
};
pub use sheet::{Sheet, of_loan};

use super::{Loan, store};
use crate::error::AppError;
use crate::ids::LoanId;
use crate::people::access::{Routes, Rule};

pub fn routes() -> Routes {
    Routes::new()
        .get("/lend", Rule::SignedIn, list::lend)
        .get("/loans", Rule::SignedIn, list::index)
        .get("/teams/{team}/loan-days", Rule::Keeps, around::show)
        .post("/teams/{team}/loan-days", Rule::Keeps, around::change)
        .get("/kits/{kit}/lend", Rule::Keeps, lend::new)
        .post("/kits/{kit}/lend", Rule::Keeps, lend::lend)
        .get("/kits/{kit}/ask", Rule::KeepsSomeTeam, ask::new)
        .post("/kits/{kit}/ask", Rule::KeepsSomeTeam, ask::ask)
        .get("/borrowed/new", Rule::KeepsSomeTeam, borrowed::new)
        .post("/borrowed", Rule::KeepsSomeTeam, borrowed::borrow)
        .get("/borrowed/{borrowed}", Rule::Sees, borrowed::show)
        .post(
            "/borrowed/{borrowed}/back",
            Rule::Works,
            borrowed::bring_back,
        )
        .post(
            "/borrowed/{borrowed}/later",
            Rule::Works,
            borrowed::keep_until,
        )
        .post(
            "/borrowed/{borrowed}/still",
            Rule::Works,
            borrowed::still_with_us,
        )
        .get("/stints/{stint}/not-ours", Rule::Works, aside::show)
        .post("/stints/{stint}/not-ours", Rule::Works, aside::set_aside)
        .post(
            "/stints/{stint}/not-ours/{found}/withdraw",
            Rule::Works,
            aside::withdraw,
        )
        .get("/loans/{loan}", Rule::SeesEither, show::show)
        .get("/loans/{loan}/sheet", Rule::SeesEither, sheet::show)
        .post("/loans/{loan}/take-back", Rule::Keeps, acts::take_back)
        .post("/loans/{loan}/later", Rule::Keeps, acts::later)
        .post("/loans/{loan}/agree", Rule::Keeps, acts::agree)
        .post("/loans/{loan}/decline", Rule::Keeps, acts::decline)
        .post("/loans/{loan}/withdraw", Rule::KeepsOther, acts::withdraw)
        .get("/loans/{loan}/back", Rule::Works, back::ask)
        .post("/loans/{loan}/back", Rule::Works, back::give_back)
        .post(
            "/loans/{loan}/differences/{line}",
            Rule::Keeps,
            acts::agree_about,
        )
        .post(
            "/loans/{loan}/differences/{line}/home",
            Rule::Works,
            acts::come_home,
        )
        .post(
            "/loans/{loan}/differences/{line}/answer",
            Rule::KeepsOther,
            sides::answer_difference,
        )
        .post(
            "/loans/{loan}/count",
            Rule::KeepsOther,
            sides::confirm_count,
        )
        .post("/loans/{loan}/given", Rule::KeepsOther, sides::give_back)
        .post(
            "/loans/{loan}/differences/{line}/laid",
            Rule::Keeps,
            acts::lay,
        )
        .get("/loans/{loan}/onward", Rule::KeepsEither, onward::new)
        .post("/loans/{loan}/onward", Rule::KeepsEither, onward::ask)
        .get("/loans/{loan}/onward/{n}", Rule::KeepsEither, onward::count)
        .post(
            "/loans/{loan}/onward/{n}",
            Rule::KeepsEither,
            onward::hand_on,
        )
        .post(
            "/loans/{loan}/onward/{n}/answer",
            Rule::Keeps,
            acts::answer_onward,
        )
        .post(
            "/loans/{loan}/onward/{n}/drop",
            Rule::KeepsEither,
            acts::drop_onward,
        )
        .get("/loans/{loan}/held", Rule::SeesHeld, held::show)
        .post(
            "/loans/{loan}/held/{n}/count",
            Rule::KeepsHeld,
            held::confirm_count,
        )
        .post(
            "/loans/{loan}/held/{n}/given",
            Rule::KeepsHeld,
            held::give_on,
        )
        .post("/loans/{loan}/close", Rule::Keeps, acts::close)
}

async fn found(db: &mut SqliteConnection, loan: LoanId) -> Result<Loan, AppError> {
    store::find(db, loan)
        .await?
        .ok_or(AppError::NotFound("loan"))
}
