//! Asking, what each side sees, the sheet, and Today.

use fieldstow::people::Role;

use super::{crate_field, scene, team_called};
use crate::support::World;

#[tokio::test]
async fn a_team_asks_and_is_answered() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let ask = async || {
        let form = s.other.open(&format!("/kits/{}/ask", s.kit)).await;
        let team = form.attribute("#team option", "value").unwrap();
        let fields = [
            ("team", team.as_str()),
            ("out_on", "2027-03-10"),
            ("due_on", "2027-03-14"),
            ("purpose", "Open day"),
        ];
        s.other.press(&form, "Ask for it", &fields).await
    };
    let asked = ask().await;
    asked.expect(200, "Upper Quern asks Nine Larches for it");
    let page = s.keeper.open(&asked.path).await;
    s.keeper
        .press(&page, "Decline", &[])
        .await
        .expect(422, "say in a word why not");
    let page = s.keeper.open(&asked.path).await;
    s.keeper
        .press(&page, "Decline", &[("why", "we need it ourselves")])
        .await
        .expect(200, "Nine Larches declined");
    s.other
        .open(&asked.path)
        .await
        .expect(200, "declined: we need it ourselves");

    let asked = ask().await;
    let page = s.other.open(&asked.path).await;
    s.other
        .press(&page, "We need it no more", &[])
        .await
        .expect(200, "asks no more");

    let asked = ask().await;
    let page = s.keeper.open(&asked.path).await;
    let agreed = s.keeper.press(&page, "Agree to lend it", &[]).await;
    agreed.expect(200, "Nine Larches agreed to lend it to Upper Quern");
    let form = s.keeper.click(&agreed, "Hand it out").await;
    let fields = [("not_counted", "sealed since the last count")];
    let out = s.keeper.press(&form, "It is handed out", &fields).await;
    out.expect(200, "Upper Quern has it, due back on 14 Mar 2027");
    assert_eq!(out.path, asked.path);
}

#[tokio::test]
async fn each_side_sees_its_own_people_only_and_strangers_nothing() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s
        .lend(&[
            ("contact", "a telephone nobody answers"),
            ("purpose", "Open day"),
        ])
        .await;
    let sheet = format!("{}/sheet", loan.path);
    for path in [&loan.path, &sheet] {
        let theirs = s.other.open(path).await;
        theirs.expect(200, "Upper Quern").expect(200, "Open day");
        for hidden in ["Ama", "a telephone", "/places/", "/entries/", "Cellar"] {
            assert!(!theirs.html().contains(hidden), "{path} tells {hidden}");
        }
    }
    s.keeper.open(&loan.path).await.expect(200, "Ama");
    let theirs = s.other.open(&loan.path).await;
    for button in ["Count it back", "It may stay", "It was a mistake"] {
        assert!(!theirs.has(button), "the borrower is not asked: {button}");
    }
    let back = s.other.open(&format!("{}/back", loan.path)).await;
    assert_eq!(back.status.as_u16(), 403);
    s.other
        .open("/lend")
        .await
        .expect(200, "With us, to give back");

    let third = world.team("Saddle Post").await;
    let stranger = world.person("Cy", third, Role::Keeper).await;
    for path in [&loan.path, &sheet] {
        assert_eq!(stranger.open(path).await.status.as_u16(), 403);
        let nobody = world.browser();
        assert!(nobody.open(path).await.path.starts_with("/sign-in"));
    }
    assert!(!stranger.open("/loans").await.has("Kettlehorn"));
    assert!(!s.keeper.open("/loans").await.has("Nothing was lent"));
}

#[tokio::test]
async fn the_sheet_says_what_was_so_already() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let ridge = s.keeper.open(&format!("/places/{}", s.ridge)).await;
    s.keeper
        .press(&ridge, "It is sealed", &[("number", "0451")])
        .await
        .expect(200, "Seal 0451");
    let loan = s.lend(&[]).await;
    let sheet = s.keeper.open(&format!("{}/sheet", loan.path)).await;
    for words in [
        "Loan of Kettlehorn",
        "by the end of 14 Mar 2027",
        "Not counted before it left: in a hurry",
        "Already so when it left",
        "short",
        "For the lender",
        "For the borrower",
        "As counted on 4 Mar 2027, seal 0451, put on 4 Mar 2027 and not opened since.",
        "CAUTION",
        "The maker’s guide, local rules and trained people come first.",
    ] {
        sheet.expect(200, words);
    }
    let code = world.code(s.ridge.0).await;
    sheet.expect(200, &code);
}

