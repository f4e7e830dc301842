//! What every page looks like: the palette, the weight of fonts and scripts, and the markup of each component.

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};

use scraper::{ElementRef, Html, Selector};

use crate::support::World;

#[tokio::test]
async fn the_patterns_page_names_every_field_table_and_picture() {
    let world = World::empty().await;
    world.coordinator("Ama").await;
    let page = world.browser().open("/patterns").await;
    page.expect(200, "Every part of the look, once");
    let document = page.document();

    assert_eq!(all(&document, "h1").len(), 1);
    let fields = all(&document, "input:not([type=hidden]), select, textarea");
    assert!(fields.len() >= 10, "{} fields", fields.len());
    for field in fields {
        let id = field.attr("id").expect("a field has an id");
        let label = all(&document, &format!("label[for='{id}']"));
        assert_eq!(label.len(), 1, "labels of {id}");
        for note in field
            .attr("aria-describedby")
            .unwrap_or("")
            .split_whitespace()
        {
            assert_eq!(all(&document, &format!("[id='{note}']")).len(), 1, "{note}");
        }
    }
    for table in all(&document, "table") {
        assert_eq!(inside(&table, "caption").len(), 1);
        assert!(inside(&table, "th:not([scope])").is_empty());
        for row in inside(&table, "tbody tr") {
            assert_eq!(inside(&row, "th[scope=row]").len(), 1);
        }
    }
    for picture in all(&document, "svg") {
        assert_eq!(picture.attr("aria-hidden"), Some("true"));
    }
}

#[tokio::test]
async fn a_refused_field_is_marked_tied_to_its_sentence_and_linked_from_the_top() {
    let world = World::empty().await;
    world.coordinator("Ama").await;
    let page = world.browser().open("/patterns").await;
    let document = page.document();

    let field = all(&document, "[aria-invalid=true]");
    assert_eq!(field.len(), 1);
    assert_eq!(
        field[0].attr("aria-describedby"),
        Some("pieces-hint pieces-wrong")
    );
    assert_eq!(
        page.attribute(".wrong-summary a", "href").as_deref(),
        Some("#pieces")
    );
    assert_eq!(
        page.text_of("#pieces-wrong"),
        format!("Error: {}", page.text_of(".wrong-summary a"))
    );
}

#[tokio::test]
async fn gates_are_drawn_in_fives_and_said_in_figures() {
    let world = World::empty().await;
    world.coordinator("Ama").await;
    let page = world.browser().open("/patterns").await;
    let document = page.document();

    for (n, drawn, rest) in [("3", 1, ""), ("17", 4, ""), ("64", 10, "and 14 more")] {
        let gates = all(&document, &format!("[role=img][aria-label^='{n} ']"));
        assert_eq!(inside(&gates[0], "svg").len(), drawn, "gates of {n}");
        assert_eq!(gates[0].text().collect::<String>().trim(), rest);
    }
}

#[tokio::test]
async fn a_page_for_nobody_has_no_strip_and_a_page_for_somebody_has_five_words() {
    let world = World::empty().await;
    world.coordinator("Ama").await;
    let nobody = world.browser().open("/patterns").await;
    assert!(nobody.texts_of(".strip a").is_empty());

    let team = world.team("Nine Larches").await;
    let keeper = world
        .person("Ama", team, fieldstow::people::Role::Keeper)
        .await;
    let page = keeper.open("/seasons").await;
    assert_eq!(
        page.texts_of(".strip a"),
        ["Today", "Count", "Where", "Lend", "Broken"]
    );
    assert_eq!(page.text_of(".help"), "Ask the keeper");
}

/// WCAG 2.2, "contrast ratio" and "relative luminance": text 7:1 (1.4.6), borders and marks 3:1 (1.4.11).
#[test]
fn every_colour_of_the_palette_can_be_read() {
    let palette = palette();
    for text in ["ink", "soft-ink", "all-here", "short", "out", "hold"] {
        for ground in ["paper", "white"] {
            assert_contrast(&palette, text, ground, 7.0);
        }
    }
    for mark in ["rule", "focus"] {
        assert_contrast(&palette, mark, "paper", 3.0);
        assert_contrast(&palette, mark, "white", 3.0);
    }
    assert_contrast(&palette, "ink", "attention", 7.0);
    assert_contrast(&palette, "ink", "board", 7.0);
    assert_contrast(&palette, "white", "ink", 7.0);
}

/// The ends of the scale, as the definition in WCAG 2.2 gives them: 1:1 and 21:1.
#[test]
fn contrast_runs_from_1_to_21() {
    assert!((contrast([0; 3], [255; 3]) - 21.0).abs() < 1e-9);
    assert!((contrast([18; 3], [18; 3]) - 1.0).abs() < 1e-9);
}

