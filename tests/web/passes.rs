//! Helper passes: made for an event, opened by first name, ended by one press or with the event; what is told with
//! one waits like every report without an account.

use fieldstow::ids::{KitId, PlaceId, TeamId};
use fieldstow::people::Role;

use crate::support::{Browser, Seen, World};

struct Meeting<'w> {
    world: &'w World,
    team: TeamId,
    keeper: Browser<'w>,
    kit: KitId,
    bag: PlaceId,
    event: Seen,
}

/// A kit with 20 pegs that goes to an event on 20 and 21 March; today is the 4th.
async fn meeting(world: &World) -> Meeting<'_> {
    let team = world.team("Nine Larches").await;
    let (ama, keeper) = world
        .account("Ama Quill", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, bags) = world
        .kit(&beacon, ama, team, "Kettlehorn", &["Bag 1"])
        .await;
    world.receive(ama, kit, bags[0], &[("Peg", 20)]).await;
    let form = keeper.open("/events/new").await;
    let typed = [
        ("name", "Three Passes Meeting"),
        ("first_on", "2027-03-20"),
        ("last_on", "2027-03-21"),
    ];
    let event = keeper.press(&form, "Add the event", &typed).await;
    let event = keeper
        .press(&event, "It goes", &[("kit", &kit.to_string())])
        .await;
    Meeting {
        world,
        team,
        keeper,
        kit,
        bag: bags[0],
        event,
    }
}

impl<'w> Meeting<'w> {
    /// Makes the pass; answers its page and its code.
    async fn pass(&self) -> (Seen, String) {
        let page = self.keeper.click(&self.event, "Helper pass").await;
        let page = self.keeper.press(&page, "Make the pass", &[]).await;
        let code = page.text_of("main .code .plain");
        (page, code)
    }

    async fn opened(&self, code: &str, name: &str) -> (Browser<'w>, Seen) {
        let phone = self.world.browser();
        let ask = phone.open("/pass").await;
        let begin = phone.press(&ask, "Open the pass", &[("code", code)]).await;
        let helping = phone
            .press(&begin, "I am helping", &[("first_name", name)])
            .await;
        (phone, helping)
    }
}

#[tokio::test]
async fn a_helper_gives_a_first_name_and_what_they_tell_waits_for_crew() {
    let world = World::empty().await;
    let meeting = meeting(&world).await;
    let (page, code) = meeting.pass().await;
    page.expect(200, "Nobody yet.")
        .expect(200, "until the end of 21 Mar 2027");

    let (phone, helping) = meeting.opened(&code, "Sam").await;
    helping.expect(200, "You are Sam, helper, until the end of 21 Mar 2027.");
    let krate = helping.attribute(".jobs a", "href").expect("a crate");
    let inside = phone.open(&krate).await;
    let form = phone
        .click(&inside, "Something is broken, missing or out of place")
        .await;
    form.expect(200, "Told as Sam, helper at Three Passes Meeting.");
    phone
        .press(&form, "Tell them", &[("note", "a peg is split")])
        .await
        .expect(200, "Thank you");
    let good: i64 = {
        let mut db = world.app.db.read().await.unwrap();
        sqlx::query_scalar("select sum(qty) from balance where kit_id = $1 and outside = 0")
            .bind(meeting.kit)
            .fetch_one(&mut *db)
            .await
            .unwrap()
    };
    assert_eq!(good, 20, "a pass moves nothing");

    let list = meeting.keeper.open("/damage?show=waiting").await;
    list.expect(200, "by Sam, helper, at Three Passes Meeting.");
    let slip = list.attribute(".jobs a", "href").expect("a report");
    meeting
        .keeper
        .open(&slip)
        .await
        .expect(200, "told by Sam, helper");
    let page = meeting.keeper.open(&page.path).await;
    page.expect(200, "Sam, since 4 Mar 2027, 18:00");

    // Another team's crates know nothing of the pass.
    let other = world.team("Hobnail Bridge").await;
    let (dot, _) = world
        .account("Dot", Some((other, Role::Keeper)), false)
        .await;
    let theirs = world
        .place(dot, other, fieldstow::places::Kind::Crate, "Far", None)
        .await;
    let theirs = world.code(theirs.0).await;
    let form = phone.open(&format!("/c/{theirs}/tell")).await;
    assert!(!form.words().contains("helper"), "{}", form.words());
    world.verify().await;
}