#[tokio::test]
async fn a_kit_that_is_not_in_the_books_yet_is_not_called_short_of_everything() {
    let world = World::empty().await;
    let larches = world.team("Nine Larches").await;
    world.team("Upper Quern").await;
    let (ama, keeper) = world
        .account("Ama", Some((larches, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (kit, _) = world
        .kit(&beacon, ama, larches, "Long Gable", &["Bag 1"])
        .await;
    let form = keeper.open(&format!("/kits/{kit}/lend")).await;
    let fields = [
        ("borrower", "upper quern"),
        ("due_on", "2027-03-14"),
        ("not_counted", "it came today"),
    ];
    let loan = keeper.press(&form, "It is handed out", &fields).await;
    let sheet = keeper.open(&format!("{}/sheet", loan.path)).await;
    sheet.expect(200, "Bag 1").expect(
        200,
        "The books held no pieces of it when it left: count it together before you sign.",
    );
    assert!(!sheet.has("short"), "{}", sheet.words());
}

#[tokio::test]
async fn today_says_what_is_due_and_overdue() {
    let world = World::empty().await;
    let s = scene(&world).await;
    s.lend(&[("due_on", "2027-03-06")])
        .await
        .expect(200, "Loan");
    s.keeper
        .open("/")
        .await
        .expect(200, "Count Kettlehorn back from Upper Quern")
        .expect(200, "Loan 1, due back on 6 Mar 2027, in 2 days");
    world.clock.advance_minutes(4 * 24 * 60);
    let (_, keeper) = world
        .account("Ama again", Some((s.larches, Role::Keeper)), false)
        .await;
    keeper
        .open("/")
        .await
        .expect(200, "overdue")
        .expect(200, "Loan 1, due back on 6 Mar 2027: 2 days overdue");
}

#[tokio::test]
async fn each_side_hears_on_today_what_the_other_answered() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let ask = async || {
        let form = s.other.open(&format!("/kits/{}/ask", s.kit)).await;
        let days = [("out_on", "2027-03-04"), ("due_on", "2027-03-14")];
        s.other.press(&form, "Ask for it", &days).await
    };
    // Whoever is asked hears it before all that is merely due.
    let asked = ask().await;
    s.keeper
        .open("/")
        .await
        .expect(200, "Upper Quern asks for Kettlehorn");
    let page = s.keeper.open(&asked.path).await;
    let why = [("why", "we need it ourselves")];
    s.keeper.press(&page, "Decline", &why).await;
    let today = s.other.open("/").await;
    today
        .expect(200, "What others answered")
        .expect(200, "Nine Larches declined Kettlehorn");
    assert!(
        !s.keeper
            .open("/")
            .await
            .has("Upper Quern asks for Kettlehorn")
    );
    world.clock.advance_minutes(8 * 24 * 60);
    let keeper = |name| world.person(name, s.larches, Role::Keeper);
    let quern = team_called(&world, "Upper Quern").await;
    let other = world.person("Ivo again", quern, Role::Keeper).await;
    assert!(!other.open("/").await.has("declined"), "news for a week");

    let ama = keeper("Ama again").await;
    let form = other.open(&format!("/kits/{}/ask", s.kit)).await;
    let days = [("out_on", "2027-03-12"), ("due_on", "2027-03-14")];
    let asked = other.press(&form, "Ask for it", &days).await;
    let page = ama.open(&asked.path).await;
    let agreed = ama.press(&page, "Agree to lend it", &[]).await;
    other
        .open("/")
        .await
        .expect(200, "Nine Larches lends us Kettlehorn")
        .expect(200, "Agreed, 12 Mar 2027 to 14 Mar 2027");
    let form = ama.click(&agreed, "Hand it out").await;
    let fields = [("not_counted", "sealed since it came")];
    let loan = ama.press(&form, "It is handed out", &fields).await;
    assert!(!other.open("/").await.has("What others answered"));

    // A yes to handing on, and what is proposed about a difference.
    let form = other.open(&format!("{}/onward", loan.path)).await;
    let tick = format!("crate-{}", s.moss);
    let fields = [
        ("to", "Tin Mill"),
        ("to_contact", "the miller"),
        ("onward_why", "they build the gates"),
        (tick.as_str(), "yes"),
    ];
    other.press(&form, "Ask the lender", &fields).await;
    ama.open("/")
        .await
        .expect(200, "Upper Quern asks to hand some of Kettlehorn on");
    let page = ama.open(&loan.path).await;
    ama.press(&page, "Yes, they may", &[]).await;
    other
        .open("/")
        .await
        .expect(200, "We may hand some of Kettlehorn on");
    let page = other.open(&loan.path).await;
    other
        .press(&page, "It is not handed on to Tin Mill", &[])
        .await;

    let peg = world.part("Peg").await;
    let form = ama.open(&format!("{}/back", loan.path)).await;
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let pegs = s.back_field(s.moss, peg);
    let fields = [
        (ridge.as_str(), "as it is"),
        (moss.as_str(), "counted"),
        (pegs.as_str(), "3"),
    ];
    let back = ama.press(&form, "Record what is back", &fields).await;
    back.expect(200, "One difference is to be agreed about.");
    ama.open("/").await.expect(200, "Agree about Kettlehorn");
    let proposal = [
        ("agreement", "wear"),
        ("pays", "nobody"),
        ("lender_name", "Ama"),
    ];
    ama.press(&back, "Ask the borrower first", &proposal).await;
    other
        .open("/")
        .await
        .expect(200, "Answer Nine Larches about Kettlehorn");
    let page = other.open(&loan.path).await;
    let answer = "Answer: 1 Peg, black (B-4) missing, from Moss";
    other
        .press(&page, answer, &[("agrees-1", "yes"), ("name-1", "Ivo")])
        .await
        .expect(
            200,
            "agreed: 1 Peg, black (B-4) missing, from Moss: It is wear",
        );
    assert!(!other.open("/").await.has("What others answered"));
    ama.open("/")
        .await
        .expect(200, "Close the loan of Kettlehorn")
        .expect(200, "nothing is left to agree about");
    let page = ama.open(&loan.path).await;
    page.expect(
        200,
        "1 piece that did not come back leaves the books, as missing or worn out.",
    );
    ama.press(&page, "Close the loan", &[]).await.expect(
        200,
        "Upper Quern had it on 12 Mar 2027. The loan is closed.",
    );
    world.verify().await;
}

#[tokio::test]
async fn many_loans_leave_room_for_what_waits_for_an_answer() {
    let world = World::empty().await;
    let s = scene(&world).await;
    for place in [s.ridge, s.moss] {
        let tick = format!("crate-{place}");
        s.lend(&[("due_on", "2027-03-05"), (tick.as_str(), "yes")])
            .await;
    }
    for n in 0..5 {
        let name = format!("Crate {n}");
        let parent = Some(s.store);
        let ama = world.account("Uli", None, false).await.0;
        let place = world
            .place(
                ama,
                s.larches,
                fieldstow::places::Kind::Crate,
                &name,
                parent,
            )
            .await;
        world.receive(ama, s.kit, place, &[("Peg", 1)]).await;
        let tick = format!("crate-{place}");
        s.lend(&[("due_on", "2027-03-05"), (tick.as_str(), "yes")])
            .await
            .expect(200, "Loan");
    }
    let form = s.other.open(&format!("/kits/{}/ask", s.kit)).await;
    let days = [("out_on", "2027-03-20"), ("due_on", "2027-03-24")];
    s.other.press(&form, "Ask for it", &days).await;
    let today = s.keeper.open("/").await;
    assert_eq!(
        today.texts_of("#lent + ul .name")[0],
        "Upper Quern asks for Kettlehorn"
    );
    today.expect(200, "3 more under Lend");
}
