//! The calendar: a month of loans and events, free days, and the feed behind a private link.

use std::io::BufReader;

use fieldstow::ids::TeamId;
use fieldstow::people::Role;
use ical::parser::ical::component::{IcalCalendar, IcalEvent};

use crate::support::{Browser, Seen, World};

/// What two teams with an event, a loan between them and a kit of each see of March 2027.
struct Planned<'a> {
    world: &'a World,
    ours: TeamId,
    ama: Browser<'a>,
    rook: Browser<'a>,
    loan: String,
    event: String,
}

async fn planned(world: &World) -> Planned<'_> {
    let beacon = world.beacon().await;
    let ours = world.team("Nine Larches").await;
    let theirs = world.team("Hobnail Bridge").await;
    let ama = world.person("Ama", ours, Role::Keeper).await;
    let rook = world.person("Rook", theirs, Role::Keeper).await;
    let (by, _) = world.account("Kit keeper", None, false).await;
    let (kit, places) = world.kit(&beacon, by, ours, "Kettlehorn", &["Bag 1"]).await;
    world
        .kit(&beacon, by, theirs, "Long Gable", &["Bag 1"])
        .await;

    let form = ama.open("/events/new").await;
    let meeting = [
        ("name", "Three Passes; Meeting, and \\ more"),
        ("venue", "Farrow Hall"),
        ("first_on", "2027-03-20"),
        ("last_on", "2027-03-21"),
    ];
    let event = ama.press(&form, "Add the event", &meeting).await;
    ama.press(&event, "It goes", &[("kit", &kit.to_string())])
        .await;

    // Lent from today, 4 March, due back on the 12th.
    let loan = uuid::Uuid::now_v7();
    let mut tx = world.app.db.begin_write().await.unwrap();
    sqlx::query(
        "insert into loan (id, number, lender_id, kit_id, borrower_id, out_on, due_on, state, whole_kit, spot_id, made_at) \
         values ($1, 7, $2, $3, $4, '2027-03-04', '2027-03-12', 'out', 1, $5, 0)",
    )
    .bind(loan)
    .bind(ours)
    .bind(kit)
    .bind(theirs)
    .bind(places[0])
    .execute(&mut *tx)
    .await
    .unwrap();
    tx.commit().await.unwrap();
    Planned {
        world,
        ours,
        ama,
        rook,
        loan: loan.to_string(),
        event: event.path.rsplit('/').next().unwrap().to_owned(),
    }
}

#[tokio::test]
async fn a_month_tells_both_sides_what_is_due_and_when_kits_are_free() {
    let world = World::empty().await;
    let planned = planned(&world).await;
    let month = planned.ama.open("/calendar").await;
    month.expect(200, "March 2027");
    let days = month.texts_of(".day-list .name");
    assert_eq!(
        days,
        [
            "Kettlehorn with Hobnail Bridge",
            "Kettlehorn due back from Hobnail Bridge",
            "Three Passes; Meeting, and \\ more: Kettlehorn",
            "Three Passes; Meeting, and \\ more: Kettlehorn",
        ]
    );
    // Due back on the 12th is back by its end; the event takes the 20th and the 21st.
    let free = month.texts_of("[aria-labelledby=free] dd");
    assert_eq!(
        free,
        ["14 Mar 2027 to 18 Mar 2027, 22 Mar 2027 to 31 Mar 2027"]
    );
    // The table says the same on the days themselves.
    let cells = month.texts_of(".month td");
    assert_eq!(cells.len(), 35);
    assert!(
        cells[3].starts_with("4 (today)") && cells[3].contains("until 12 Mar 2027"),
        "{}",
        cells[3]
    );
    assert!(
        cells[11].starts_with("12") && cells[11].contains("due back"),
        "{}",
        cells[11]
    );
    assert_eq!(cells[12], "13");
    assert!(cells[20].contains("Three Passes"), "{}", cells[20]);

    let other = planned.rook.open("/calendar?month=2027-03").await;
    other.expect(200, "Give Kettlehorn back to Nine Larches");
    let free = other.texts_of("[aria-labelledby=free] dd");
    assert_eq!(free, ["4 Mar 2027 to 31 Mar 2027"], "Long Gable is at home");

    planned
        .ama
        .open("/calendar?month=2027-04")
        .await
        .expect(200, "Nothing this month.");
    planned
        .ama
        .open("/calendar?month=soon")
        .await
        .expect(200, "The month in the address could not be read.");
}

