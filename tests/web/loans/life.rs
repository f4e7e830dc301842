//! The whole life of a loan as one: after each step every piece of the kit is accounted for, on the pages and in the
//! ledger.

use std::collections::BTreeMap;

use super::{Scene, crate_field, scene};
use crate::support::{Seen, World};

/// What the pages tell of a part: here, lent out, missing.
type Told = BTreeMap<&'static str, (i64, i64, i64)>;

impl Scene<'_> {
    /// The ledger's sum of a part over all real places and the borrowers, and what is outside by what became of it.
    async fn in_places(&self, part: &str) -> (i64, i64) {
        let part = self.world.part(part).await;
        let mut db = self.world.app.db.read().await.unwrap();
        sqlx::query_as(
            "select coalesce(sum(case when outside = 0 then qty end), 0), \
                 coalesce(sum(case when outside = 1 then qty end), 0) \
             from balance where kit_id = $1 and part_id = $2",
        )
        .bind(self.kit)
        .bind(part)
        .fetch_one(&mut *db)
        .await
        .unwrap()
    }

    /// Reads the moves from the beginning, without balances.
    async fn by_moves(&self, part: &str) -> i64 {
        let part = self.world.part(part).await;
        let mut db = self.world.app.db.read().await.unwrap();
        sqlx::query_scalar(
            "select coalesce(sum( \
                 case when dest.kind <> 'outside' then move.qty else 0 end \
                 - case when source.kind <> 'outside' then move.qty else 0 end), 0) \
             from move \
             join place as source on source.id = move.from_place_id \
             join place as dest on dest.id = move.to_place_id \
             where move.part_id = $1",
        )
        .bind(part)
        .fetch_one(&mut *db)
        .await
        .unwrap()
    }

    /// After a step: what the statement tells, what the page of the kit and of each crate say, what the ledger holds.
    async fn accounted(&self, step: &str, expected: &Told) {
        for (part, (here, lent, missing)) in expected {
            assert_eq!(
                self.stands(part).await,
                (*here, *lent, *missing),
                "{part} after: {step}"
            );
            let (inside, outside) = self.in_places(part).await;
            assert_eq!(inside, here + lent, "{part} in places after: {step}");
            assert_eq!(
                inside + outside,
                0,
                "{part}: nothing is made or lost by: {step}"
            );
            assert_eq!(
                self.by_moves(part).await,
                inside,
                "{part} by moves after: {step}"
            );
            // As a person reads it: the parts page of the kit.
            let page = self.keeper.open(&format!("/kits/{}/parts", self.kit)).await;
            let row = page
                .row(part)
                .unwrap_or_else(|| panic!("{part} on {}", page.words()));
            let shown = row[2].split(' ').next().unwrap_or_default();
            let is_told = shown == here.to_string() || (*here == 0 && shown == "–");
            assert!(is_told, "{part}: {here} here after {step}: {row:?}");
        }
        self.world.verify().await;
    }

    async fn post(&self, path: &str, fields: &[(&str, &str)]) -> Seen {
        let form_id = fieldstow::ids::FormId::new().to_string();
        let mut all = vec![("form_id", form_id.as_str())];
        all.extend_from_slice(fields);
        let seen = self.keeper.post(path, &all).await;
        assert_eq!(seen.status, 303, "{path}: {}", seen.words());
        seen
    }
}

/// 12 pegs and a lamp.
fn told(pegs: (i64, i64, i64), lamp: (i64, i64, i64)) -> Told {
    BTreeMap::from([("Peg", pegs), ("Lamp", lamp)])
}

