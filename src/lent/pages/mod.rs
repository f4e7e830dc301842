//! The pages of loan links.

mod keeper;
mod opening;
mod phone;

use crate::people::access::{Routes, Rule};

pub use opening::phone;

pub fn routes() -> Routes {
    Routes::new()
        .get("/loans/{loan}/link", Rule::Keeps, keeper::show)
        .post("/loans/{loan}/link", Rule::Keeps, keeper::make)
        .post("/loans/{loan}/link/withdraw", Rule::Keeps, keeper::withdraw)
        .get("/lent/open", Rule::Anyone, opening::ask)
        .post("/lent/open", Rule::Anyone, opening::look_up)
        .get("/lent/open/{key}", Rule::Anyone, opening::begin)
        // A QR symbol holds the address in upper case.
        .get("/LENT/OPEN/{key}", Rule::Anyone, opening::begin)
        .post("/lent/open/{key}", Rule::Anyone, opening::open)
        .get("/lent", Rule::Borrows, phone::show)
        .post("/lent/count", Rule::Borrows, phone::confirm_count)
        .post("/lent/back", Rule::Borrows, phone::give_back)
        .post(
            "/lent/differences/{line}",
            Rule::Borrows,
            phone::answer_difference,
        )
        .post("/lent/onward", Rule::Borrows, phone::ask_onward)
        .get("/lent/onward/{n}", Rule::Borrows, phone::count_onward)
        .post("/lent/onward/{n}", Rule::Borrows, phone::hand_on)
        .post("/lent/onward/{n}/drop", Rule::Borrows, phone::drop_onward)
        .post("/lent/stop", Rule::Borrows, phone::stop)
}
