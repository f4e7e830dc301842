//! From page to page along every link, without a browser: nothing leads nowhere, and the markup of every
//! page tells those who do not see it what the others see.

use std::collections::{BTreeMap, BTreeSet, HashMap, HashSet, VecDeque};

use axum::http::{Method, StatusCode};
use fieldstow::people::Role;
use scraper::{ElementRef, Html, Selector};

use crate::support::{Browser, Seen, World, route_of};

/// Pages of one kind are alike: so many of each are opened.
const OF_A_KIND: usize = 25;

/// Forms without an id of their own: sent twice they do nothing more.
const SAME_TWICE: [&str; 2] = ["/sign-in", "/sign-out"];

#[tokio::test]
async fn every_link_of_a_busy_keeper_leads_to_a_well_marked_page() {
    let world = World::empty().await;
    let busy = world.busy().await;
    let (addresses, lacking) = busy.addresses();
    assert!(lacking.is_empty(), "{}", lacking.join("\n"));
    let reached = crawl(&busy.keeper, &["/"]).await;
    assert!(
        reached.len() > 20,
        "only {} pages are reached",
        reached.len()
    );
    // The pages that no link leads to, too: those after a form, and those from outside.
    let from: Vec<&str> = addresses.iter().map(String::as_str).collect();
    crawl(&busy.keeper, &from).await;
}

#[tokio::test]
async fn every_link_leads_somewhere_before_there_is_anything() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let ama = world.person("Ama", team, Role::Keeper).await;
    crawl(&ama, &["/"]).await;
}

#[tokio::test]
async fn crew_are_led_to_nothing_that_is_not_theirs() {
    let world = World::empty().await;
    let busy = world.busy().await;
    crawl(&busy.crew, &["/"]).await;
}

#[tokio::test]
async fn a_stranger_finds_well_marked_pages_too() {
    let world = World::empty().await;
    let busy = world.busy().await;
    let addresses = busy.strangers_addresses();
    let from: Vec<&str> = addresses.iter().map(String::as_str).collect();
    crawl(&world.browser(), &from).await;
}

/// Goes on from these addresses and fails with the list of everything that is wrong on the way.
async fn crawl(browser: &Browser<'_>, from: &[&str]) -> BTreeSet<String> {
    let mut waiting: VecDeque<(String, String)> = from
        .iter()
        .map(|address| ("the test".to_owned(), (*address).to_owned()))
        .collect();
    let mut known: BTreeSet<String> = from.iter().map(|address| (*address).to_owned()).collect();
    let mut kinds: HashMap<String, usize> = HashMap::new();
    // Each mistake once for each kind of page, with the first page it is on.
    let mut wrong: BTreeMap<(String, String), String> = BTreeMap::new();
    while let Some((linked_from, address)) = waiting.pop_front() {
        let seen = browser.open(&address).await;
        if seen.status != StatusCode::OK {
            let answer = format!("answers {}, linked from {linked_from}", seen.status);
            wrong.insert((kind_of(&address), answer), address);
            continue;
        }
        let is_page = seen
            .header("content-type")
            .is_some_and(|kind| kind.starts_with("text/html"));
        if !is_page {
            continue;
        }
        for mistake in mistakes(&seen) {
            wrong
                .entry((kind_of(&address), mistake))
                .or_insert_with(|| address.clone());
        }
        for link in links(&seen) {
            if !known.insert(link.clone()) {
                continue;
            }
            let of_its_kind = kinds.entry(kind_of(&link)).or_insert(0);
            *of_its_kind += 1;
            if *of_its_kind <= OF_A_KIND {
                waiting.push_back((address.clone(), link));
            }
        }
    }
    let list: Vec<String> = wrong
        .into_iter()
        .map(|((_, mistake), address)| format!("{address}: {mistake}"))
        .collect();
    assert!(
        list.is_empty(),
        "{} mistakes:\n{}",
        list.len(),
        list.join("\n")
    );
    known
}

/// The route of an address with the names of what it asks; without a route the address itself.
fn kind_of(address: &str) -> String {
    let Some(route) = route_of(&Method::GET, address) else {
        return address.to_owned();
    };
    let query = address.split_once('?').map_or("", |(_, query)| query);
    let asked: BTreeSet<&str> = query
        .split('&')
        .filter_map(|pair| pair.split('=').next())
        .collect();
    format!(
        "{route}?{}",
        asked.into_iter().collect::<Vec<_>>().join("&")
    )
}

