//! A report to the supplier, from the day it was sent to the day it is closed.

use fieldstow::ids::{KitId, PartId, PersonId, PlaceId};
use fieldstow::people::Role;

use crate::support::{Browser, Seen, World};

struct Scene<'w> {
    keeper: Browser<'w>,
    crew: Browser<'w>,
    person: PersonId,
    kit: KitId,
    bag: PlaceId,
    peg: PartId,
    lamp: PartId,
}

/// A kit that was counted: 4 pegs and the lamp are short, one white shade is over.
async fn scene(world: &World) -> Scene<'_> {
    let team = world.team("Nine Larches").await;
    let (person, keeper) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let crew = world.person("Osk", team, Role::Crew).await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, person, team, "Kettlehorn", &["Bag 1"])
        .await;
    let bag = bags[0];
    let peg = world.part("Peg").await;
    let lamp = world.part("Lamp").await;
    let mut found = vec![
        (bag, peg, 16),
        (bag, lamp, 0),
        (bag, world.part_in("Shade", "amber").await, 1),
        (bag, world.part_in("Shade", "white").await, 2),
    ];
    for (name, qty) in [
        ("Post", 4),
        ("Plate, long", 2),
        ("Plate, short", 2),
        ("Strap", 6),
    ] {
        found.push((bag, world.part(name).await, qty));
    }
    world.delivered(kit, person, &found, false).await;
    Scene {
        keeper,
        crew,
        person,
        kit,
        bag,
        peg,
        lamp,
    }
}

impl Scene<'_> {
    async fn send(&self) -> Seen {
        let letter = self
            .keeper
            .open(&format!("/kits/{}/report", self.kit))
            .await;
        let form = self.keeper.click(&letter, "I sent it on …").await;
        self.keeper
            .press(&form, "I sent it on", &[("words", "By mail to their desk")])
            .await
    }

    async fn report(&self) -> Seen {
        self.keeper
            .open(&format!("/kits/{}/reports/1", self.kit))
            .await
    }

    /// State of a part's line in the kit's parts.
    async fn state(&self, part: &str) -> String {
        let parts = self.keeper.open(&format!("/kits/{}/parts", self.kit)).await;
        parts.row(part).unwrap()[3].clone()
    }
}

#[tokio::test]
async fn from_sent_to_closed() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let sent = scene.send().await;
    assert_eq!(sent.path, format!("/kits/{}/reports/1", scene.kit));
    assert_eq!(sent.told(), "Written down as sent.");
    assert!(
        sent.text_of(".status").starts_with("Sent on "),
        "{}",
        sent.words()
    );
    assert_eq!(
        sent.row("Peg").unwrap()[1..],
        ["4", "4", "nothing said yet"]
    );
    assert!(sent.has("By mail to their desk"));
    // Nobody promised anything: short for good.
    assert_eq!(scene.state("Peg").await, "4 short");

    let answered = scene
        .keeper
        .press(
            &sent,
            "Write the answer down",
            &[
                ("answer-words", "Pegs are on the way, lamps are gone"),
                ("promised-1", "3"),
                ("promised-2", "0"),
            ],
        )
        .await;
    assert_eq!(answered.told(), "The answer is written down.");
    assert_eq!(
        answered.text_of(".status"),
        "Answered; 3 pieces are promised, nobody said by when."
    );
    assert_eq!(answered.row("Peg").unwrap()[3], "3 promised");
    assert_eq!(answered.row("Lamp").unwrap()[3], "will not come");
    // Short now is not short for good: one peg is, three are still to come.
    assert_eq!(scene.state("Peg").await, "1 short");
    assert_eq!(scene.state("Lamp").await, "1 short");
    let kit = scene.keeper.open(&format!("/kits/{}", scene.kit)).await;
    assert!(kit.has("3 pieces are promised, nobody said by when."));

    let came = [("came-1", "2"), ("came-words", "Parcel 77")];
    let arrived = scene
        .crew
        .press(&scene.report().await, "These arrived", &came)
        .await;
    assert_eq!(arrived.told(), "They are in the books.");
    assert_eq!(
        arrived.row("Peg").unwrap()[1..],
        ["4", "2", "3 promised, 2 arrived"]
    );
    assert_eq!(scene.state("Peg").await, "1 short");
    world.verify().await;

    // The rest comes in a delivery that is counted: nothing else has to be written down.
    let more = [(scene.bag, scene.peg, 2), (scene.bag, scene.lamp, 1)];
    world.delivered(scene.kit, scene.person, &more, false).await;
    let all = scene.report().await;
    assert_eq!(all.text_of(".status"), "All of it arrived. Close it.");
    assert_eq!(scene.state("Peg").await, "all here");
    let closed = scene.keeper.press(&all, "Close the report", &[]).await;
    assert_eq!(closed.text_of(".status"), "Closed.");
    let list = scene
        .keeper
        .open(&format!("/kits/{}/reports", scene.kit))
        .await;
    assert!(list.has("2 lines short, 1 over"), "{}", list.words());
}

