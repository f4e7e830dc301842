//! What strangers see of a crate: pictures, names only, or nothing but to find the crew.

use fieldstow::people::Role;

use super::{Stocked, stocked};
use crate::support::{Seen, World, drawn};

impl Stocked<'_> {
    async fn show_strangers(&self, shows: &str) -> Seen {
        let page = format!("/teams/{}/public-page", self.team);
        let page = self.keeper.open(&page).await;
        self.keeper
            .press(&page, "Show them that", &[("shows", shows)])
            .await
    }

    async fn picture_of(&self, part: &str) {
        let page = format!("/parts/{}/pictures/new", self.world.part(part).await);
        let form = self.keeper.open(&page).await;
        let photo = drawn::with_marks(&drawn::jpeg(640, 480), 1);
        let files = [("take", "a.jpg", photo.as_slice())];
        let seen = self
            .keeper
            .upload_all(
                &form,
                "Add the picture",
                &files,
                &[("words", "Ama holds it")],
            )
            .await;
        assert_eq!(seen.status, 200, "{}", seen.words());
    }
}

#[tokio::test]
async fn the_team_decides_what_strangers_see_and_takes_it_back() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    stock.picture_of("Peg").await;
    let nobody = world.browser();
    let code = world.code(stock.bag.0).await;
    let inside = format!("/c/{code}/inside");

    // Without a decision: pictures, small, and nothing of whoever is in their words.
    let seen = nobody.open(&inside).await;
    seen.expect(200, "Peg, black (B-4)")
        .expect(200, "Lifting can strain a back");
    let picture = seen.attribute("main img", "src").expect("a picture");
    assert!(!seen.html().contains("Ama"), "{}", seen.html());
    let bytes = nobody.open(&picture).await;
    assert_eq!(bytes.header("content-type"), Some("image/jpeg"));
    drawn::assert_only_pixels(&bytes.bytes);
    let small = image::load_from_memory(&bytes.bytes).expect("a picture");
    assert_eq!((small.width(), small.height()), (320, 240));
    assert!(bytes.bytes.len() < 50_000);
    // The picture itself stays the team's.
    let other = world.team("Hobnail Bridge").await;
    let dot = world.person("Dot", other, Role::Keeper).await;
    assert_eq!(dot.open(&picture).await.status, 200);

    let page = stock.show_strangers("names").await;
    page.expect(200, "sees what is inside, names and numbers only.");
    let seen = nobody.open(&inside).await;
    seen.expect(200, "Peg, black (B-4)");
    assert!(seen.attribute("main img", "src").is_none());
    assert_eq!(nobody.open(&picture).await.status, 404);

    let page = stock.show_strangers("off").await;
    for page in ["inside", "tell", "thanks"] {
        let seen = nobody.open(&format!("/c/{code}/{page}")).await;
        seen.expect(
            200,
            "Leave it where it is, or give it to somebody of the crew",
        );
        assert_eq!(
            seen.attribute("meta[name=robots]", "content").as_deref(),
            Some("noindex")
        );
        for word in ["Peg", "Nine Larches", "Kettlehorn", "Tell them"] {
            assert!(!seen.html().contains(word), "{word} on {}", seen.path);
        }
    }
    assert_eq!(nobody.open(&picture).await.status, 404);
    nobody
        .open("/c/7K3-F2X/inside")
        .await
        .expect(404, "Check the characters");

    let back = "Take that back: what is inside, names and numbers only";
    let page = stock.keeper.press(&page, back, &[]).await;
    page.expect(200, "sees what is inside, names and numbers only.")
        .expect(200, "Ama: nothing: only that they should find the crew");
    nobody.open(&inside).await.expect(200, "Peg, black (B-4)");
    stock
        .show_strangers("everything")
        .await
        .expect(422, "choose one of these");
}

#[tokio::test]
async fn a_form_that_was_open_when_the_team_closed_the_page_reports_nothing() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let nobody = world.browser();
    let code = world.code(stock.bag.0).await;
    let form = nobody.open(&format!("/c/{code}/tell")).await;
    stock.show_strangers("off").await;
    nobody
        .press(&form, "Tell them", &[("note", "a crack")])
        .await
        .expect(200, "Find the crew");
    stock
        .keeper
        .open("/damage")
        .await
        .expect(200, "Nothing here.");
}

#[tokio::test]
async fn the_public_page_stays_below_50_kb_however_much_is_inside() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let mut tx = world.app.db.begin_write().await.unwrap();
    for n in 0..400 {
        let id = uuid::Uuid::now_v7();
        let name = format!("Strut <{n}> & \"bracket\" of a rather long name, as makers like them");
        sqlx::query("insert into part (id, number, name) values ($1, $2, $3)")
            .bind(id)
            .bind(format!("ST-{n}"))
            .bind(name)
            .execute(&mut *tx)
            .await
            .unwrap();
        sqlx::query(
            "insert into balance (place_id, part_id, kit_id, state, outside, qty) \
             values ($1, $2, $3, 'good', 0, 1)",
        )
        .bind(stock.bag)
        .bind(id)
        .bind(stock.kit)
        .execute(&mut *tx)
        .await
        .unwrap();
    }
    tx.commit().await.unwrap();
    let nobody = world.browser();
    let code = world.code(stock.bag.0).await;
    for page in ["inside", "tell"] {
        let seen = nobody.open(&format!("/c/{code}/{page}")).await;
        assert_eq!(seen.status, 200);
        assert!(seen.html().len() < 50_000, "{} bytes", seen.html().len());
    }
    nobody
        .open(&format!("/c/{code}/inside"))
        .await
        .expect(200, "more kinds of part. Ask the team.");
}