#[test]
fn fonts_and_scripts_stay_light_and_fonts_keep_their_licences() {
    let fonts: u64 = files("static/fonts").iter().map(|file| weight(file)).sum();
    assert!(fonts > 0 && fonts <= 120_000, "fonts weigh {fonts} bytes");
    let scripts: u64 = files("static")
        .iter()
        .filter(|file| file.extension().is_some_and(|ending| ending == "js"))
        .map(|file| weight(file))
        .sum();
    assert!(
        scripts > 0 && scripts <= 20_000,
        "scripts weigh {scripts} bytes"
    );
    for licence in ["atkinson-hyperlegible-next", "saira-stencil-one"] {
        let text = read(&root().join(format!("static/licences/{licence}.txt")));
        assert!(
            text.contains("SIL Open Font License, Version 1.1"),
            "{licence}"
        );
    }
}

/// The content security policy allows nothing inline, and trusted types nothing written as HTML.
#[test]
fn nothing_is_inline_and_scripts_write_no_html() {
    let templates = files("templates");
    assert!(templates.len() > 8);
    for file in templates {
        let text = read(&file).to_lowercase();
        let name = file.display();
        assert!(
            !text.contains(" style=") && !text.contains("<style"),
            "{name} has inline style"
        );
        assert!(!text.contains("<script>"), "{name} has an inline script");
        for handler in [
            " onclick=",
            " onsubmit=",
            " onload=",
            " onchange=",
            " oninput=",
            "javascript:",
        ] {
            assert!(!text.contains(handler), "{name} has {handler}");
        }
    }
    for file in files("static") {
        if file.extension().is_none_or(|ending| ending != "js") {
            continue;
        }
        let text = read(&file);
        for sink in [
            "innerHTML",
            "outerHTML",
            "insertAdjacentHTML",
            "document.write",
            "eval(",
        ] {
            assert!(!text.contains(sink), "{} uses {sink}", file.display());
        }
    }
}

/// Shadows, gradients and round corners are not part of this look.
#[test]
fn style_sheets_have_no_shadow_gradient_or_round_corner() {
    for sheet in [
        "site.css",
        "tally.css",
        "paper.css",
        "pictures.css",
        "print.css",
    ] {
        let text = read(&root().join("static").join(sheet));
        for not_ours in [
            "box-shadow",
            "text-shadow",
            "gradient(",
            "border-radius: 50%",
        ] {
            assert!(!text.contains(not_ours), "{sheet} has {not_ours}");
        }
        assert!(
            !text.contains("http:") && !text.contains("https:"),
            "{sheet} leaves the house"
        );
    }
}

fn assert_contrast(palette: &BTreeMap<String, [u8; 3]>, one: &str, other: &str, least: f64) {
    let ratio = contrast(palette[one], palette[other]);
    assert!(
        ratio >= least,
        "{one} on {other} is {ratio:.2}, below {least}"
    );
}

/// The colours of the first block of tokens.
fn palette() -> BTreeMap<String, [u8; 3]> {
    let sheet = read(&root().join("static/site.css"));
    let tokens = sheet.split(":root {").nth(1).expect("tokens");
    let tokens = tokens.split('}').next().expect("the end of the tokens");
    tokens
        .lines()
        .filter_map(|line| {
            let (name, value) = line.trim().strip_prefix("--")?.split_once(": #")?;
            let number = u32::from_str_radix(value.trim_end_matches(';'), 16).ok()?;
            let [_, red, green, blue] = number.to_be_bytes();
            Some((name.to_owned(), [red, green, blue]))
        })
        .collect()
}

fn contrast(one: [u8; 3], other: [u8; 3]) -> f64 {
    let (one, other) = (luminance(one), luminance(other));
    (one.max(other) + 0.05) / (one.min(other) + 0.05)
}

fn luminance(colour: [u8; 3]) -> f64 {
    let [red, green, blue] = colour.map(|part| {
        let part = f64::from(part) / 255.0;
        if part <= 0.04045 {
            part / 12.92
        } else {
            ((part + 0.055) / 1.055).powf(2.4)
        }
    });
    0.2126 * red + 0.7152 * green + 0.0722 * blue
}

fn all<'d>(document: &'d Html, selector: &str) -> Vec<ElementRef<'d>> {
    let selector = Selector::parse(selector).expect("a selector");
    document.select(&selector).collect()
}

fn inside<'d>(element: &ElementRef<'d>, selector: &str) -> Vec<ElementRef<'d>> {
    let selector = Selector::parse(selector).expect("a selector");
    element.select(&selector).collect()
}

fn root() -> PathBuf {
    PathBuf::from(env!("CARGO_MANIFEST_DIR"))
}

fn read(path: &Path) -> String {
    fs::read_to_string(path).unwrap_or_else(|error| panic!("{}: {error}", path.display()))
}

fn weight(path: &Path) -> u64 {
    fs::metadata(path).expect("a file").len()
}

/// Every file below a folder.
fn files(folder: &str) -> Vec<PathBuf> {
    let mut folders = vec![root().join(folder)];
    let mut found = Vec::new();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(&folder).expect("a folder") {
            let path = entry.expect("an entry").path();
            if path.is_dir() {
                folders.push(path);
            } else {
                found.push(path);
            }
        }
    }
    found
}
