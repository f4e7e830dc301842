//! Pictures of what broke: first on the page, kept without anything but pixels, never in the way of the report.

use fieldstow::people::Role;

use super::{Stocked, stocked};
use crate::support::{Seen, World, drawn};

async fn told_with(stock: &Stocked<'_>, picture: &[u8], fields: &[(&str, &str)]) -> Seen {
    let form = stock.keeper.open("/broken").await;
    // A browser sends the field that was left alone as well, with no bytes and no name.
    let files = [("take", "IMG_0042.JPG", picture), ("choose", "", b"")];
    stock
        .keeper
        .upload_all(&form, "Record it", &files, fields)
        .await
}

async fn pictures(world: &World) -> i64 {
    let mut db = world.app.db.read().await.unwrap();
    sqlx::query_scalar("select count(*) from damage_picture")
        .fetch_one(&mut *db)
        .await
        .unwrap()
}

async fn reports(world: &World) -> i64 {
    let mut db = world.app.db.read().await.unwrap();
    sqlx::query_scalar("select count(*) from damage_report")
        .fetch_one(&mut *db)
        .await
        .unwrap()
}

#[tokio::test]
async fn a_photo_alone_is_a_report_and_only_the_team_sees_it() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let photo = drawn::with_marks(&drawn::jpeg(640, 480), 6);
    let slip = told_with(&stock, &photo, &[]).await;
    slip.expect(200, "Something broken")
        .expect(200, "Nobody of the team has looked at it yet.");
    assert_eq!(slip.told(), "Recorded.");
    let src = slip.attribute(".pictures img", "src").expect("a picture");
    let large = src.replace("thumb", "large");
    for address in [&src, &large] {
        let picture = stock.keeper.open(address).await;
        assert_eq!(picture.status, 200);
        drawn::assert_only_pixels(&picture.bytes);
    }
    // 640 by 480, held on its side.
    let picture = stock.keeper.open(&large).await;
    let picture = image::load_from_memory(&picture.bytes).unwrap();
    assert_eq!((picture.width(), picture.height()), (480, 640));

    let other = world.team("Hobnail Bridge").await;
    let stranger = world.person("Dot", other, Role::Keeper).await;
    assert_eq!(stranger.open(&src).await.status, 403);
    let nobody = world.browser();
    nobody.open(&src).await.expect(200, "Sign in");
    world.verify().await;
}

#[tokio::test]
async fn a_refused_picture_costs_no_report_and_can_be_added_later() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let slip = told_with(&stock, b"%PDF-1.7 not a photo", &[("part", "peg")]).await;
    slip.expect(200, "1 Peg, black (B-4) broken");
    assert_eq!(
        slip.told(),
        "Recorded. Its picture was not kept: this is a PDF; take a photo, or send a JPEG, PNG or WebP picture."
    );
    assert_eq!(pictures(&world).await, 0);

    let again = stock
        .keeper
        .upload_all(
            &slip,
            "Add the picture",
            &[("take", "a.gif", b"GIF89a")],
            &[],
        )
        .await;
    again.expect(422, "this is a GIF");
    let none = stock
        .keeper
        .upload_all(&slip, "Add the picture", &[], &[])
        .await;
    none.expect(422, "take a picture, or choose one");
    let photo = drawn::jpeg(80, 60);
    let files = [("choose", "a.jpg", photo.as_slice())];
    let slip = stock
        .keeper
        .upload_all(&again, "Add the picture", &files, &[])
        .await;
    assert_eq!(slip.told(), "Picture added.");
    assert_eq!(
        slip.attribute(".pictures img", "alt").as_deref(),
        Some("1 Peg, black (B-4) broken")
    );
}