/// Where the links of a page lead, those to other places and within the page left out.
fn links(seen: &Seen) -> Vec<String> {
    all(&seen.document(), "a[href]")
        .iter()
        .filter_map(|link| {
            let href = link.attr("href")?.split('#').next()?;
            match href {
                "" => None,
                href if href.starts_with('/') => Some(href.to_owned()),
                href if href.starts_with('?') => {
                    let path = seen.path.split('?').next().unwrap_or_default();
                    Some(format!("{path}{href}"))
                }
                href if href.contains(':') => None,
                href => panic!("the link {href} on {} is relative", seen.path),
            }
        })
        .collect()
}

/// Everything that is wrong with the markup of a page.
fn mistakes(seen: &Seen) -> Vec<String> {
    let document = seen.document();
    let mut wrong = Vec::new();

    let headings = all(&document, "h1").len();
    if headings != 1 {
        wrong.push(format!("{headings} h1"));
    }
    let title = all(&document, "title")
        .first()
        .map(words)
        .unwrap_or_default();
    if title.trim_end_matches(" · Fieldstow").is_empty() || title.starts_with('·') {
        wrong.push(format!("the title is “{title}”"));
    }
    if all(&document, "html[lang]").is_empty() {
        wrong.push("no language".into());
    }

    let mut ids = HashSet::new();
    for element in all(&document, "[id]") {
        let id = element.attr("id").unwrap_or_default();
        if !ids.insert(id.to_owned()) {
            wrong.push(format!("two elements are #{id}"));
        }
    }
    for element in all(&document, "*") {
        for (name, value) in element.value().attrs() {
            if name == "style" || name.starts_with("on") {
                wrong.push(format!("{} with {name}=", element.value().name()));
            }
            let refers = [
                "for",
                "aria-describedby",
                "aria-labelledby",
                "aria-controls",
                "form",
            ];
            if refers.contains(&name) {
                for id in value.split_whitespace().filter(|id| !ids.contains(*id)) {
                    wrong.push(format!("{name}={id} points at nothing"));
                }
            }
        }
        let is_inner = ["style", "script"].contains(&element.value().name());
        if is_inner && element.attr("src").is_none() {
            wrong.push(format!("an inner <{}>", element.value().name()));
        }
    }
    for link in all(&document, "a[href^='#']") {
        let id = link
            .attr("href")
            .unwrap_or_default()
            .trim_start_matches('#');
        if !ids.contains(id) {
            wrong.push(format!("the link to #{id} leads nowhere"));
        }
    }

    for field in all(&document, "input:not([type=hidden]), select, textarea") {
        let name = field.attr("name").unwrap_or("a field without a name");
        let labelled = named(&document, &field)
            || field
                .ancestors()
                .filter_map(ElementRef::wrap)
                .any(|above| above.value().name() == "label" && !words(&above).is_empty());
        if !labelled {
            wrong.push(format!("{name} has no label"));
        }
    }
    for button in all(&document, "button, [role=button], summary, a[href]") {
        // What is hidden gets its words from the script that shows it; the browser tests look at those.
        if words(&button).is_empty() && !named(&document, &button) && !is_hidden(&button) {
            wrong.push(format!("a button or link without words: {}", button.html()));
        }
    }
    for form in all(&document, "form[method=post]") {
        let action = form.attr("action").unwrap_or_default();
        if inside(&form, "input[name=form_id]").is_empty() && !SAME_TWICE.contains(&action) {
            wrong.push(format!("the form to {action} has no form_id"));
        }
    }
    for table in all(&document, "table") {
        wrong.extend(mistakes_of_a_table(&table));
    }
    wrong
}