#[tokio::test]
async fn a_pass_is_ended_by_one_press_and_ends_with_the_event() {
    let world = World::empty().await;
    let meeting = meeting(&world).await;
    let (page, code) = meeting.pass().await;
    let (phone, _) = meeting.opened(&code, "Sam").await;
    let ended = meeting.keeper.press(&page, "End it now", &[]).await;
    ended
        .expect(200, "Nine Larches (ended)")
        .expect(200, "Sam, since");
    phone
        .open("/helping")
        .await
        .expect(403, "Scan the pass again");
    let bag = world.code(meeting.bag.0).await;
    let form = phone.open(&format!("/c/{bag}/tell")).await;
    assert!(!form.words().contains("Told as Sam"));
    let (_, refused) = (
        &phone,
        phone
            .open(&format!("/pass/{}", code.replace('-', "")))
            .await,
    );
    refused.expect(404, "No pass with this code holds");

    // A new one has another code, and ends by itself when the last day is over.
    let (_, again) = meeting.pass().await;
    assert_ne!(again, code);
    let (phone, _) = meeting.opened(&again, "Uli").await;
    world.clock.advance_minutes(17 * 24 * 60);
    phone.open("/helping").await.expect(200, "You are Uli");
    world.clock.advance_minutes(24 * 60);
    phone
        .open("/helping")
        .await
        .expect(403, "Scan the pass again");
}

#[tokio::test]
async fn what_cannot_be_is_refused_and_codes_cannot_be_tried_out() {
    let world = World::empty().await;
    let meeting = meeting(&world).await;
    let (_, code) = meeting.pass().await;
    let phone = world.browser();
    let begin = phone
        .open(&format!("/PASS/{}", code.replace('-', "")))
        .await;
    for (name, sentence) in [
        ("", "write your first name"),
        ("sam@quern.example", "write your first name alone"),
        ("a very long name of more than forty letters", "at most 40"),
    ] {
        let again = phone
            .press(&begin, "I am helping", &[("first_name", name)])
            .await;
        again.expect(422, sentence);
        assert_eq!(
            again.attribute("#first_name", "value").as_deref(),
            Some(name)
        );
    }
    let ask = phone.open("/pass").await;
    phone
        .press(&ask, "Open the pass", &[("code", "7K3")])
        .await
        .expect(422, "six characters");
    let mut answers = Vec::new();
    for _ in 0..40 {
        let ask = phone.open("/pass").await;
        let seen = phone
            .press(&ask, "Open the pass", &[("code", "000000")])
            .await;
        answers.push(seen.status.as_u16());
    }
    assert!(
        answers.contains(&422) && answers.ends_with(&[429]),
        "{answers:?}"
    );

    // Only those whose kits go make a pass; others do not see this one.
    let other = world.team("Hobnail Bridge").await;
    let dot = world.person("Dot", other, Role::Keeper).await;
    let page = format!("{}/pass", meeting.event.path);
    let seen = dot.open(&page).await;
    seen.expect(200, "None of your team’s kits does yet.");
    assert!(!seen.html().contains(&code));
    let team = meeting.team.to_string();
    let form_id = uuid::Uuid::now_v7().to_string();
    let fields = [("form_id", form_id.as_str()), ("team", team.as_str())];
    dot.post(&page, &fields)
        .await
        .expect(403, "Only members of the team");
}

#[tokio::test]
async fn helpers_see_no_people_e_mails_or_borrowers() {
    let world = World::empty().await;
    let meeting = meeting(&world).await;
    let (_, code) = meeting.pass().await;
    let (phone, helping) = meeting.opened(&code, "Sam").await;
    let bag = world.code(meeting.bag.0).await;
    let plain = code.replace('-', "");
    let stranger = world.browser();
    let pages = [
        helping,
        phone.open(&format!("/pass/{plain}")).await,
        phone.open(&format!("/c/{bag}/inside")).await,
        phone.open(&format!("/c/{bag}/tell")).await,
        stranger.open("/pass").await,
        stranger.open(&format!("/c/{bag}/inside")).await,
        stranger.open(&format!("/c/{bag}/tell")).await,
    ];
    for page in pages {
        assert_eq!(page.status, 200, "{}", page.path);
        let html = page.html();
        for word in ["Ama", "Quill", "@", "EUR", "€", "price", "borrow", "lent"] {
            assert!(!html.contains(word), "{word} on {}", page.path);
        }
        assert!(html.contains("noindex"), "{}", page.path);
        assert!(html.len() < 50_000, "{} bytes on {}", html.len(), page.path);
    }
    let stopped = phone.open("/helping").await;
    let stopped = phone
        .press(&stopped, "I am done: forget the pass on this phone", &[])
        .await;
    stopped.expect(200, "Scan it, or type its code.");
    assert_eq!(phone.open("/helping").await.status, 403);
}
