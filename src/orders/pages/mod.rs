//! The pages of order lines.

mod acts;
mod list;
mod new;
mod show;

use crate::people::access::{Routes, Rule};

pub fn routes() -> Routes {
    Routes::new()
        .get("/orders", Rule::SignedIn, list::index)
        .get("/orders/new", Rule::KeepsSomeTeam, new::new)
        .post("/orders", Rule::KeepsSomeTeam, new::want)
        .get("/kits/{kit}/orders/{order}", Rule::Sees, show::show)
        .post(
            "/kits/{kit}/orders/{order}/ordered",
            Rule::Keeps,
            acts::order,
        )
        .post(
            "/kits/{kit}/orders/{order}/arrived",
            Rule::Works,
            acts::arrive,
        )
        .post(
            "/kits/{kit}/orders/{order}/called-off",
            Rule::Keeps,
            acts::call_off,
        )
        .post(
            "/kits/{kit}/orders/{order}/take-back",
            Rule::Keeps,
            acts::take_back,
        )
}
