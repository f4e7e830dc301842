//! Pictures of parts and of how crates are packed, as people add, see and remove them.

mod kept;

use fieldstow::ids::{PartId, PersonId, PlaceId, TeamId};
use fieldstow::people::Role;
use fieldstow::places::Kind;
use sha2::{Digest, Sha256};

use crate::support::{Browser, Seen, World, drawn};

struct Scene<'w> {
    world: &'w World,
    ama: Browser<'w>,
    part: PartId,
    krate: PlaceId,
}

async fn scene(world: &World) -> Scene<'_> {
    let team = world.team("Nine Larches").await;
    let (person, ama) = keeper(world, team).await;
    world.beacon().await;
    let krate = world
        .place(person, team, Kind::Crate, "Gable 4", None)
        .await;
    Scene {
        world,
        ama,
        part: world.part("Lamp").await,
        krate,
    }
}

async fn keeper(world: &World, team: TeamId) -> (PersonId, Browser<'_>) {
    world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await
}

async fn team_named(world: &World, name: &str) -> TeamId {
    let mut db = world.app.db.read().await.unwrap();
    sqlx::query_scalar("select id from team where name = $1")
        .bind(name)
        .fetch_one(&mut *db)
        .await
        .unwrap()
}

impl Scene<'_> {
    async fn add(&self, page: &str, bytes: &[u8], fields: &[(&str, &str)]) -> Seen {
        let form = self.ama.open(&format!("{page}/pictures/new")).await;
        let files = [("take", "photo.jpg", bytes), ("choose", "", &[][..])];
        self.ama
            .upload_all(&form, "Add the picture", &files, fields)
            .await
    }

    fn part_page(&self) -> String {
        format!("/parts/{}", self.part)
    }

    fn crate_page(&self) -> String {
        format!("/places/{}", self.krate)
    }

    /// Every byte that is kept of any file.
    async fn kept(&self) -> Vec<Vec<u8>> {
        let mut db = self.world.app.db.read().await.unwrap();
        sqlx::query_scalar("select bytes from file_chunk order by file_id, n")
            .fetch_all(&mut *db)
            .await
            .unwrap()
    }
}

fn first_picture(seen: &Seen) -> String {
    seen.attribute(".pictures a", "href").expect("a picture")
}

#[tokio::test]
async fn a_picture_of_a_part_is_taken_shown_served_and_kept_by_browsers() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let form = scene
        .ama
        .open(&format!("{}/pictures/new", scene.part_page()))
        .await;
    assert_eq!(
        form.attribute("#take", "capture").as_deref(),
        Some("environment")
    );
    assert_eq!(form.attribute("#choose", "capture"), None);
    assert_eq!(form.attribute("#words", "value").as_deref(), Some("Lamp"));
    form.expect(200, "No people, please");

    let photo = drawn::with_marks(&drawn::jpeg(2400, 1600), 6);
    assert!(drawn::holds(&photo, drawn::MARKER));
    let seen = scene
        .add(
            &scene.part_page(),
            &photo,
            &[("words", "Lamp from the side")],
        )
        .await;
    seen.expect(200, "Lamp from the side");
    assert_eq!(seen.told(), "Picture added.");
    let thumb = |attribute| seen.attribute(".pictures img", attribute).unwrap();
    assert_eq!(
        (thumb("width"), thumb("height"), thumb("loading")),
        ("106".into(), "160".into(), "lazy".into())
    );

    let page = first_picture(&seen);
    let large = scene.ama.open(&format!("{page}/large.jpg")).await;
    assert_eq!(large.status, 200);
    for (name, value) in [
        ("content-type", "image/jpeg"),
        ("cache-control", "private, max-age=2592000, immutable"),
        ("content-security-policy", "sandbox; default-src 'none'"),
    ] {
        assert_eq!(large.header(name), Some(value));
    }
    let tag = large.header("etag").unwrap().to_owned();
    let sha256: String = Sha256::digest(&large.bytes)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    assert_eq!(tag, format!("\"{sha256}\""));
    let unchanged = scene
        .ama
        .open_with(&format!("{page}/large.jpg"), &[("if-none-match", &tag)])
        .await;
    assert_eq!((unchanged.status.as_u16(), unchanged.bytes.len()), (304, 0));

    let picture = image::load_from_memory(&large.bytes).unwrap();
    assert_eq!((picture.width(), picture.height()), (1067, 1600), "upright");
    drawn::assert_only_pixels(&large.bytes);
    let small = scene.ama.open(&format!("{page}/thumb.jpg")).await;
    drawn::assert_only_pixels(&small.bytes);
    assert!(small.bytes.len() < 20_000, "{}", small.bytes.len());
}

