//! Counting with a phone in one hand: what interrupts it, gloves, slips of the finger, and the desk sheet.

use std::time::Duration;

use fantoccini::key::Key;
use fieldstow::people::Role;
use serde_json::json;
use tokio::time::sleep;

use crate::support::{Browser, Stage, Width, Window};
use crate::taps::{all_sent, counted};

/// A kit with one bag, and its keeper.
async fn begun<'s>(stage: &'s Stage, slip: &str) -> Browser<'s> {
    let team = stage.world.team("Nine Larches").await;
    let (id, ama) = stage
        .world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = stage.world.beacon().await;
    let (kit, _) = stage
        .world
        .kit(&beacon, id, team, "Kettlehorn", &["Bag 1"])
        .await;
    if !slip.is_empty() {
        let form = ama.open(&format!("/kits/{kit}/packing-slip")).await;
        let preview = ama.press(&form, "Look through it", &[("text", slip)]).await;
        ama.press(&preview, "Make the bags", &[]).await;
    }
    ama
}

/// Opens the line of the pegs.
async fn pegs(phone: &Window) {
    phone.open("/").await;
    phone.tap("Unpack and count Kettlehorn").await;
    phone.tap("Start Bag 1").await;
    phone.follow("Peg").await;
    counted(phone, "not counted").await;
}

