//! Telling what broke on a phone: at most three taps from Today plus the photo; and from a crate's public
//! page, without an account.

use std::cell::Cell;
use std::path::PathBuf;

use fieldstow::ids::{KitId, PersonId, PlaceId, TeamId};
use fieldstow::people::Role;
use serde_json::json;

use crate::support::{Browser, Stage, Width, Window, World, drawn};

/// A window that counts what is tapped. Taking the photo itself is the camera's.
struct Thumb<'w> {
    phone: &'w Window,
    taps: Cell<usize>,
}

impl Thumb<'_> {
    async fn follow(&self, link: &str) {
        self.taps.set(self.taps.get() + 1);
        self.phone.follow(link).await;
    }

    async fn choose(&self, group: &str, option: &str) {
        self.taps.set(self.taps.get() + 1);
        self.phone.choose(group, option).await;
    }

    async fn press(&self, button: &str) {
        self.taps.set(self.taps.get() + 1);
        self.phone.press(button).await;
    }
}

/// A kit with 20 pegs in a bag, and a picture of a peg.
async fn pegs<'w>(world: &'w World) -> (TeamId, PersonId, Browser<'w>, KitId, PlaceId) {
    let team = world.team("Nine Larches").await;
    let (id, ama) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world.kit(&beacon, id, team, "Kettlehorn", &["Bag 1"]).await;
    world.receive(id, kit, bags[0], &[("Peg", 20)]).await;
    let new = format!("/parts/{}/pictures/new", world.part("Peg").await);
    let photo = drawn::jpeg(120, 120);
    let files = [("take", "peg.jpg", photo.as_slice())];
    let form = ama.open(&new).await;
    ama.upload_all(&form, "Add the picture", &files, &[]).await;
    (team, id, ama, kit, bags[0])
}

/// A photo as a phone makes it: on its side, with where and by what it was taken.
fn photo(name: &str) -> PathBuf {
    let file = std::env::temp_dir().join(format!("{name}-{}.jpg", std::process::id()));
    std::fs::write(&file, drawn::with_marks(&drawn::jpeg(800, 600), 6)).expect("a file");
    file
}

async fn count(world: &World, sql: &'static str) -> i64 {
    let mut db = world.app.db.read().await.unwrap();
    sqlx::query_scalar(sql).fetch_one(&mut *db).await.unwrap()
}

const ENTRIES: &str = "select count(*) from entry";
const BROKEN: &str =
    "select coalesce(sum(qty), 0) from balance where state = 'broken' and outside = 0";

async fn record(stage: &Stage, phone: &Window, test: &str) {
    let thumb = Thumb {
        phone,
        taps: Cell::new(0),
    };
    let photo = photo(test);
    phone.open("/").await;
    thumb.follow("Broken").await;
    phone.is_sound().await;
    phone.picture("broken").await;
    phone
        .fill("Take a photo", photo.to_str().expect("a path"))
        .await;
    thumb
        .choose("Which part, by picture", "Peg, black (B-4)")
        .await;
    thumb.press("Record it").await;
    phone.sees("1 Peg, black (B-4) broken").await;
    phone
        .sees("1 piece is broken and waits for a decision.")
        .await;
    phone.is_sound().await;
    phone.picture("slip").await;
    assert!(thumb.taps.get() <= 3, "{} taps", thumb.taps.get());
    // The picture is there, and upright.
    let shown = "const i = document.querySelector('.pictures img'); \
        return Boolean(i && i.complete && i.naturalHeight > i.naturalWidth)";
    phone.until(shown, json!(true)).await;
    assert_eq!(count(&stage.world, BROKEN).await, 1);
    stage.world.verify().await;
    std::fs::remove_file(photo).expect("the photo is there");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broken_part_is_recorded_with_a_photo_in_three_taps() {
    let Some(stage) = Stage::set("broken-part").await else {
        return;
    };
    let (_, _, ama, _, _) = pegs(&stage.world).await;
    let phone = stage.window(&ama, Width::Phone).await;
    record(&stage, &phone, "broken-part").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_broken_part_is_recorded_with_a_photo_in_three_taps_without_script() {
    let Some(stage) = Stage::set("broken-part-without-script").await else {
        return;
    };
    let (_, _, ama, _, _) = pegs(&stage.world).await;
    let phone = stage.window_without_script(&ama, Width::Phone).await;
    record(&stage, &phone, "broken-part-without-script").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_stranger_tells_from_the_crate_and_nothing_moves_until_crew_accept() {
    let Some(stage) = Stage::set("stranger-tells").await else {
        return;
    };
    let world = &stage.world;
    let (team, _, _, _, bag) = pegs(world).await;
    let code = world.code(bag.0).await;
    let before = count(world, ENTRIES).await;
    let photo = photo("stranger-tells");

    let stranger = stage.strangers_window(Width::Phone).await;
    stranger.open(&format!("/c/{code}")).await;
    stranger.is_sound().await;
    stranger.picture("crate").await;
    stranger
        .follow("Something is broken, missing or out of place")
        .await;
    stranger.is_sound().await;
    stranger.picture("tell").await;
    stranger
        .fill("Take a photo", photo.to_str().expect("a path"))
        .await;
    stranger.press("Tell them").await;
    stranger.sees("Thank you").await;
    stranger.is_sound().await;
    assert_eq!(
        count(world, ENTRIES).await,
        before,
        "nothing is in the books"
    );
    assert_eq!(count(world, BROKEN).await, 0);

    let cy = world.person("Cy", team, Role::Crew).await;
    let phone = stage.window(&cy, Width::Phone).await;
    phone.open("/damage?show=waiting").await;
    phone.follow("Something broken").await;
    phone.fill("Which part?", "peg").await;
    phone.press("It is so").await;
    phone.sees("1 piece is").await;
    assert_eq!(count(world, ENTRIES).await, before + 1);
    world.verify().await;
    std::fs::remove_file(photo).expect("the photo is there");
}