#[tokio::test]
async fn what_is_not_taken_is_refused_on_the_form_in_words() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let jpeg = drawn::jpeg(64, 64);
    let cut = &jpeg[..jpeg.len() / 2];
    let heavy = vec![0xff; 15 * 1024 * 1024 + 1];
    let cases: [(&[u8], &str); 9] = [
        (b"", "take a picture, or choose one"),
        (b"\0\0\0\x18ftypheic\0\0\0\0mif1", "set the camera to JPEG"),
        (b"GIF89a\x01\0\x01\0", "this is a GIF"),
        (
            b"<svg xmlns='http://www.w3.org/2000/svg'><script/></svg>",
            "drawing (SVG)",
        ),
        (b"%PDF-1.7", "this is a PDF"),
        (b"part,quantity", "no picture that can be read"),
        (cut, "damaged or did not arrive whole"),
        (
            &drawn::png_that_declares(60_000, 60_000),
            "60000 × 60000 pixels",
        ),
        (&heavy, "more than 15 MiB"),
    ];
    for (bytes, sentence) in cases {
        let fields = [("words", "Typed before")];
        let seen = scene.add(&scene.part_page(), bytes, &fields).await;
        seen.expect(422, sentence).expect(422, "choose it again");
        assert_eq!(
            seen.attribute("#words", "value").as_deref(),
            Some("Typed before")
        );
        assert_eq!(
            seen.attribute("#take", "aria-invalid").as_deref(),
            Some("true")
        );
    }
    let form = scene
        .ama
        .open(&format!("{}/pictures/new", scene.crate_page()))
        .await;
    let files = [
        ("take", "a.jpg", jpeg.as_slice()),
        ("choose", "b.jpg", &jpeg),
    ];
    let fields = [("words", ""), ("taken_on", "2031-01-01"), ("layer", "top")];
    scene
        .ama
        .upload_all(&form, "Add the picture", &files, &fields)
        .await
        .expect(422, "two pictures came at once")
        .expect(422, "say in a few words")
        .expect(422, "still to come")
        .expect(422, "a layer is a number");
    assert!(scene.kept().await.is_empty());
}

#[tokio::test]
async fn a_crate_shows_how_it_is_packed_layer_by_layer_on_its_page_and_its_packing_list() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let page = scene.crate_page();
    for (side, words, layer) in [
        (64, "Pegs in rows", "2"),
        (72, "Plates on edge", "1"),
        (80, "The open crate", ""),
    ] {
        let fields = [
            ("words", words),
            ("layer", layer),
            ("taken_on", "2027-03-02"),
        ];
        scene
            .add(&page, &drawn::jpeg(side, side), &fields)
            .await
            .expect(200, words);
    }
    let shown = [
        "The open crate packed like this on 2 Mar 2027",
        "Plates on edge Layer 1, at the bottom · packed like this on 2 Mar 2027",
        "Pegs in rows Layer 2 · packed like this on 2 Mar 2027",
    ];
    let seen = scene.ama.open(&page).await;
    assert_eq!(seen.texts_of(".pictures li"), shown);
    let list = scene.ama.open(&format!("{page}/packing-list")).await;
    assert_eq!(
        list.texts_of(".packed figcaption"),
        [
            "The open crate, 2 Mar 2027",
            "Layer 1, at the bottom: Plates on edge, 2 Mar 2027",
            "Layer 2: Pegs in rows, 2 Mar 2027"
        ]
    );

    // A newer one of layer 1 takes the place of the old, and makes way for it again.
    let form = scene.ama.open(&format!("{page}/pictures/new")).await;
    let old = seen
        .link("Plates on edge Layer 1, at the bottom · packed like this on 2 Mar 2027")
        .unwrap();
    let fields = [
        ("words", "Plates flat"),
        ("layer", "1"),
        ("instead_of", old.trim_start_matches("/pictures/")),
    ];
    let photo = drawn::jpeg(88, 88);
    let files = [("choose", "photo.jpg", photo.as_slice())];
    let seen = scene
        .ama
        .upload_all(&form, "Add the picture", &files, &fields)
        .await;
    assert!(seen.texts_of(".pictures li")[1].starts_with("Plates flat"));
    assert_eq!(seen.texts_of(".pictures li").len(), 3);
    assert_eq!(seen.texts_of("details li"), ["Plates on edge, 2 Mar 2027"]);
    let back = scene
        .ama
        .press(
            &scene.ama.open(&old).await,
            "Bring it back instead of the newer one",
            &[],
        )
        .await;
    back.expect(200, "brought back by Ama, 4 Mar 2027, 18:00");
    let seen = scene.ama.open(&page).await;
    assert_eq!(seen.texts_of(".pictures li"), shown);
    assert_eq!(seen.texts_of("details li"), ["Plates flat, 4 Mar 2027"]);
}