#[tokio::test]
async fn every_piece_is_accounted_for_from_the_asking_to_the_piece_that_is_found_later() {
    let world = World::empty().await;
    let s = scene(&world).await;
    let all_home = told((12, 0, 0), (1, 0, 0));
    s.accounted("arriving", &all_home).await;

    // Asked and agreed: nothing moves.
    let form = s.other.open(&format!("/kits/{}/ask", s.kit)).await;
    let days = [("out_on", "2027-03-04"), ("due_on", "2027-03-14")];
    let asked = s.other.press(&form, "Ask for it", &days).await;
    let page = s.keeper.open(&asked.path).await;
    let agreed = s.keeper.press(&page, "Agree to lend it", &[]).await;
    s.accounted("agreeing", &all_home).await;

    // Out: all of it is with the borrower, and short now but not for good.
    let form = s.keeper.click(&agreed, "Hand it out").await;
    let fields = [("not_counted", "sealed since it came")];
    let loan = s.keeper.press(&form, "It is handed out", &fields).await;
    loan.expect(200, "Upper Quern has it");
    let out = told((0, 12, 0), (0, 1, 0));
    s.accounted("handing out", &out).await;
    let page = s.other.open(&loan.path).await;
    let yes = [("there", "yes")];
    s.other.press(&page, "Say it to the lender", &yes).await;

    // Moss is handed on, with a count of its own.
    let page = s.other.open(&loan.path).await;
    let form = s.other.click(&page, "Hand some of it on").await;
    let tick = format!("crate-{}", s.moss);
    let fields = [
        ("to", "Tin Mill"),
        ("to_contact", "the miller"),
        ("onward_why", "they build the gates"),
        (tick.as_str(), "yes"),
    ];
    s.other.press(&form, "Ask the lender", &fields).await;
    let page = s.keeper.open(&loan.path).await;
    s.keeper.press(&page, "Yes, they may", &[]).await;
    s.accounted("agreeing to hand on", &out).await;
    let (peg, lamp) = (world.part("Peg").await, world.part("Lamp").await);
    let (in_ridge, in_moss) = (s.back_field(s.ridge, peg), s.back_field(s.moss, peg));
    let page = s.other.open(&loan.path).await;
    let form = s.other.click(&page, "It is handed on").await;
    let counted = [("counted", "counted"), (in_moss.as_str(), "4")];
    s.other.press(&form, "It is handed on", &counted).await;
    s.accounted("handing on", &out).await;
    s.keeper
        .open(&format!("/places/{}", s.moss))
        .await
        .expect(200, "With Tin Mill");

    // Partly back: Ridge lacks three pegs and the lamp, one of its pegs broke, a glove lies in it.
    let back = format!("{}/back", loan.path);
    let (ridge, moss) = (crate_field(s.ridge), crate_field(s.moss));
    let lamps = s.back_field(s.ridge, lamp);
    let broken = in_ridge.replacen("back-", "broken-", 1);
    let others = ridge.replacen("crate-", "others-", 1);
    let form = s.keeper.open(&back).await;
    let fields = [
        (ridge.as_str(), "counted"),
        (in_ridge.as_str(), "5"),
        (broken.as_str(), "1"),
        (lamps.as_str(), "0"),
        (others.as_str(), "a red glove"),
    ];
    let partly = s.keeper.press(&form, "Record what is back", &fields).await;
    partly
        .expect(200, "3 Peg, black (B-4) missing, from Ridge")
        .expect(200, "1 Lamp (B-5) missing, from Ridge")
        .expect(200, "1 Peg, black (B-4) broken, in Ridge")
        .expect(200, "Not ours: a red glove");
    // Four usable and one broken here; three owed and four of Moss with others.
    assert_eq!(s.in_places("Peg").await.0, 12);
    s.accounted_but_broken("coming back in part", (4, 7, 0), 1)
        .await;

    // The rest on another day: Moss has three too many. Two of them are those that Ridge lacked.
    world.clock.advance_minutes(60);
    let form = s.keeper.open(&back).await;
    let fields = [(moss.as_str(), "counted"), (in_moss.as_str(), "8")];
    let rest = s.keeper.press(&form, "Record what is back", &fields).await;
    rest.expect(200, "3 Peg, black (B-4) in the wrong crate, now in Moss")
        .expect(200, "3 came home.")
        .expect(200, "1 Peg, black (B-4) extra, in Moss");
    s.accounted_but_broken("coming back in another crate", (11, 0, 0), 1)
        .await;
    assert_eq!(s.qty(s.moss, "Peg").await, 7);
    assert_eq!(s.stands("Lamp").await, (0, 1, 0));

    // Agreed about, with names from each side: the lender proposes, the borrower agrees or they write both down.
    let lines: Vec<(String, &str)> = [
        ("1 Lamp (B-5) missing, from Ridge", "borrower replaces"),
        ("1 Peg, black (B-4) broken, in Ridge", "wear"),
        ("Not ours: a red glove", "goes back"),
        ("1 Peg, black (B-4) extra, in Moss", "ours"),
    ]
    .map(|(what, agreement)| (line_of(&rest, what), agreement))
    .into();
    let answered = [
        (
            "Answer: 1 Lamp (B-5) missing, from Ridge",
            "the borrower replaces it; nobody pays. Said by Ama Quill and Ivo.",
        ),
        (
            "Answer: 1 Peg, black (B-4) broken, in Ridge",
            "it is wear; nobody pays. Said by Ama Quill and Ivo.",
        ),
    ];
    for (nth, (line, agreement)) in lines.iter().enumerate() {
        let path = format!("{}/differences/{line}", loan.path);
        let mut fields = vec![
            ("agreement", *agreement),
            ("pays", "nobody"),
            ("lender_name", "Ama Quill"),
        ];
        if let Some((answer, told)) = answered.get(nth) {
            fields.push(("propose", "yes"));
            s.post(&path, &fields).await;
            let page = s.other.open(&loan.path).await;
            let agrees = format!("agrees-{line}");
            let name = format!("name-{line}");
            let fields = [(agrees.as_str(), "yes"), (name.as_str(), "Ivo")];
            s.other
                .press(&page, answer, &fields)
                .await
                .expect(200, told);
        } else {
            fields.push(("borrower_name", "Ivo"));
            s.post(&path, &fields).await;
        }
        let laid = [("stretch", "0"), ("words", "as both remember")];
        s.post(&format!("{path}/laid"), &laid).await;
    }
    s.accounted_but_broken("agreeing about what differs", (11, 0, 0), 1)
        .await;

    // Closed: the lamp is missing, the extra peg is ours.
    let page = s.keeper.open(&loan.path).await;
    let closed = s.keeper.press(&page, "Close the loan", &[]).await;
    closed.expect(200, "The loan is closed.");
    s.accounted_but_broken("closing", (12, 0, 0), 1).await;
    assert_eq!(s.stands("Lamp").await, (0, 0, 1));

    // Found later: one form, and nothing is reopened.
    let home = "It is home: 1 Lamp (B-5) missing, from Ridge";
    s.keeper
        .press(&closed, home, &[("qty", "1")])
        .await
        .expect(200, "The loan is closed.");
    s.accounted_but_broken("finding the lamp", (12, 0, 0), 1)
        .await;
    assert_eq!(s.stands("Lamp").await, (1, 0, 0));
    assert_eq!(s.in_places("Lamp").await, (1, -1));

    // What happened is all there, for both sides, each with its own people only.
    let page = s.other.open(&loan.path).await;
    for step in [
        "asked",
        "agreed",
        "handed out",
        "says that all of it is there",
        "asks to hand on",
        "says yes to handing on",
        "handed on",
        "came back",
        "proposes",
        "agreed about",
        "closed",
        "came home",
    ] {
        page.expect(200, step);
    }
    assert!(!page.has("Ama :"), "of people only its own");
    s.keeper.open(&loan.path).await.expect(200, "Ama :");
}