async fn link(browser: &Browser<'_>) -> String {
    let page = browser.open("/calendar/links").await;
    let made = browser
        .press(&page, "Make the link", &[("name", "My phone")])
        .await;
    made.expect(200, "The link, shown only now");
    let link = made.attribute("#link", "value").unwrap();
    link[link.find("/calendar/feed/").unwrap()..].to_owned()
}

fn parsed(text: &str) -> IcalCalendar {
    let mut all: Vec<_> = ical::IcalParser::new(BufReader::new(text.as_bytes())).collect();
    assert_eq!(all.len(), 1, "one calendar");
    all.remove(0).expect("another program can read it")
}

fn value(event: &IcalEvent, name: &str) -> Option<String> {
    let property = event.properties.iter().find(|one| one.name == name)?;
    property.value.clone()
}

async fn asked(browser: &Browser<'_>, link: &str) -> Seen {
    browser.open_with(link, &[]).await
}

#[tokio::test]
async fn another_program_reads_the_feed_and_all_day_ends_are_right() {
    let world = World::empty().await;
    let planned = planned(&world).await;
    let link = link(&planned.ama).await;
    let program = planned.world.browser();
    let answer = asked(&program, &link).await;
    assert_eq!(answer.status.as_u16(), 200);
    assert_eq!(
        answer.header("content-type"),
        Some("text/calendar; charset=utf-8")
    );
    let text = answer.html();
    // RFC 5545, 3.1: lines end with CR LF and have at most 75 octets.
    assert!(text.ends_with("END:VCALENDAR\r\n"));
    assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
    for line in text.split("\r\n") {
        assert!(line.len() <= 75, "{line}");
    }
    let calendar = parsed(&text);
    let names: Vec<&str> = calendar
        .properties
        .iter()
        .map(|one| one.name.as_str())
        .collect();
    // RFC 5545, 3.6: both must be there, once.
    for name in ["VERSION", "PRODID"] {
        assert_eq!(
            names.iter().filter(|one| **one == name).count(),
            1,
            "{name}"
        );
    }
    let mut uids = std::collections::BTreeSet::new();
    let mut told = Vec::new();
    for event in &calendar.events {
        let uid = value(event, "UID").expect("a UID (RFC 5545, 3.6.1)");
        assert!(uids.insert(uid), "a UID is used once");
        assert!(value(event, "DTSTAMP").is_some_and(|stamp| stamp == "20270304T180000Z"));
        for name in ["DTSTART", "DTEND"] {
            let property = event
                .properties
                .iter()
                .find(|one| one.name == name)
                .unwrap();
            let kind = property
                .params
                .iter()
                .flatten()
                .find(|(key, _)| key == "VALUE")
                .unwrap();
            assert_eq!(kind.1, ["DATE"]);
        }
        told.push((
            value(event, "DTSTART").unwrap(),
            value(event, "DTEND").unwrap(),
            value(event, "SUMMARY").unwrap(),
        ));
    }
    let told: Vec<_> = told
        .iter()
        .map(|(start, end, words)| (start.as_str(), end.as_str(), words.as_str()))
        .collect();
    // RFC 5545, 3.6.1: DTEND is the first day after; 3.3.11: backslash, semicolon and comma are escaped.
    assert_eq!(
        told,
        [
            ("20270304", "20270313", "Kettlehorn with Hobnail Bridge"),
            (
                "20270312",
                "20270313",
                "Kettlehorn due back from Hobnail Bridge"
            ),
            (
                "20270320",
                "20270322",
                "Three Passes\\; Meeting\\, and \\\\ more: Kettlehorn"
            ),
            ("20270314", "20270319", "Kettlehorn is free"),
            ("20270322", "20270703", "Kettlehorn is free"),
        ]
    );
    assert!(uids.contains(&format!("loan-{}@fieldstow", planned.loan)));
    assert!(uids.contains(&format!("event-{}@fieldstow", planned.event)));
    // Free days take up no time.
    let free = calendar
        .events
        .iter()
        .filter(|one| value(one, "TRANSP").as_deref() == Some("TRANSPARENT"));
    assert_eq!(free.count(), 2);
    // No people.
    for word in ["Ama", "Rook"] {
        assert!(!text.contains(word), "{word}");
    }

    // Called off: programs that have it already take it away.
    let page = planned
        .ama
        .open(&format!("/events/{}", planned.event))
        .await;
    planned
        .ama
        .press(&page, "Call it off", &[("call_off_why", "snow")])
        .await;
    let calendar = parsed(&asked(&program, &link).await.html());
    let off = calendar
        .events
        .iter()
        .find(|one| value(one, "UID").is_some_and(|uid| uid.starts_with("event-")))
        .unwrap();
    assert_eq!(value(off, "STATUS").as_deref(), Some("CANCELLED"));
}

