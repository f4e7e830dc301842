//! The pages of guides: the guides themselves, a revision's parts list, and reading one in.

mod guide;
mod import;
mod pdf;
mod revision;

use crate::people::access::{Routes, Rule};

pub fn routes() -> Routes {
    Routes::new()
        .get("/guides", Rule::SignedIn, guide::index)
        .get("/guides/new", Rule::KeepsGuides, guide::new)
        .post("/guides", Rule::KeepsGuides, guide::publish)
        .get("/guides/{guide}", Rule::SignedIn, guide::show)
        .post(
            "/guides/{guide}/revisions",
            Rule::KeepsGuides,
            guide::revise,
        )
        .post("/guides/{guide}/sizes", Rule::KeepsGuides, guide::enlarge)
        .get("/revisions/{revision}", Rule::SignedIn, revision::show)
        .get(
            "/revisions/{revision}/parts-list.csv",
            Rule::SignedIn,
            revision::download,
        )
        .get("/revisions/{revision}/pdf", Rule::SignedIn, pdf::show)
        .get(
            "/revisions/{revision}/guide.pdf",
            Rule::SignedIn,
            pdf::download,
        )
        .post_large(
            "/revisions/{revision}/pdf",
            Rule::KeepsGuides,
            pdf::BODY_BYTES,
            pdf::send,
        )
        .post(
            "/revisions/{revision}/pdf/remove",
            Rule::KeepsGuides,
            pdf::remove,
        )
        .post(
            "/revisions/{revision}/pdf/{pdf}/bring-back",
            Rule::KeepsGuides,
            pdf::bring_back,
        )
        .get(
            "/revisions/{revision}/parts-list.xlsx",
            Rule::SignedIn,
            revision::download_sheet,
        )
        .get(
            "/revisions/{revision}/import",
            Rule::KeepsGuides,
            import::new,
        )
        .post_large(
            "/revisions/{revision}/import",
            Rule::KeepsGuides,
            import::BODY_BYTES,
            import::bring,
        )
        .get("/imports/{draft}", Rule::KeepsGuides, import::show)
        .post(
            "/imports/{draft}/sheet",
            Rule::KeepsGuides,
            import::choose_sheet,
        )
        .post("/imports/{draft}/columns", Rule::KeepsGuides, import::say)
        .post("/imports/{draft}/take", Rule::KeepsGuides, import::take)
}
