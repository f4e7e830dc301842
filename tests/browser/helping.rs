//! What people without an account see: the pass, the helper's crates and sheet, and the public page of a crate.
//! At every width, 320 px among them, axe finds nothing and nothing scrolls sideways.

use fieldstow::people::Role;

use crate::support::{Stage, Width, Window, drawn};
use crate::taps::{all_sent, counted};

/// The page that is open, at every width.
async fn is_sound_at_every_width(window: &Window, name: &str) {
    for width in Width::ALL {
        window.set_width(width).await;
        window.is_sound().await;
        window.picture(name).await;
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn pages_that_need_no_account_are_sound_at_every_width() {
    let Some(stage) = Stage::set("helping").await else {
        return;
    };
    let world = &stage.world;
    let team = world.team("Nine Larches").await;
    let (id, ama) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world.kit(&beacon, id, team, "Kettlehorn", &["Bag 1"]).await;
    world
        .receive(id, kit, bags[0], &[("Peg", 20), ("Post", 4)])
        .await;
    let new = format!("/parts/{}/pictures/new", world.part("Peg").await);
    let photo = drawn::jpeg(640, 480);
    let files = [("take", "peg.jpg", photo.as_slice())];
    let form = ama.open(&new).await;
    ama.upload_all(&form, "Add the picture", &files, &[]).await;
    let kit_page = ama.open(&format!("/kits/{kit}")).await;
    let button = kit_page
        .attribute("form[action$='/counts'] button", "class")
        .map(|_| kit_page.text_of("form[action$='/counts'] button"))
        .expect("the kit can be counted");
    ama.press(&kit_page, &button, &[]).await;
    let form = ama.open("/events/new").await;
    let today = fieldstow::clock::Clock::now(&fieldstow::clock::SystemClock).day("UTC");
    let fields = [
        ("name", "Three Passes Meeting"),
        ("first_on", &today.plus_days(1).to_string()),
    ];
    let event = ama.press(&form, "Add the event", &fields).await;
    let event = ama
        .press(&event, "It goes", &[("kit", &kit.to_string())])
        .await;
    let pass = ama.click(&event, "Helper pass").await;
    let pass = ama.press(&pass, "Make the pass", &[]).await;
    let pass = pass.text_of("main .code .plain");
    let crate_code = world.code(bags[0].0).await;

    let phone = stage.strangers_window(Width::Phone).await;
    phone.open(&format!("/c/{crate_code}")).await;
    phone.sees("Peg, black (B-4)").await;
    is_sound_at_every_width(&phone, "crate-with-pictures").await;
    let shown = "const i = document.querySelector('img.small'); i?.scrollIntoView(); \
        return Boolean(i && i.complete && i.naturalWidth === 320)";
    phone.until(shown, serde_json::json!(true)).await;
    phone
        .follow("Something is broken, missing or out of place")
        .await;
    is_sound_at_every_width(&phone, "tell").await;

    phone.open("/pass").await;
    is_sound_at_every_width(&phone, "pass").await;
    phone.fill("Code on the pass", "7K3").await;
    phone.press("Open the pass").await;
    phone.sees("six characters").await;
    is_sound_at_every_width(&phone, "pass-refused").await;
    phone.fill("Code on the pass", &pass).await;
    phone.press("Open the pass").await;
    is_sound_at_every_width(&phone, "begin").await;
    phone.fill("Your first name", "Sam").await;
    phone.press("I am helping").await;
    phone.sees("You are Sam, helper").await;
    is_sound_at_every_width(&phone, "helping").await;
    phone.press(&format!("Count Bag 1, {crate_code}")).await;
    phone.sees("Write it down").await;
    is_sound_at_every_width(&phone, "sheet").await;
    phone.fill("Peg, black", "many").await;
    phone.press("Write it down").await;
    phone.sees("type a whole number").await;
    is_sound_at_every_width(&phone, "sheet-refused").await;

    // Tapped as members tap: the script draws each tap at once and sends it to the helper's own address.
    phone.follow("Count the next part by tapping").await;
    is_sound_at_every_width(&phone, "helper-taps").await;
    phone.tap_often("+ 1 Post, grey", 12).await;
    counted(&phone, "12").await;
    all_sent(&phone).await;
    phone.sees("Saved").await;
    phone.reload().await;
    counted(&phone, "12").await;
    phone.tap("Undo + 1").await;
    counted(&phone, "11").await;
    all_sent(&phone).await;
    phone.reload().await;
    counted(&phone, "11").await;

    // A stranger again, and a team that shows less.
    phone.forget_cookies().await;
    for (shows, sees) in [("names", "Peg, black (B-4)"), ("off", "Find the crew")] {
        let page = ama.open(&format!("/teams/{team}/public-page")).await;
        ama.press(&page, "Show them that", &[("shows", shows)])
            .await;
        phone.open(&format!("/c/{crate_code}")).await;
        phone.sees(sees).await;
        is_sound_at_every_width(&phone, &format!("crate-{shows}")).await;
    }
}
