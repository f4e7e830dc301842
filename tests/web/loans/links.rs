//! Loan links: for a borrower outside the league, opened on a phone, until the loan is closed or the link withdrawn.

use super::{Scene, crate_field, scene};
use crate::support::{Browser, Seen, World};

impl<'w> Scene<'w> {
    /// Lends all of it to somebody outside the league.
    pub(super) async fn lend_outside(&self) -> Seen {
        self.lend(&[
            ("borrower", "Tin Mill"),
            ("contact", "the miller, at noon"),
            ("purpose", "Open day"),
        ])
        .await
    }

    /// Makes the link; answers its page and its key.
    pub(super) async fn link(&self, loan: &Seen) -> (Seen, String) {
        let page = self.keeper.click(loan, "Link for the borrower").await;
        let button = if page.has("Make it anew") {
            "Make it anew"
        } else {
            "Make the link"
        };
        let made = self.keeper.press(&page, button, &[]).await;
        made.expect(200, "Shown only now");
        let key = made.text_of(".loan-key");
        (made, key)
    }

    /// Opens a link on a new phone.
    pub(super) async fn phone(&self, key: &str, name: &str) -> (Browser<'w>, Seen) {
        let phone = self.world.browser();
        let ask = phone.open("/lent/open").await;
        let begin = phone.press(&ask, "Open the loan", &[("key", key)]).await;
        let shown = phone
            .press(&begin, "Open the loan", &[("name", name)])
            .await;
        (phone, shown)
    }
}

#[tokio::test]
async fn a_borrower_outside_the_league_sees_the_loan_and_says_what_differs_at_the_start() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend_outside().await;
    let (_, key) = s.link(&loan).await;
    let (phone, shown) = s.phone(&key, "Ivo Mill").await;
    for words in [
        "Loan 1: Kettlehorn",
        "Tin Mill has it, due back on 14 Mar 2027, in 10 days.",
        "Nine Larches",
        "Open day",
        "Ridge",
        "Moss",
        "Not counted before it left: in a hurry",
        "Already so when it left",
    ] {
        shown.expect(200, words);
    }
    let say = "Say it to the lender";
    phone
        .press(&shown, say, &[])
        .await
        .expect(422, "say whether all of it is there");
    let refused = phone.press(&shown, say, &[("there", "no")]).await;
    refused.expect(422, "say what differs");
    let differs = [("there", "no"), ("differs", "one peg is split")];
    phone
        .press(&refused, say, &differs)
        .await
        .expect(200, "The lender sees what you said.")
        .expect(200, "said on 4 Mar 2027 that it differs: one peg is split");
    let page = s.keeper.open(&loan.path).await;
    page.expect(
        200,
        "Ivo Mill of Tin Mill said on 4 Mar 2027 that it differs: one peg is split",
    )
    .expect(
        200,
        "Ivo Mill of Tin Mill : says that something differs: one peg is split",
    );
    s.keeper
        .open(&format!("{}/sheet", loan.path))
        .await
        .expect(200, "that it differs: one peg is split");

    // What is told of damage waits for the lender, signed with the name; nothing has moved.
    let tell = shown.attribute("a[href$='/tell']", "href").unwrap();
    let form = phone.open(&tell).await;
    form.expect(200, "Told as Ivo Mill, loan 1.");
    phone
        .press(&form, "Tell them", &[("note", "a plate is cracked")])
        .await
        .expect(200, "Thank you");
    s.keeper
        .open("/damage?show=waiting")
        .await
        .expect(200, "by Ivo Mill, loan 1");
    s.keeper
        .open(&loan.path)
        .await
        .expect(200, "tells of damage: broken,");
    assert_eq!(s.stands("Peg").await, (0, 12, 0));

    // They say it was given back: the lender counts it back.
    let shown = phone.open("/lent").await;
    phone
        .press(
            &shown,
            "We gave it back",
            &[("given", "to Ama at the door")],
        )
        .await
        .expect(200, "The lender sees it, and counts it back.");
    s.keeper
        .open(&loan.path)
        .await
        .expect(200, "says that it was given back: to Ama at the door");
    world.verify().await;
}