#[tokio::test]
async fn what_it_said_stays_as_it_was_said() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    scene.send().await;
    let more = [(scene.bag, scene.peg, 4)];
    world.delivered(scene.kit, scene.person, &more, false).await;
    let report = scene.report().await;
    let text = report.text_of("#report-text");
    assert!(text.contains("need 20, received 16, 4 short"), "{text}");
    let kit = scene
        .keeper
        .open(&format!("/kits/{}/edit", scene.kit))
        .await;
    scene
        .keeper
        .press(&kit, "Save", &[("name", "Renamed")])
        .await;
    let text = scene.report().await.text_of("#report-text");
    assert!(text.contains("Kit: Kettlehorn"), "{text}");
}

#[tokio::test]
async fn every_step_can_be_taken_back() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let sent = scene.send().await;
    let promise = [("promised-1", "4")];
    let answered = scene
        .keeper
        .press(&sent, "Write the answer down", &promise)
        .await;
    let early = take_back(&scene.keeper, &answered, 1).await;
    early.expect(422, "take back first what happened to it after it was sent");
    let arrived = scene
        .keeper
        .press(&answered, "These arrived", &[("came-1", "4")])
        .await;
    assert_eq!(scene.state("Peg").await, "all here");
    let closed = scene
        .keeper
        .press(
            &arrived,
            "Close the report",
            &[("why", "no lamp to be had")],
        )
        .await;
    let refused = take_back(&scene.keeper, &closed, 3).await;
    refused.expect(422, "this report is closed; take that back first");

    let open = take_back(&scene.keeper, &closed, 4).await;
    assert_eq!(open.told(), "Taken back.");
    assert_eq!(open.row("Peg").unwrap()[3], "4 promised, 4 arrived");
    let gone = take_back(&scene.keeper, &open, 3).await;
    assert_eq!(gone.row("Peg").unwrap()[3], "4 promised");
    assert_eq!(scene.state("Peg").await, "4 still to come");
    let unanswered = take_back(&scene.keeper, &gone, 2).await;
    assert_eq!(unanswered.row("Peg").unwrap()[3], "nothing said yet");
    assert_eq!(scene.state("Peg").await, "4 short");
    let unsent = take_back(&scene.keeper, &unanswered, 1).await;
    assert_eq!(unsent.text_of(".status"), "Not sent after all.");
    assert_eq!(unsent.texts_of("s").len(), 4, "{}", unsent.words());
    let again = take_back(&scene.keeper, &unanswered, 1).await;
    again.expect(422, "this was taken back before");
    world.verify().await;
}

/// Takes a step back, whether the page offers it or not.
async fn take_back(keeper: &Browser<'_>, seen: &Seen, line: i64) -> Seen {
    let id = uuid::Uuid::now_v7().to_string();
    let report = seen.path.trim_end_matches("/take-back");
    let fields = [("form_id", id.as_str()), ("line", &line.to_string())];
    let answer = keeper.post(&format!("{report}/take-back"), &fields).await;
    match answer.header("location") {
        Some(location) => keeper.open(location).await,
        None => answer,
    }
}

#[tokio::test]
async fn what_cannot_be_is_said_at_its_field() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let sent = scene.send().await;
    for (button, typed, told) in [
        (
            "Write the answer down",
            vec![("promised-1", "5")],
            "only 4 were reported short",
        ),
        (
            "Write the answer down",
            vec![("answer-words", "")],
            "write what was answered, or how many of a line are promised",
        ),
        (
            "These arrived",
            vec![("came-1", "many")],
            "write a whole number",
        ),
        (
            "These arrived",
            vec![("came-1", "1"), ("came-day", "2010-01-01")],
            "that is before the report was sent",
        ),
        (
            "Close the report",
            vec![("why", " ")],
            "not all of it arrived: write a word why the rest is given up",
        ),
    ] {
        let again = scene.keeper.press(&sent, button, &typed).await;
        again.expect(422, told);
        assert!(again.text_of("title").starts_with("Error: "));
    }
    // Crew take in what arrives, and do not speak for the team.
    assert!(!scene.crew.open(&sent.path).await.has("They answered"));
    let id = uuid::Uuid::now_v7().to_string();
    let closed = scene
        .crew
        .post(
            &format!("{}/close", sent.path),
            &[("form_id", &id), ("why", "x")],
        )
        .await;
    assert_eq!(closed.status, 403);
}

#[tokio::test]
async fn nothing_short_and_nothing_over_is_no_report() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let form = scene
        .keeper
        .open(&format!("/kits/{}/reports/new", scene.kit))
        .await;
    let take = |part, qty| (scene.bag, part, qty);
    let more = [take(scene.peg, 4), take(scene.lamp, 1)];
    world.delivered(scene.kit, scene.person, &more, false).await;
    let over = scene.keeper.press(&form, "I sent it on", &[]).await;
    assert_eq!(over.status, 200, "one shade is over: {}", over.words());
    let later = scene
        .keeper
        .press(&form, "I sent it on", &[("day", "2999-01-01")])
        .await;
    later.expect(409, "This form was sent before");
    let form = scene
        .keeper
        .open(&format!("/kits/{}/reports/new", scene.kit))
        .await;
    let later = scene
        .keeper
        .press(&form, "I sent it on", &[("day", "2999-01-01")])
        .await;
    later.expect(422, "that day is still to come");
}