impl Scene<'_> {
    /// The same for pegs of which some are broken: those are in places, but neither here nor lent.
    async fn accounted_but_broken(&self, step: &str, pegs: (i64, i64, i64), broken: i64) {
        assert_eq!(self.stands("Peg").await, pegs, "pegs after: {step}");
        let (inside, outside) = self.in_places("Peg").await;
        assert_eq!(
            inside,
            pegs.0 + pegs.1 + broken,
            "pegs in places after: {step}"
        );
        assert_eq!(inside + outside, 0, "nothing is made or lost by: {step}");
        assert_eq!(
            self.by_moves("Peg").await,
            inside,
            "pegs by moves after: {step}"
        );
        let (lamps, lamps_outside) = self.in_places("Lamp").await;
        let (here, lent, _) = self.stands("Lamp").await;
        assert_eq!(lamps, here + lent, "lamps after: {step}");
        assert_eq!(lamps + lamps_outside, 0);
        // Crate by crate, as a person reads it.
        for place in [self.ridge, self.moss] {
            let page = self.keeper.open(&format!("/places/{place}")).await;
            let held = self.qty(place, "Peg").await;
            assert!(
                held == 0 || page.has(&held.to_string()) || broken > 0,
                "{held} pegs on {} after {step}",
                page.words()
            );
        }
        self.world.verify().await;
    }
}

/// The line of a difference on the page of its loan.
fn line_of(page: &Seen, what: &str) -> String {
    let selector = scraper::Selector::parse("#differs ~ section h3").unwrap();
    let document = page.document();
    let heading = document
        .select(&selector)
        .find(|heading| heading.text().collect::<String>().trim() == what)
        .unwrap_or_else(|| panic!("“{what}” is not on {}", page.words()));
    let id = heading.value().attr("id").unwrap();
    id.trim_start_matches("differs-").to_owned()
}