#[tokio::test]
async fn a_photo_is_not_lost_where_the_words_fit_several_parts() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    world
        .receive(stock.ama, stock.kit, stock.krate, &[("Peg", 2)])
        .await;
    let slip = told_with(&stock, &drawn::jpeg(80, 60), &[("part", "peg")]).await;
    slip.expect(200, "1 Peg, black (B-4) broken")
        .expect(200, "Nobody of the team has looked at it yet.")
        .expect(200, "It is so, and it is one of these");
    assert!(slip.attribute(".pictures img", "src").is_some());

    let unknown = told_with(&stock, &drawn::jpeg(60, 80), &[("part", "green wheel")]).await;
    unknown
        .expect(200, "Something broken")
        .expect(200, "in the words of whoever told it: green wheel");
    assert_eq!(
        unknown.attribute("#part", "value").as_deref(),
        Some("green wheel")
    );
    assert_eq!(pictures(&world).await, 2);
}

/// What arrives of a form when the line is cut in the middle of its picture.
fn cut_in_its_picture(body: &[u8], photo: &[u8]) -> Vec<u8> {
    let starts = body
        .windows(photo.len())
        .position(|part| part == photo)
        .expect("the photo is in the form");
    body[..starts + photo.len() / 2].to_vec()
}

#[tokio::test]
async fn an_upload_that_breaks_off_leaves_the_report_and_sent_again_brings_the_picture() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let photo = drawn::jpeg(200, 200);
    let form = stock.keeper.open("/broken").await;
    let files = [("take", "a.jpg", photo.as_slice())];
    let (action, whole) =
        stock
            .keeper
            .filled_upload(&form, "Record it", &files, &[("part", "peg")]);

    let cut = cut_in_its_picture(&whole, &photo);
    let answer = stock.keeper.post_upload(&action, cut).await;
    assert_eq!(answer.status, 303);
    let slip = stock.keeper.open(answer.header("location").unwrap()).await;
    slip.expect(200, "1 Peg, black (B-4) broken");
    assert!(
        slip.told().contains("it did not arrive whole"),
        "{}",
        slip.told()
    );
    assert_eq!((reports(&world).await, pictures(&world).await), (1, 0));

    // Twice more, whole: still one report, and one picture.
    for _ in 0..2 {
        let answer = stock.keeper.post_upload(&action, whole.clone()).await;
        assert_eq!(answer.status, 303);
        let slip = stock.keeper.open(answer.header("location").unwrap()).await;
        assert!(
            slip.told().starts_with("Already recorded"),
            "{}",
            slip.told()
        );
    }
    assert_eq!((reports(&world).await, pictures(&world).await), (1, 1));

    // Cut before all words came: nothing is known, so nothing is kept.
    let form = stock.keeper.open("/broken").await;
    let (action, whole) =
        stock
            .keeper
            .filled_upload(&form, "Record it", &files, &[("part", "peg")]);
    let mark = b"name=\"written\"";
    let at = whole
        .windows(mark.len())
        .position(|part| part == mark)
        .unwrap();
    let answer = stock
        .keeper
        .post_upload(&action, whole[..at].to_vec())
        .await;
    answer.expect(400, "did not arrive whole");
    assert_eq!(reports(&world).await, 1);
    world.verify().await;
}

#[tokio::test]
async fn a_picture_is_taken_away_for_good_on_request() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let slip = told_with(&stock, &drawn::jpeg(200, 150), &[("part", "peg")]).await;
    let page = slip.attribute(".pictures a", "href").expect("its page");
    let page = stock.keeper.open(&page).await;
    let page = stock.keeper.press(&page, "Remove it", &[]).await;
    stock.keeper.press(&page, "Erase it for good", &[]).await;
    let slip = stock.keeper.open(&slip.path).await;
    assert!(slip.attribute(".pictures img", "src").is_none());
    let mut db = world.app.db.read().await.unwrap();
    let chunks: i64 = sqlx::query_scalar("select count(*) from file_chunk")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    assert_eq!(chunks, 0);
}