fn mistakes_of_a_table(table: &ElementRef<'_>) -> Vec<String> {
    let mut wrong = Vec::new();
    let caption = inside(table, "caption")
        .first()
        .map(words)
        .unwrap_or_default();
    if caption.is_empty() {
        wrong.push(format!("a table without a caption: {}", words(table)));
    }
    if !inside(table, "th:not([scope])").is_empty() {
        wrong.push(format!("“{caption}” has a th without scope"));
    }
    for row in inside(table, "tbody tr") {
        if inside(
            &row,
            "th[scope=row], th[scope=rowgroup], th[scope=colgroup]",
        )
        .is_empty()
        {
            wrong.push(format!(
                "“{caption}” has a row without a header: {}",
                words(&row)
            ));
        }
    }
    wrong
}

fn is_hidden(element: &ElementRef<'_>) -> bool {
    element.attr("hidden").is_some()
        || element
            .ancestors()
            .filter_map(ElementRef::wrap)
            .any(|above| above.attr("hidden").is_some())
}

/// Whether an element has a name beside its own words: a label, or one for those who do not see.
fn named(document: &Html, element: &ElementRef<'_>) -> bool {
    let by_label = element.attr("id").is_some_and(|id| {
        all(document, "label[for]")
            .iter()
            .any(|label| label.attr("for") == Some(id) && !words(label).is_empty())
    });
    let by_others = element.attr("aria-labelledby").is_some_and(|names| {
        names.split_whitespace().any(|id| {
            all(document, "[id]")
                .iter()
                .any(|other| other.attr("id") == Some(id) && !words(other).is_empty())
        })
    });
    let by_itself = element
        .attr("aria-label")
        .is_some_and(|name| !name.trim().is_empty());
    by_label || by_others || by_itself
}

fn all<'a>(document: &'a Html, selector: &str) -> Vec<ElementRef<'a>> {
    let selector = Selector::parse(selector).expect("a selector");
    document.select(&selector).collect()
}

fn inside<'a>(element: &ElementRef<'a>, selector: &str) -> Vec<ElementRef<'a>> {
    let selector = Selector::parse(selector).expect("a selector");
    element.select(&selector).collect()
}

fn words(element: &ElementRef<'_>) -> String {
    let text: String = element.text().collect();
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn mistakes_that_are_put_into_a_page_are_found() {
    let page = |body: &str| {
        let html = format!(
            "<!doctype html><html lang=en><title>Bags · Fieldstow</title><h1>Bags</h1>{body}"
        );
        let headers = axum::http::HeaderMap::new();
        Seen::new("/".into(), StatusCode::OK, headers, html.into_bytes())
    };
    assert_eq!(mistakes(&page("")), Vec::<String>::new());
    for (body, mistake) in [
        ("<h1>Two</h1>", "2 h1"),
        ("<p id=a><p id=a>", "two elements are #a"),
        ("<p style='color:red'>", "p with style="),
        ("<p onclick='x()'>", "p with onclick="),
        ("<script>1</script>", "an inner <script>"),
        ("<input name=n>", "n has no label"),
        ("<label for=n></label><input name=n id=n>", "n has no label"),
        (
            "<label>N <input name=n aria-describedby=no></label>",
            "aria-describedby=no points at nothing",
        ),
        (
            "<button></button>",
            "a button or link without words: <button></button>",
        ),
        (
            "<a href='#gone'>There</a>",
            "the link to #gone leads nowhere",
        ),
        (
            "<form method=post action=/x></form>",
            "the form to /x has no form_id",
        ),
        (
            "<table><tr><th scope=row>1</table>",
            "a table without a caption: 1",
        ),
        (
            "<table><caption>C</caption><tr><td>1</table>",
            "“C” has a row without a header: 1",
        ),
        (
            "<table><caption>C</caption><tr><th>1</table>",
            "“C” has a th without scope",
        ),
    ] {
        let found = mistakes(&page(body));
        assert!(
            found.iter().any(|found| found == mistake),
            "{body}: {found:?}"
        );
    }
    let later = page("<div hidden><button></button></div>");
    assert_eq!(mistakes(&later), Vec::<String>::new());
    let untitled = Seen::new(
        "/".into(),
        StatusCode::OK,
        axum::http::HeaderMap::new(),
        b"<!doctype html><title> \xc2\xb7 Fieldstow</title>".to_vec(),
    );
    assert_eq!(
        mistakes(&untitled),
        ["0 h1", "the title is “· Fieldstow”", "no language"]
    );
}