/// The rectangle of a key: left, top, width, height, and the height of the window.
async fn key(window: &Window, selector: &str) -> [f64; 5] {
    let script = "const r = document.querySelector(arguments[0]).getBoundingClientRect(); \
        return [r.left, r.top, r.width, r.height, innerHeight];";
    let answer = window.run(script, vec![json!(selector)]).await;
    serde_json::from_value(answer).expect("five numbers")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_minute_away_and_a_reload_lose_nothing_and_say_where_you_were() {
    let Some(stage) = Stage::set("interrupted").await else {
        return;
    };
    let ama = begun(&stage, "").await;
    let phone = stage.window(&ama, Width::Phone).await;
    pegs(&phone).await;
    phone.tap_often("+ 1 Peg, black", 4).await;
    counted(&phone, "4").await;
    // The line drops, three more are tapped, and somebody calls for a minute.
    stage.line.cut().await;
    phone.tap_often("+ 1 Peg, black", 3).await;
    counted(&phone, "7").await;
    assert!(!phone.says("You were here").await, "nobody paused yet");
    sleep(Duration::from_secs(60)).await;
    let here = "You were here: Peg, black · Bag 1 · 7 counted. Next piece is number 8.";
    phone.sees(here).await;
    stage.line.mend().await;
    phone.reload().await;
    counted(&phone, "7").await;
    phone.sees(here).await;
    all_sent(&phone).await;
    phone.sees("Saved").await;
    // The next tap takes that line away; undo after the reload takes back exactly the last tap.
    phone.tap("+ 1 Peg, black").await;
    phone.sees_no_more("Next piece is number 8.").await;
    counted(&phone, "8").await;
    phone.tap("Undo + 1").await;
    phone.tap("Undo + 1").await;
    counted(&phone, "6").await;
    all_sent(&phone).await;
    phone.reload().await;
    counted(&phone, "6").await;
    phone.is_sound().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_finger_that_slides_off_a_key_counts_nothing() {
    let Some(stage) = Stage::set("slides-off").await else {
        return;
    };
    let ama = begun(&stage, "").await;
    let phone = stage.window(&ama, Width::Phone).await;
    pegs(&phone).await;
    phone.tap("+ 1 Peg, black").await;
    counted(&phone, "1").await;
    phone.finger_down("+ 1 Peg, black").await;
    // Down is not counted yet.
    counted(&phone, "1").await;
    phone.finger_slides_off().await;
    counted(&phone, "1").await;
    all_sent(&phone).await;
    phone.reload().await;
    counted(&phone, "1").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn undo_goes_ten_deep_and_an_undo_can_be_undone() {
    let Some(stage) = Stage::set("undo").await else {
        return;
    };
    let ama = begun(&stage, "").await;
    let phone = stage.window(&ama, Width::Phone).await;
    pegs(&phone).await;
    phone.tap_often("+ 1 Peg, black", 11).await;
    phone.tap("+ 5").await;
    counted(&phone, "16").await;
    all_sent(&phone).await;
    phone.reload().await;
    phone.tap("Undo + 5").await;
    counted(&phone, "11").await;
    for left in (2..=10).rev() {
        phone.tap("Undo + 1").await;
        counted(&phone, &left.to_string()).await;
    }
    all_sent(&phone).await;
    phone.reload().await;
    counted(&phone, "2").await;
    phone.press("Earlier taps").await;
    // The latest undo is the first in the list; taking it back brings the tap back.
    let first = "const key = document.querySelector('[data-history] button'); \
        const said = key.getAttribute('aria-label'); key.click(); return said;";
    let said = phone.run(first, vec![]).await;
    assert!(
        said.as_str()
            .unwrap_or_default()
            .starts_with("Undo undo: − 1"),
        "{said}"
    );
    counted(&phone, "3").await;
    phone.is_sound().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn gloves_get_large_keys_on_the_side_of_the_thumb() {
    let Some(stage) = Stage::set("gloves").await else {
        return;
    };
    let ama = begun(&stage, "").await;
    let phone = stage.window(&ama, Width::Phone).await;
    pegs(&phone).await;
    let [more, _, _, height, _] = key(&phone, ".key.more").await;
    let [less, ..] = key(&phone, ".key.less").await;
    assert!(more > less, "the right thumb has + on the right");
    assert!(height >= 64.0, "{height}");
    phone.follow("Keys for the right thumb").await;
    phone.choose("Which thumb taps?", "the left thumb").await;
    phone.tick("I wear gloves").await;
    phone.press("Keep this").await;
    phone.sees("Kept on this phone.").await;
    for width in [Width::Narrow, Width::Phone] {
        phone.set_width(width).await;
        let [more, top, wide, high, window] = key(&phone, ".key.more").await;
        let [less, ..] = key(&phone, ".key.less").await;
        assert!(more < less, "the left thumb has + on the left");
        assert!(
            wide >= 120.0 && high >= 160.0,
            "{wide} × {high} at {width:?}"
        );
        assert!(
            top >= 0.0 && top + high <= window,
            "the key is in sight at {width:?}"
        );
        for selector in [".key.less", "[data-none]", "[data-undo] .key"] {
            let [_, _, wide, high, _] = key(&phone, selector).await;
            assert!(
                (wide >= 44.0 && high >= 44.0) || wide == 0.0,
                "{selector}: {wide} × {high}"
            );
        }
        phone.picture("gloves").await;
    }
    phone.tap_often("+ 1 Peg, black", 3).await;
    counted(&phone, "3").await;
    all_sent(&phone).await;
    phone.is_sound().await;

    // The same without script: the keys stand where they stood.
    let plain = stage.window_without_script(&ama, Width::Phone).await;
    plain.open("/keys").await;
    plain.tick("I wear gloves").await;
    plain.press("Keep this").await;
    plain.follow("Kettlehorn").await;
    plain.follow("Bag 1").await;
    plain.follow("Peg").await;
    plain.press("+ 1 Peg, black").await;
    counted(&plain, "4").await;
    let words = plain.words().await;
    assert!(words.contains("in gloves"), "{words}");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_desk_sheet_goes_down_with_enter_and_takes_a_pasted_column() {
    let Some(stage) = Stage::set("desk").await else {
        return;
    };
    let slip =
        "bag,number,colour,quantity\nBag 1,B-4,black,8\nBag 1,B-6,amber,1\nBag 1,B-6,white,1\n";
    let ama = begun(&stage, slip).await;
    let desk = stage.window(&ama, Width::Desk).await;
    desk.open("/").await;
    desk.press("Unpack and count Kettlehorn").await;
    desk.press("Start Bag 1").await;
    desk.follow("Type in a sheet").await;
    desk.sees("Filled 0 of 3 lines").await;
    let number = "return document.activeElement.closest('tr').rowIndex";
    desk.run("document.querySelector('tbody input').focus()", vec![])
        .await;
    desk.types("8").await;
    desk.key(Key::Enter).await;
    desk.until(number, json!(2)).await;
    desk.types("1").await;
    desk.key(Key::Enter).await;
    desk.until(number, json!(3)).await;
    desk.types(&format!("{}{}", Key::Shift, Key::Enter)).await;
    desk.until(number, json!(2)).await;
    desk.sees("Filled 2 of 3 lines").await;
    // A column from a spreadsheet fills downwards from where it is pasted.
    let paste = "const data = new DataTransfer(); data.setData('text/plain', '0\\n1\\n'); \
        document.activeElement.dispatchEvent(new ClipboardEvent('paste', \
        { clipboardData: data, bubbles: true, cancelable: true }));";
    desk.run(paste, vec![]).await;
    desk.sees("Filled 3 of 3 lines").await;
    desk.press("Keep what is typed").await;
    desk.sees("3 lines written down").await;
    desk.is_sound().await;
}