#[tokio::test]
async fn a_part_is_chosen_by_its_picture() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let peg = world.part("Peg").await;
    let form = stock
        .keeper
        .open(&format!("/parts/{peg}/pictures/new"))
        .await;
    let photo = drawn::jpeg(90, 60);
    let files = [("take", "a.jpg", photo.as_slice())];
    stock
        .keeper
        .upload_all(&form, "Add the picture", &files, &[])
        .await;
    let form = stock.keeper.open("/broken").await;
    form.expect(200, "Choose the part by its picture");
    assert_eq!(
        form.texts_of(".picks .pick"),
        ["I do not know, or another one", "Peg, black (B-4)"]
    );
    let slip = stock.tell(&[("part_id", &peg.to_string())]).await;
    slip.expect(200, "1 Peg, black (B-4) broken")
        .expect(200, "1 piece is broken and waits for a decision.");
    // From a place where there are none, none is offered.
    let place = format!("/broken?place={}", stock.krate);
    let there = stock.keeper.open(&place).await;
    assert!(there.texts_of(".picks .pick").is_empty());
}

#[tokio::test]
async fn a_stranger_sends_a_photo_that_no_stranger_sees_and_only_so_many() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let nobody = world.browser();
    let code = world.code(stock.bag.0).await;
    let photo = drawn::with_marks(&drawn::jpeg(64, 48), 1);
    let files = [("take", "a.jpg", photo.as_slice())];
    let form = nobody.open(&format!("/c/{code}/tell")).await;
    form.expect(200, "Photograph the part, not people.");
    let thanks = nobody.upload_all(&form, "Tell them", &files, &[]).await;
    thanks.expect(200, "Thank you");
    assert_eq!(thanks.told(), "Told to the team.");
    assert_eq!((reports(&world).await, pictures(&world).await), (1, 1));
    let list = stock.keeper.open("/damage?show=waiting").await;
    let slip = list.attribute(".jobs a", "href").expect("a report");
    let slip = stock.keeper.open(&slip).await;
    let src = slip.attribute(".pictures img", "src").expect("a picture");
    nobody.open(&src).await.expect(200, "Sign in");

    let form = nobody.open(&format!("/c/{code}/tell")).await;
    let refused = nobody
        .upload_all(&form, "Tell them", &[("take", "a.gif", b"GIF89a")], &[])
        .await;
    refused.expect(200, "Thank you");
    assert!(
        refused.told().contains("this is a GIF"),
        "{}",
        refused.told()
    );

    // As many as forty a day, whoever sends them.
    let mut db = world.app.db.begin_write().await.unwrap();
    sqlx::query(
        "with recursive n (n) as (select 1 union all select n + 1 from n where n < 39) \
         insert into picture (id, team_id, large_id, thumb_id, position, words, taken_on, added_at) \
         select randomblob(16), team_id, large_id, thumb_id, 9, 'x', taken_on, added_at \
         from n, (select * from picture limit 1)",
    )
    .execute(&mut *db)
    .await
    .unwrap();
    db.commit().await.unwrap();
    let form = nobody.open(&format!("/c/{code}/tell")).await;
    let enough = nobody.upload_all(&form, "Tell them", &files, &[]).await;
    enough.expect(200, "Thank you");
    assert!(
        enough.told().contains("too many pictures"),
        "{}",
        enough.told()
    );
    assert_eq!((reports(&world).await, pictures(&world).await), (3, 1));
}

#[tokio::test]
async fn a_form_with_its_file_before_its_words_is_refused() {
    let world = World::empty().await;
    let stock = stocked(&world).await;
    let body = "--edge\r\ncontent-disposition: form-data; name=\"take\"; filename=\"a\"\r\n\r\nx\r\n\
                --edge--\r\n";
    let path = format!("/c/{}/tell", world.code(stock.bag.0).await);
    let answer = world.browser().post_upload(&path, body.into()).await;
    answer.expect(400, "its file before its words");
    assert_eq!(reports(&world).await, 0);
}
