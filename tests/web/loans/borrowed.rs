//! Borrowed in: the borrower's side of a loan, and what comes from outside the league and is never ours.

use fieldstow::people::Role;

use super::{Scene, scene};
use crate::support::{Seen, World};

impl Scene<'_> {
    async fn borrow(&self, fields: &[(&str, &str)]) -> Seen {
        let lend = self.keeper.open("/lend").await;
        let form = self.keeper.click(&lend, "Write in what we borrowed").await;
        self.keeper.press(&form, "Write it in", fields).await
    }

    /// Two green crates with four pegs and some poles, due on the 14th.
    async fn green(&self) -> Seen {
        self.borrow(&[
            ("lender", "Tin Mill"),
            ("contact", "the miller, at noon"),
            ("crates", "two green crates"),
            ("pieces", "4 peg\n2 long pole"),
            ("due_on", "2027-03-14"),
        ])
        .await
    }

    /// Opens a count of the kit and begins to count Ridge.
    async fn counting_ridge(&self) -> Seen {
        let form_id = fieldstow::ids::FormId::new().to_string();
        let fields = [("form_id", form_id.as_str()), ("purpose", "recount")];
        let opened = self
            .keeper
            .post(&format!("/kits/{}/counts", self.kit), &fields)
            .await;
        let count = opened.header("location").expect("a count").to_owned();
        let form_id = fieldstow::ids::FormId::new().to_string();
        let path = format!("{count}/places/{}/stints", self.ridge);
        let begun = self.keeper.post(&path, &[("form_id", &form_id)]).await;
        let stint = begun.header("location").expect("a stint").to_owned();
        self.keeper.open(&stint).await
    }
}

#[tokio::test]
async fn a_borrower_in_the_league_sees_on_today_what_goes_back_to_whom() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[("due_on", "2027-04-14")]).await;
    let today = s.other.open("/").await;
    today
        .expect(200, "With us, to give back")
        .expect(200, "Give Kettlehorn back to Nine Larches")
        .expect(200, "Due back on 14 Apr 2027, in 41 days");
    let href = today.attribute("#with-us + ul a", "href").expect("a loan");
    let page = s.other.open(&href).await;
    assert_eq!(page.path, loan.path);
    page.expect(200, "We gave it back");
    assert!(!s.keeper.open("/").await.has("With us, to give back"));
}

#[tokio::test]
async fn what_comes_from_outside_is_written_in_and_given_back_by_one_form() {
    let world = World::empty().await;
    let s = scene(&world).await;
    s.borrow(&[("due_on", "2027-03-01")])
        .await
        .expect(422, "say whose it is")
        .expect(422, "say what it is")
        .expect(422, "that is before you got it, on 4 Mar 2027");
    let again = s
        .borrow(&[
            ("lender", "Tin Mill"),
            ("pieces", "4 peg\nsome poles"),
            ("due_on", "2027-03-14"),
        ])
        .await;
    again.expect(422, "line 2: write how many, then what");
    assert!(again.text_of("#pieces").contains("some poles"));

    let page = s.green().await;
    page.expect(200, "Borrowed from Tin Mill")
        .expect(200, "With us, due back on 14 Mar 2027, in 10 days.")
        .expect(200, "4 Peg, black (B-4)")
        .expect(200, "2 long pole")
        .expect(200, "the miller, at noon");
    s.keeper
        .open("/")
        .await
        .expect(200, "Give two green crates back to Tin Mill");
    s.keeper
        .open("/lend")
        .await
        .expect(200, "from Tin Mill, due back on 14 Mar 2027");

    let month = s.keeper.open("/calendar").await;
    month
        .expect(200, "Two green crates from Tin Mill")
        .expect(200, "Give two green crates back to Tin Mill");
    assert!(!s.other.open("/calendar").await.has("green crates"));

    // Other teams do not see it.
    assert_eq!(s.other.open(&page.path).await.status, 403);
    let form_id = fieldstow::ids::FormId::new().to_string();
    let fields = [("form_id", form_id.as_str()), ("given_on", "2027-03-04")];
    let back = format!("{}/back", page.path);
    assert_eq!(s.other.post(&back, &fields).await.status, 403);
    let coordinator = world.coordinator("Wen").await;
    let seen = coordinator.open(&page.path).await;
    seen.expect(200, "Tin Mill");
    assert!(!seen.html().contains("the miller"));

    // It goes back on another day, and the change is seen.
    let change = "Change the day";
    s.keeper
        .press(&page, change, &[])
        .await
        .expect(422, "say by which day it goes back");
    for (day, why, said) in [
        ("2027-03-14", "late", "that is the day it goes back already"),
        ("2027-03-01", "late", "that is before you got it"),
        ("2027-03-16", " ", "say in a word why"),
    ] {
        let fields = [("due_on", day), ("later_why", why)];
        s.keeper
            .press(&page, change, &fields)
            .await
            .expect(422, said);
    }
    let fields = [
        ("due_on", "2027-03-16"),
        ("later_why", "the miller is away"),
    ];
    let page = s.keeper.press(&page, change, &fields).await;
    page.expect(200, "With us, due back on 16 Mar 2027, in 12 days.")
        .expect(
            200,
            "Until 16 Mar 2027 instead of 14 Mar 2027: the miller is away.",
        );

    s.keeper
        .press(&page, "It is given back", &[("given_on", "2027-03-09")])
        .await
        .expect(422, "that day is to come");
    let words = [("given_words", "to the miller, one pole cracked")];
    let given = s.keeper.press(&page, "It is given back", &words).await;
    given
        .expect(200, "Given back on 4 Mar 2027.")
        .expect(200, "to the miller, one pole cracked");
    assert!(!s.keeper.open("/").await.has("two green crates"));
    // The days it was with us stay in the month; nobody waits for it any more.
    let month = s.keeper.open("/calendar").await;
    month.expect(200, "Two green crates from Tin Mill");
    assert!(!month.has("Give two green crates back"));
    s.keeper
        .open("/loans")
        .await
        .expect(200, "two green crates");
    s.keeper
        .press(&given, "It was a mistake: it is still with us", &[])
        .await
        .expect(200, "With us, due back on 16 Mar 2027");

    // Crew give it back, keepers write it in.
    let crew = world.person("Sam", s.larches, Role::Crew).await;
    assert_eq!(crew.open("/borrowed/new").await.status, 403);
    let page = crew.open(&page.path).await;
    crew.press(&page, "It is given back", &[])
        .await
        .expect(200, "Given back on 4 Mar 2027.");
}

