//! The support does what its verbs say, shown on pages that are there anyway.

use fantoccini::key::Key;
use fieldstow::people::Role;

use crate::support::{Stage, Width};

/// What a page says first when a form was refused.
const SUMMARY: &str = "Please look at this again";

#[tokio::test(flavor = "multi_thread")]
async fn a_keeper_adds_a_season_with_the_keyboard_and_with_a_finger() {
    let Some(stage) = Stage::set("seasons").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let ama = stage.world.person("Ama", team, Role::Keeper).await;

    let desk = stage.window(&ama, Width::Desk).await;
    desk.open("/seasons/new").await;
    desk.fill("Name", "Winter Post").await;
    assert_eq!(desk.value("Name").await, "Winter Post");
    desk.key(Key::Enter).await;
    desk.sees("Winter Post").await;
    desk.picture("added").await;
    desk.is_sound().await;

    let phone = stage.window(&ama, Width::Phone).await;
    phone.open("/seasons/new").await;
    phone.tap("Add the season").await;
    phone.sees(SUMMARY).await;
    assert_eq!(phone.path().await, "/seasons");
    phone.fill("Name", "Lantern Road").await;
    phone.fill("First day", "2027-02-01").await;
    phone.tap("Add the season").await;
    phone.sees("1 Feb").await;
    phone.is_sound().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_window_without_script_fills_in_forms_too() {
    let Some(stage) = Stage::set("without-script").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let ama = stage.world.person("Ama", team, Role::Keeper).await;

    let phone = stage.window_without_script(&ama, Width::Narrow).await;
    phone.open("/seasons/new").await;
    phone.press("Add the season").await;
    phone.sees(SUMMARY).await;
    let without = phone.focused().await;
    phone.fill("Name", "Winter Post").await;
    phone.press("Add the season").await;
    phone.sees("Winter Post").await;
    phone.is_sound().await;

    // With script the page puts the focus on what is wrong: so it did not run above.
    let phone = stage.window(&ama, Width::Narrow).await;
    phone.open("/seasons/new").await;
    phone.press("Add the season").await;
    phone.sees(SUMMARY).await;
    assert!(phone.focused().await.starts_with(SUMMARY));
    assert!(!without.starts_with(SUMMARY), "{without}");
}

#[tokio::test(flavor = "multi_thread")]
async fn every_kind_of_field_is_filled_by_its_words() {
    let Some(stage) = Stage::set("fields").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let phone = stage.window(&ama, Width::Phone).await;
    phone.open("/patterns").await;

    phone.fill("Name of the kit", "Kit ").await;
    phone.types("Ö 9").await;
    phone.fill("Received on", "2027-03-04").await;
    phone.fill("Note", "first line\nsecond line").await;
    phone.choose("Size", "Half").await;
    phone.choose("Built as", "Half").await;
    phone.tick("Colour is hidden by film").await;
    let sent = "return Object.fromEntries(new FormData(document.getElementById('kit').form))";
    let sent = phone.run(sent, vec![]).await;
    for (name, value) in [
        ("kit", "Kit Ö 9"),
        ("received", "2027-03-04"),
        ("note", "first line\nsecond line"),
        ("size", "half"),
        ("built", "half"),
    ] {
        assert_eq!(sent[name], value, "{name}");
    }
    assert!(
        sent.get("film").is_none(),
        "the tick was taken away: {sent}"
    );
}

#[tokio::test(flavor = "multi_thread")]
async fn what_is_said_twice_is_told_apart_by_what_is_near() {
    let Some(stage) = Stage::set("near").await else {
        return;
    };
    let coordinator = stage.world.coordinator("Wen").await;
    let desk = stage.window(&coordinator, Width::Desk).await;
    desk.open("/seasons").await;
    let rows = r#"
        for (const part of ["Peg", "Post"]) {
          const row = document.createElement("li");
          const button = document.createElement("button");
          button.textContent = "Add one";
          button.addEventListener("click", () => said.append(`${part} counted. `));
          const link = document.createElement("a");
          link.href = part === "Peg" ? "/help" : "/teams";
          link.textContent = "More";
          row.append(part, button, link);
          document.querySelector("main").append(row);
        }
        const said = document.createElement("p");
        document.querySelector("main").append(said);
    "#;
    desk.run(rows, vec![]).await;
    desk.press_near("Post", "Add one").await;
    desk.sees("Post counted.").await;
    desk.tap_near("Peg", "Add one").await;
    desk.sees("Post counted. Peg counted.").await;
    desk.follow_near("Post", "More").await;
    assert_eq!(desk.path().await, "/teams");
    desk.back().await;
    assert_eq!(desk.path().await, "/seasons");
}

#[tokio::test(flavor = "multi_thread")]
async fn a_line_that_is_cut_lets_nothing_through_until_it_is_mended() {
    let Some(stage) = Stage::set("line").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let phone = stage.window(&ama, Width::Phone).await;
    phone.open("/seasons").await;

    let script = "const done = arguments[0]; \
        fetch('/help', { cache: 'no-store' }).then((r) => done(r.status), () => done('failed'));";
    assert_eq!(phone.run_async(script).await, 200);
    stage.line.cut().await;
    assert_eq!(phone.run_async(script).await, "failed");
    let before = stage.line.connections();
    stage.line.mend().await;
    assert_eq!(phone.run_async(script).await, 200);
    assert!(stage.line.connections() > before);
}

#[tokio::test(flavor = "multi_thread")]
async fn faults_that_are_put_into_a_page_are_found() {
    let Some(stage) = Stage::set("faults").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let window = stage.window(&ama, Width::Narrow).await;
    window.open("/seasons").await;
    assert_eq!(window.faults().await, []);

    let spoil = r#"
        const main = document.querySelector("main");
        const text = document.createElement("p");
        text.textContent = "Grey on white";
        text.style.color = "rgb(110, 110, 110)";
        const wide = document.createElement("div");
        wide.style.width = "400px";
        wide.style.height = "4px";
        const inner = document.createElement("script");
        inner.append("1");
        const picture = document.createElement("img");
        picture.alt = "";
        picture.src = "http://elsewhere.example/picture.png";
        main.append(text, wide, picture);
        const sizes = document.createElement("div");
        for (const name of ["a", "b"]) {
          const button = document.createElement("button");
          button.textContent = name;
          button.style = "all: revert; display: inline-block; width: 10px; height: 10px; min-height: 0; padding: 0; margin: 0; font-size: 4px";
          sizes.append(button);
        }
        main.append(sizes);
        try { main.append(inner); } catch { /* refused at once: that is reported as well */ }
        new Promise(() => { throw new Error("a script that fails"); });
    "#;
    window.run(spoil, vec![]).await;
    // What happens in the background is reported a moment later.
    let found = window.faults_until("reported").await;
    let has = |rule: &str, part: &str| {
        found.iter().any(|fault| {
            fault.rule == rule && (fault.element.contains(part) || fault.why.contains(part))
        })
    };
    let list = crate::support::Fault::list(&found);
    assert!(has("sideways-scroll", "px wide in 320"), "{list}");
    assert!(has("reported", "Content Security Policy"), "{list}");
    if crate::support::has_axe() {
        assert!(has("color-contrast-enhanced", "p"), "{list}");
        assert!(has("target-size", "button"), "{list}");
    }
}
