//! Seals: the number on a closed crate, and what it says about the last count.

use fieldstow::ids::{KitId, PersonId, PlaceId};
use fieldstow::people::Role;
use fieldstow::places::Kind;

use crate::support::{Browser, Seen, World};

struct Scene<'w> {
    crew: Browser<'w>,
    person: PersonId,
    kit: KitId,
    van: PlaceId,
    ridge: PlaceId,
    /// Stands in the crate and holds 8 pegs and a lamp.
    bag: PlaceId,
    loose: PlaceId,
}

async fn scene(world: &World) -> Scene<'_> {
    let team = world.team("Nine Larches").await;
    let (person, crew) = world.account("Osk", Some((team, Role::Crew)), false).await;
    let beacon = world.beacon().await;
    let (kit, _) = world.kit(&beacon, person, team, "Kettlehorn", &[]).await;
    let van = world.place(person, team, Kind::Van, "Grey van", None).await;
    let ridge = world
        .place(person, team, Kind::Crate, "Ridge", Some(van))
        .await;
    let bag = world
        .place(person, team, Kind::Bag, "Pegs", Some(ridge))
        .await;
    let loose = world
        .place(person, team, Kind::Bag, "Loose", Some(van))
        .await;
    world
        .receive(person, kit, bag, &[("Peg", 8), ("Lamp", 1)])
        .await;
    world.receive(person, kit, loose, &[("Peg", 2)]).await;
    Scene {
        crew,
        person,
        kit,
        van,
        ridge,
        bag,
        loose,
    }
}

impl Scene<'_> {
    async fn page(&self) -> Seen {
        self.crew.open(&format!("/places/{}", self.ridge)).await
    }

    async fn seal(&self, number: &str) -> Seen {
        let page = self.page().await;
        self.crew
            .press(&page, "It is sealed", &[("number", number)])
            .await
    }

    async fn opened(&self, intact: &str, words: &str) -> Seen {
        let page = self.page().await;
        let fields = [("intact", intact), ("words", words)];
        self.crew.press(&page, "It is open now", &fields).await
    }

    async fn packing_list(&self) -> Seen {
        let path = format!("/places/{}/packing-list", self.ridge);
        self.crew.open(&path).await
    }

    /// Moves pegs from a bag to another.
    async fn take(&self, from: PlaceId, to: PlaceId) -> Seen {
        let form = self.crew.open(&format!("/places/{from}/move")).await;
        let document = form.document();
        let field = document
            .select(&scraper::Selector::parse("main input[name^=qty]").unwrap())
            .find_map(|input| input.attr("name").map(str::to_owned))
            .unwrap_or_else(|| panic!("no quantity in {}", form.html()));
        let to = to.to_string();
        self.crew
            .press(&form, "Move them", &[(&field, "1"), ("to", &to)])
            .await
    }
}

#[tokio::test]
async fn a_sealed_crate_is_trusted_with_the_day_of_its_last_count() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let day = scene.page().await.text_of("tbody td:last-child");
    assert!(!day.is_empty());
    let sealed = scene.seal("0451").await;
    assert_eq!(sealed.text_of("#seal-title"), "Seal 0451");
    let words = sealed.text_of("#seal > p");
    assert!(words.starts_with("As counted on "), "{words}");
    assert!(words.contains("seal 0451, put on "), "{words}");
    assert!(words.ends_with("and not opened since."), "{words}");
    assert_eq!(sealed.told(), words);
    assert!(scene.packing_list().await.has(&words));

    let open = scene.opened("yes", "").await;
    let words = open.text_of("#seal > p");
    assert!(
        words.starts_with("Open. Seal 0451 was intact when"),
        "{words}"
    );
    // Numbers may come again.
    let again = scene.seal("0451").await;
    assert_eq!(again.text_of("#seal-title"), "Seal 0451");
    assert_eq!(again.texts_of("#seal .history li").len(), 3);
}

#[tokio::test]
async fn another_or_a_broken_seal_is_said_loudly_until_it_is_counted_again() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    scene.seal("0451").await;
    let wordless = scene.opened("no", "").await;
    wordless.expect(
        422,
        "write what you found: broken, gone, or the other number",
    );
    let broken = scene.opened("no", "it reads 0452").await;
    let notice = broken.text_of("#seal .caution");
    assert!(notice.contains("was not intact on"), "{notice}");
    assert!(notice.contains("it reads 0452"), "{notice}");
    assert!(
        notice.ends_with("What is in it was not counted since."),
        "{notice}"
    );
    // Half of it counted is not all of it counted.
    world
        .delivered(
            scene.kit,
            scene.person,
            &[(scene.bag, world.part("Peg").await, 0)],
            false,
        )
        .await;
    assert!(!scene.page().await.texts_of("#seal .caution").is_empty());
    world
        .delivered(
            scene.kit,
            scene.person,
            &[(scene.bag, world.part("Lamp").await, 0)],
            false,
        )
        .await;
    let counted = scene.page().await;
    assert!(counted.texts_of("#seal .caution").is_empty());
    let words = counted.text_of("#seal > p");
    assert!(words.contains("counted again since"), "{words}");
}

#[tokio::test]
async fn nothing_goes_into_or_out_of_a_sealed_crate() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    scene.seal("0451").await;
    let refusal = "Ridge is sealed with 0451; say on its page first that it was opened";
    scene
        .take(scene.bag, scene.loose)
        .await
        .expect(422, refusal);
    scene
        .take(scene.loose, scene.bag)
        .await
        .expect(422, refusal);
    let van = scene.van.to_string();
    let form = scene
        .crew
        .open(&format!("/places/{}/carry", scene.bag))
        .await;
    let out = scene
        .crew
        .press(&form, "It is there", &[("to", &van)])
        .await;
    out.expect(422, refusal);
    let nested = scene.crew.open(&format!("/places/{}", scene.bag)).await;
    let nested = scene
        .crew
        .press(&nested, "It is sealed", &[("number", "9")])
        .await;
    nested.expect(
        422,
        "it stands in Ridge, which is sealed with 0451; open that first",
    );

    // The crate itself is carried as it is.
    let form = scene
        .crew
        .open(&format!("/places/{}/carry", scene.ridge))
        .await;
    let carried = scene
        .crew
        .press(&form, "It is there", &[("to", "nowhere")])
        .await;
    assert_eq!(carried.status, 200, "{}", carried.words());
    assert!(
        scene
            .page()
            .await
            .text_of("#seal > p")
            .ends_with("not opened since.")
    );

    // What a count finds in it was found by somebody who opened it.
    world
        .receive(scene.person, scene.kit, scene.bag, &[("Peg", 1)])
        .await;
    let reached = scene.page().await.text_of("#seal .caution");
    assert!(reached.contains("opened without a word"), "{reached}");
    let open = scene.opened("yes", "").await;
    assert!(open.text_of("#seal > p").starts_with("Open."));
    let moved = scene.take(scene.bag, scene.loose).await;
    assert_eq!(moved.status, 200, "{}", moved.words());
    world.verify().await;
}

#[tokio::test]
async fn each_step_about_a_seal_can_be_taken_back() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    scene
        .seal("")
        .await
        .expect(422, "write the number on the seal");
    scene.seal("0451").await;
    let broken = scene.opened("no", "gone").await;
    let sealed = scene.crew.press(&broken, "Take it back", &[]).await;
    assert_eq!(sealed.text_of("#seal-title"), "Seal 0451");
    let none = scene.crew.press(&sealed, "Take it back", &[]).await;
    assert_eq!(none.text_of("#seal-title"), "Seal");
    assert_eq!(none.texts_of("#seal s").len(), 2);
}