#[tokio::test]
async fn a_difference_is_proposed_answered_and_agreed_on_the_phone() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend_outside().await;
    let (_, key) = s.link(&loan).await;
    let (phone, _) = s.phone(&key, "Ivo Mill").await;
    let form = s.keeper.open(&format!("{}/back", loan.path)).await;
    let (peg, lamp) = (world.part("Peg").await, world.part("Lamp").await);
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let (pegs, lamps) = (s.back_field(s.ridge, peg), s.back_field(s.ridge, lamp));
    let fields = [
        (ridge.as_str(), "counted"),
        (moss.as_str(), "as it is"),
        (pegs.as_str(), "7"),
        (lamps.as_str(), "1"),
    ];
    let differs = s.keeper.press(&form, "Record what is back", &fields).await;
    differs.expect(200, "1 Peg, black (B-4) missing, from Ridge");

    // Nothing is proposed: they can only say otherwise.
    let answer = "Answer: 1 Peg, black (B-4) missing, from Ridge";
    let shown = phone.open("/lent").await;
    shown.expect(200, "not agreed yet.");
    assert!(!shown.has("We agree"));
    phone
        .press(&shown, answer, &[("agrees-1", "no"), ("name-1", " ")])
        .await
        .expect(422, "write what you say otherwise")
        .expect(422, "write your name");
    let otherwise = [("agrees-1", "no"), ("otherwise-1", "it lacked before")];
    phone
        .press(&shown, answer, &otherwise)
        .await
        .expect(200, "Tin Mill says otherwise: it lacked before (Ivo Mill).");

    // The lender reads it and proposes; they agree.
    let page = s.keeper.open(&loan.path).await;
    page.expect(200, "Tin Mill says otherwise: it lacked before (Ivo Mill).");
    let ask = "Ask the borrower first";
    s.keeper
        .press(&page, ask, &[])
        .await
        .expect(422, "choose what you propose");
    let fields = [
        ("agreement", "lender’s loss"),
        ("pays", "lender"),
        ("lender_name", "Ama Quill"),
    ];
    s.keeper.press(&page, ask, &fields).await.expect(
        200,
        "Nine Larches proposes: it is the lender’s loss; the lender pays (Ama Quill).",
    );
    let shown = phone.open("/lent").await;
    shown.expect(
        200,
        "Nine Larches proposes: it is the lender’s loss; the lender pays.",
    );
    let agreed = phone.press(&shown, answer, &[("agrees-1", "yes")]).await;
    agreed.expect(200, "it is the lender’s loss; the lender pays.");
    assert!(!agreed.html().contains("Ama Quill"));
    let page = s.keeper.open(&loan.path).await;
    page.expect(200, "Said by Ama Quill and Ivo Mill.");
    s.keeper
        .press(&page, "Close the loan", &[])
        .await
        .expect(200, "The loan is closed.");
    phone
        .open("/lent")
        .await
        .expect(403, "The loan may be closed, or the link withdrawn. If all of it was given back, nothing is left to do");
    world.verify().await;
}

#[tokio::test]
async fn a_link_is_withdrawn_made_anew_and_shown_once() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend_outside().await;
    let (made, first) = s.link(&loan).await;
    assert_eq!(made.header("cache-control"), Some("no-store"));
    let (phone, _) = s.phone(&first, "Ivo").await;
    let page = s.keeper.open(&format!("{}/link", loan.path)).await;
    page.expect(200, "Ivo, since 4 Mar 2027, 18:00");
    let plain = first.replace(['-', ' '], "");
    for shown in [&first, &plain] {
        assert!(!page.html().contains(shown.as_str()), "shown once");
    }

    // Made anew: the first one and its phones see nothing any more.
    let (_, second) = s.link(&loan).await;
    assert_ne!(first, second);
    assert_eq!(phone.open("/lent").await.status, 403);
    let gone = phone.open(&format!("/lent/open/{plain}")).await;
    gone.expect(404, "No such link holds");
    let upper = format!("/LENT/OPEN/{}", second.replace(['-', ' '], ""));
    phone.open(&upper).await.expect(200, "Lent by Nine Larches");

    let (phone, _) = s.phone(&second, "Uli").await;
    let page = s.keeper.open(&format!("{}/link", loan.path)).await;
    s.keeper
        .press(&page, "Withdraw the link", &[])
        .await
        .expect(200, "Withdrawn.");
    assert_eq!(phone.open("/lent").await.status, 403);
    s.keeper
        .open(&loan.path)
        .await
        .expect(200, "link withdrawn");

    // A phone can forget it.
    let (_, third) = s.link(&loan).await;
    let (phone, shown) = s.phone(&third, "Uli").await;
    phone
        .press(&shown, "Forget the loan on this phone", &[])
        .await
        .expect(200, "This phone has forgotten the loan.");
    assert_eq!(phone.open("/lent").await.status, 403);

    // The secrets are nowhere in the database.
    let mut db = world.app.db.read().await.unwrap();
    for key in [first, second, third] {
        let plain = key.replace(['-', ' '], "");
        let found: i64 = sqlx::query_scalar(
            "select count(*) from loan_link where instr(cast(code_hash as text), $1) > 0",
        )
        .bind(&plain)
        .fetch_one(&mut *db)
        .await
        .unwrap();
        assert_eq!(found, 0);
        let hashed: i64 = sqlx::query_scalar("select count(*) from loan_link where code_hash = $1")
            .bind(fieldstow::secret::hash(plain.as_bytes()).to_vec())
            .fetch_one(&mut *db)
            .await
            .unwrap();
        assert_eq!(hashed, 1);
    }
}