#[tokio::test]
async fn guest_pieces_are_never_counted_as_ours() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let before = (s.stands("Peg").await, s.qty(s.ridge, "Peg").await);
    let borrowed = s.green().await;
    let statement = s.keeper.open(&format!("/kits/{}/shorts", s.kit)).await;
    assert_eq!((s.stands("Peg").await, s.qty(s.ridge, "Peg").await), before);

    let stint = s.counting_ridge().await;
    let page = s.keeper.click(&stint, "Something in it is not ours").await;
    page.expect(200, "Not ours, in Crate Ridge");
    let wrong = [("qty", "none"), ("what", " ")];
    s.keeper
        .press(&page, "Set it aside", &wrong)
        .await
        .expect(422, "write a number of pieces")
        .expect(422, "say what it is");
    let whose = page
        .attribute("#whose option:nth-child(2)", "value")
        .expect("what is borrowed");
    let fields = [("qty", "2"), ("what", "peg"), ("whose", whose.as_str())];
    let aside = s.keeper.press(&page, "Set it aside", &fields).await;
    aside.expect(200, "2 peg, of Tin Mill. Set aside by Ama.");
    let aside = s
        .keeper
        .press(&aside, "Set it aside", &[("what", "a mitten")])
        .await;
    aside.expect(200, "1 a mitten");
    s.keeper
        .press(&aside, "It is ours: a mitten", &[])
        .await
        .expect(200, "It is ours after all: count it.");
    s.keeper
        .open(&borrowed.path)
        .await
        .expect(200, "2 peg in Ridge, 4 Mar 2027");

    // In no total: of the stint, the books, the need or the shorts.
    let mut db = world.app.db.read().await.unwrap();
    let tallies: i64 = sqlx::query_scalar("select count(*) from tally")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    assert_eq!(tallies, 0);
    drop(db);
    assert_eq!((s.stands("Peg").await, s.qty(s.ridge, "Peg").await), before);
    let after = s.keeper.open(&format!("/kits/{}/shorts", s.kit)).await;
    // Only the way to the count that is open now reads differently.
    let [before, after] = [statement, after].map(|page| page.text_of("main table"));
    assert!(before.contains("Peg"));
    assert_eq!(after, before);
    world.verify().await;

    // Another team's stint is not theirs to write in.
    let path = format!("{}/not-ours", stint.path);
    assert_eq!(s.other.open(&path).await.status, 403);
}