#[tokio::test]
async fn a_picture_is_described_put_first_removed_and_brought_back() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let part = scene.part_page();
    scene
        .add(&part, &drawn::jpeg(64, 64), &[("words", "One")])
        .await;
    let seen = scene
        .add(&part, &drawn::jpeg(80, 80), &[("words", "Two")])
        .await;
    let two = seen.link("Two 4 Mar 2027").expect("the second picture");

    let page = scene.ama.open(&two).await;
    let first = scene.ama.press(&page, "Show it first", &[]).await;
    assert_eq!(first.told(), "Shown first.");
    let seen = scene.ama.open(&part).await;
    assert!(seen.texts_of(".pictures li")[0].starts_with("Two"));

    let wrong = scene
        .ama
        .press(&first, "Keep this", &[("words", " "), ("taken_on", "x")])
        .await;
    wrong
        .expect(422, "say in a few words")
        .expect(422, "as a date");
    let kept = scene
        .ama
        .press(
            &wrong,
            "Keep this",
            &[("words", "Two, from below"), ("taken_on", "2027-03-01")],
        )
        .await;
    kept.expect(200, "Two, from below")
        .expect(200, "1 Mar 2027");
    // An older page does not overwrite it.
    scene
        .ama
        .press(&first, "Keep this", &[("words", "Older")])
        .await
        .expect(422, "somebody else changed");

    let removed = scene.ama.press(&kept, "Remove it", &[]).await;
    removed.expect(200, "removed");
    let seen = scene.ama.open(&part).await;
    assert_eq!(seen.texts_of(".pictures li").len(), 1);
    scene.ama.press(&removed, "Bring it back", &[]).await;
    let seen = scene.ama.open(&part).await;
    assert!(seen.texts_of(".pictures li")[0].starts_with("Two, from below"));
    assert_eq!(
        scene.ama.open(&two).await.texts_of("main li"),
        [
            "added by Ama, 4 Mar 2027, 18:00",
            "put first by Ama, 4 Mar 2027, 18:00",
            "described by Ama, 4 Mar 2027, 18:00",
            "removed by Ama, 4 Mar 2027, 18:00",
            "brought back by Ama, 4 Mar 2027, 18:00"
        ]
    );
}

#[tokio::test]
async fn another_team_sees_no_picture_and_a_coordinator_sees_all() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let part = scene.part_page();
    let seen = scene
        .add(&part, &drawn::jpeg(64, 64), &[("words", "Ours alone")])
        .await;
    let picture = first_picture(&seen);

    let quern = world.team("Quern").await;
    let ivo = world.person("Ivo", quern, Role::Keeper).await;
    let page = ivo.open(&part).await;
    assert!(!page.html().contains("Ours alone"));
    assert!(!page.html().contains(&picture));
    for end in ["", "/large.jpg", "/thumb.jpg"] {
        let refused = ivo.open(&format!("{picture}{end}")).await;
        assert_eq!(refused.status, 403, "{end}");
    }
    let wen = world.coordinator("Wen").await;
    wen.open(&part).await.expect(200, "Ours alone");
    let page = wen.open(&picture).await;
    page.expect(200, "Seen by Nine Larches");
    assert!(!page.has("Remove it"));
}

#[tokio::test]
async fn somebody_of_two_teams_says_whose_picture_it_is() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let quern = world.team("Quern").await;
    let (bo, browser) = world.account("Bo", Some((quern, Role::Crew)), false).await;
    let larches = team_named(&world, "Nine Larches").await;
    let third = world.team("Third").await;
    let mut tx = world.app.db.begin_write().await.unwrap();
    fieldstow::people::add_member(&world.app, &mut tx, bo, larches, Role::Crew)
        .await
        .unwrap();
    tx.commit().await.unwrap();

    let form = browser
        .open(&format!("{}/pictures/new", scene.part_page()))
        .await;
    let photo = drawn::jpeg(64, 64);
    let files = [("take", "photo.jpg", photo.as_slice())];
    let (for_third, for_quern) = (third.to_string(), quern.to_string());
    let wrong = browser
        .upload_all(&form, "Add the picture", &files, &[("team", &for_third)])
        .await;
    wrong.expect(422, "choose the team");
    let fields = [("team", for_quern.as_str()), ("words", "Of Quern")];
    browser
        .upload_all(&wrong, "Add the picture", &files, &fields)
        .await
        .expect(200, "Of Quern");
    let page = scene.ama.open(&scene.part_page()).await;
    assert!(!page.html().contains("Of Quern"), "Ama is not of that team");
}

#[tokio::test]
async fn a_team_adds_only_so_many_pictures_in_a_day() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let part = scene.part_page();
    scene.add(&part, &drawn::jpeg(64, 64), &[]).await;
    let mut tx = world.app.db.begin_write().await.unwrap();
    sqlx::query(
        "insert into picture (id, team_id, large_id, thumb_id, position, words, taken_on, added_at) \
         with recursive n (i) as (select 1 union all select i + 1 from n where i < 199) \
         select randomblob(16), team_id, large_id, thumb_id, 1, 'x', taken_on, added_at \
         from picture, n",
    )
    .execute(&mut *tx)
    .await
    .unwrap();
    tx.commit().await.unwrap();
    let again = scene.add(&part, &drawn::jpeg(72, 72), &[]).await;
    again.expect(422, "200 pictures were added today");
    world.clock.advance_minutes(24 * 60 + 1);
    let team = team_named(&world, "Nine Larches").await;
    let (_, ama) = keeper(&world, team).await;
    let scene = Scene { ama, ..scene };
    scene
        .add(&part, &drawn::jpeg(72, 72), &[])
        .await
        .expect(200, "Picture added.");
}