#[tokio::test]
async fn the_feed_tells_what_goes_back_outside_the_league() {
    let world = World::empty().await;
    let planned = planned(&world).await;
    let form = planned.ama.open("/borrowed/new").await;
    let fields = [
        ("lender", "Tin Mill"),
        ("crates", "two green crates"),
        ("due_on", "2027-03-09"),
    ];
    planned.ama.press(&form, "Write it in", &fields).await;
    let link = link(&planned.ama).await;
    let calendar = parsed(&asked(&world.browser(), &link).await.html());
    let told: Vec<_> = calendar
        .events
        .iter()
        .filter_map(|one| {
            let words = value(one, "SUMMARY")?;
            let days = (value(one, "DTSTART")?, value(one, "DTEND")?);
            words.contains("green crates").then_some((words, days))
        })
        .collect();
    // Until the end of the 9th: DTEND is the first day after (RFC 5545, 3.6.1).
    let days = |first: &str, end: &str| (first.to_owned(), end.to_owned());
    assert_eq!(
        told,
        [
            (
                "Two green crates from Tin Mill".to_owned(),
                days("20270304", "20270310")
            ),
            (
                "Give two green crates back to Tin Mill".to_owned(),
                days("20270309", "20270310")
            ),
        ]
    );
    // The other team's feed knows nothing of it.
    let month = planned.rook.open("/calendar").await;
    assert!(!month.has("green crates"));
}

#[tokio::test]
async fn a_link_shows_nothing_once_it_is_withdrawn_or_its_owner_left() {
    let world = World::empty().await;
    let planned = planned(&world).await;
    let (mine, theirs) = (link(&planned.ama).await, link(&planned.rook).await);
    let program = world.browser();
    let text = asked(&program, &theirs).await.html();
    assert!(text.contains("Give Kettlehorn back") && text.contains("Long Gable is free"));

    // Somebody else cannot withdraw it.
    let page = planned.ama.open("/calendar/links").await;
    page.expect(200, "not asked for yet");
    let seen = planned.rook.open("/calendar/links").await;
    seen.expect(200, "last asked for on 4 Mar 2027");
    let withdrawn = planned.ama.press(&page, "Withdraw My phone", &[]).await;
    withdrawn.expect(200, "Withdrawn.");
    assert_eq!(asked(&program, &mine).await.status.as_u16(), 404);
    assert_eq!(asked(&program, &theirs).await.status.as_u16(), 200);

    let mut tx = world.app.db.begin_write().await.unwrap();
    sqlx::query("delete from membership where team_id <> $1")
        .bind(planned.ours)
        .execute(&mut *tx)
        .await
        .unwrap();
    tx.commit().await.unwrap();
    assert_eq!(asked(&program, &theirs).await.status.as_u16(), 404);

    // Links cannot be found by trying.
    for n in 0..40 {
        asked(&program, &format!("/calendar/feed/{n:064x}")).await;
    }
    let blocked = asked(&program, &format!("/calendar/feed/{:064x}", 41)).await;
    assert_eq!(blocked.status.as_u16(), 429);
}

#[tokio::test]
async fn a_link_is_named_and_belongs_to_a_team_of_ones_own() {
    let world = World::empty().await;
    let planned = planned(&world).await;
    let page = planned.rook.open("/calendar/links").await;
    let refused = planned
        .rook
        .press(&page, "Make the link", &[("name", " ")])
        .await;
    refused.expect(422, "Say where you will use it");
    let form = uuid::Uuid::now_v7().to_string();
    let ours = planned.ours.to_string();
    let fields = [("form_id", form.as_str()), ("team", &ours), ("name", "x")];
    planned
        .rook
        .post("/calendar/links", &fields)
        .await
        .expect(403, "Only a team's members");
}