#[tokio::test]
async fn a_link_is_for_outsiders_only_and_cannot_be_found_by_trying() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let inside = s.lend(&[]).await;
    assert!(!inside.has("Link for the borrower"));
    let path = format!("{}/link", inside.path);
    s.keeper.open(&path).await.expect(
        200,
        "belongs to the league and sees the loan with an account",
    );
    let form_id = fieldstow::ids::FormId::new().to_string();
    s.keeper
        .post(&path, &[("form_id", &form_id)])
        .await
        .expect(422, "belongs to the league");
    assert_eq!(s.other.open(&path).await.status, 403);

    let phone = world.browser();
    assert_eq!(phone.open("/lent").await.status, 403);
    let ask = phone.open("/lent/open").await;
    phone
        .press(&ask, "Open the loan", &[("key", "7K3-F28")])
        .await
        .expect(422, "eighteen characters");
    let mut answers = Vec::new();
    for _ in 0..40 {
        let fields = [("key", "000000 000000 000000")];
        let seen = phone.press(&ask, "Open the loan", &fields).await;
        answers.push(seen.status.as_u16());
    }
    assert!(
        answers.contains(&422) && answers.ends_with(&[429]),
        "{answers:?}"
    );
}

#[tokio::test]
async fn the_phone_sees_that_loan_and_nothing_else_of_the_lender() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let tick = format!("crate-{}", s.ridge);
    let loan = s
        .lend(&[
            ("borrower", "Tin Mill"),
            ("contact", "the miller, at noon"),
            (tick.as_str(), "yes"),
        ])
        .await;
    let tick = format!("crate-{}", s.moss);
    let other = s
        .lend(&[("purpose", "Secret meeting"), (tick.as_str(), "yes")])
        .await;
    other.expect(200, "Loan 2");
    let (_, key) = s.link(&loan).await;
    let (phone, shown) = s.phone(&key, "Ivo Mill").await;
    let begin = phone
        .open(&format!("/lent/open/{}", key.replace(['-', ' '], "")))
        .await;
    let pages = [shown, begin, phone.open("/lent/open").await];
    for page in &pages {
        assert_eq!(page.status, 200, "{}", page.path);
        let html = page.html();
        for hidden in [
            "Ama",
            "the miller",
            "Upper Quern",
            "Secret meeting",
            "Moss",
            "Loan 2",
            "Cellar",
            "Kolm Works",
            "P-77",
            "/places/",
            "/kits/",
            "/entries/",
            "/people",
            "EUR",
            "€",
            "price",
        ] {
            assert!(!html.contains(hidden), "{hidden} on {}", page.path);
        }
        assert!(html.contains("noindex"), "{}", page.path);
        assert!(html.len() < 50_000, "{} bytes", html.len());
    }
    // Ids of the lender's things are not in it but for codes on the crates themselves.
    for id in [s.kit.to_string(), s.larches.to_string()] {
        assert!(!pages[0].html().contains(&id));
    }

    // Every page that needs an account still does, the loan's own ones included.
    for path in [
        loan.path.as_str(),
        other.path.as_str(),
        "/",
        "/loans",
        "/lend",
        "/damage",
        &format!("{}/sheet", loan.path),
        &format!("{}/back", loan.path),
        &format!("/kits/{}", s.kit),
    ] {
        let seen = phone.open(path).await;
        assert!(seen.path.starts_with("/sign-in"), "{path}: {}", seen.path);
    }
    // A crate of another loan is a stranger's: what is told there is not signed with this loan.
    let code = world.code(s.moss.0).await;
    let form = phone.open(&format!("/c/{code}/tell")).await;
    assert!(!form.has("Told as"), "{}", form.words());
}

#[tokio::test]
async fn a_borrower_in_the_league_says_the_same_with_an_account() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let loan = s.lend(&[]).await;
    let page = s.other.open(&loan.path).await;
    let there = s
        .other
        .press(&page, "Say it to the lender", &[("there", "yes")])
        .await;
    there.expect(
        200,
        "Upper Quern said on 4 Mar 2027 that all of it is there",
    );
    let page = s.keeper.open(&loan.path).await;
    page.expect(200, "Upper Quern : says that all of it is there");
    assert!(
        !page.has("Say it to the lender"),
        "only the borrower says so"
    );
    let page = s.other.open(&loan.path).await;
    s.other
        .press(&page, "We gave it back", &[])
        .await
        .expect(200, "The lender sees it, and counts it back.");
    let form_id = fieldstow::ids::FormId::new().to_string();
    for path in ["count", "given", "differences/1/answer"] {
        let seen = s
            .keeper
            .post(&format!("{}/{path}", loan.path), &[("form_id", &form_id)])
            .await;
        assert_eq!(seen.status, 403, "{path}");
    }
}
