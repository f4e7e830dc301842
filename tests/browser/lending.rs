//! Lending in a real browser: from Today to a kit that is out in three taps and some typing.

use fieldstow::ids::TeamId;
use fieldstow::people::Role;

use crate::support::{Browser, Stage, Width, Window};

/// A counted kit, somebody who keeps it, and a team to lend it to.
async fn arranged(test: &'static str) -> Option<(Stage, TeamId)> {
    let stage = Stage::set(test).await?;
    let team = stage.world.team("Nine Larches").await;
    stage.world.team("Hobnail Bridge").await;
    let (id, _) = stage
        .world
        .account("Maker of the kit", Some((team, Role::Keeper)), false)
        .await;
    let beacon = stage.world.beacon().await;
    let (kit, bags) = stage
        .world
        .kit(&beacon, id, team, "Kettlehorn", &["Bag 1", "Bag 2"])
        .await;
    let (peg, post) = (
        stage.world.part("Peg").await,
        stage.world.part("Post").await,
    );
    let found = [(bags[0], peg, 20), (bags[1], post, 4)];
    stage.world.delivered(kit, id, &found, false).await;
    Some((stage, team))
}

/// The day a week from now, as a date field takes it.
fn in_a_week(stage: &Stage) -> String {
    stage
        .world
        .app
        .clock
        .now()
        .plus_days(7)
        .day("UTC")
        .to_string()
}

/// Three taps from Today; what is typed is who gets it and by when it is due back.
async fn lend(stage: &Stage, phone: &Window) {
    phone.open("/").await;
    phone.follow("Lend").await; // 1
    phone.follow("Kettlehorn").await; // 2
    phone.fill("Who gets it", "Hobnail Bridge").await;
    phone.fill("Back by the end of", &in_a_week(stage)).await;
    phone.press("It is handed out").await; // 3
    phone.sees("Hobnail Bridge has it").await;
    phone.picture("lent").await;
    phone.is_sound().await;
}

/// What is with the borrower in the books.
async fn out(stage: &Stage) -> (i64, i64) {
    let mut db = stage.world.app.db.read().await.unwrap();
    sqlx::query_as(
        "select count(*), coalesce(sum(balance.qty), 0) \
         from loan_place join balance on balance.place_id = loan_place.place_id and balance.outside = 0 \
         where loan_place.back_at is null",
    )
    .fetch_one(&mut *db)
    .await
    .unwrap()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kit_is_lent_in_three_taps_on_a_phone() {
    let Some((stage, team)) = arranged("lending").await else {
        return;
    };
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let phone = stage.window(&ama, Width::Phone).await;
    lend(&stage, &phone).await;
    assert_eq!(
        out(&stage).await,
        (2, 24),
        "kinds and pieces with the borrower"
    );
    stage.world.verify().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_kit_is_lent_and_counted_back_without_script() {
    let Some((stage, team)) = arranged("lending-without-script").await else {
        return;
    };
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let phone = stage.window_without_script(&ama, Width::Phone).await;
    lend(&stage, &phone).await;
    assert_eq!(
        out(&stage).await,
        (2, 24),
        "kinds and pieces with the borrower"
    );

    // Back by the same few words; what went out is not shown while it is counted.
    phone.follow("Count it back").await;
    phone.sees("Bag 1").await;
    let numbers =
        "return document.querySelector('main form').innerText.split(/\\s+/).includes('20')";
    assert_eq!(
        phone.run(numbers, vec![]).await,
        false,
        "the number that went out is shown"
    );
    phone.is_sound().await;
    phone.picture("back").await;
    stage.world.verify().await;
}

/// The key of a link to the one loan, as its keeper makes it.
async fn linked(stage: &Stage, keeper: &Browser<'_>) -> String {
    let lend = keeper.open("/lend").await;
    let kit = lend.attribute("#which + ul a", "href").expect("a kit");
    let form = keeper.open(&kit).await;
    let day = in_a_week(stage);
    let fields = [
        ("borrower", "Tin Mill"),
        ("contact", "the miller"),
        ("due_on", day.as_str()),
    ];
    let loan = keeper.press(&form, "It is handed out", &fields).await;
    let page = keeper.click(&loan, "Link for the borrower").await;
    let made = keeper.press(&page, "Make the link", &[]).await;
    made.text_of(".loan-key")
}

#[tokio::test(flavor = "multi_thread")]
async fn a_borrower_outside_the_league_opens_the_loan_on_a_narrow_phone_without_script() {
    let Some((stage, team)) = arranged("lent").await else {
        return;
    };
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let key = linked(&stage, &ama).await;
    let phone = stage.strangers_window(Width::Narrow).await;
    phone.switch_script_off().await;
    phone.open("/lent/open").await;
    phone.is_sound().await;
    phone.fill("The characters of the link", &key).await;
    phone.press("Open the loan").await;
    phone.sees("Lent by Nine Larches").await;
    phone.is_sound().await;
    phone.fill("Your name", "Ivo").await;
    phone.press("Open the loan").await;
    phone.sees("Tin Mill has it").await;
    phone.is_sound().await;
    phone.picture("lent").await;
    phone.tick("All of it is there, as the sheet says").await;
    phone.press("Say it to the lender").await;
    phone.sees("that all of it is there").await;
    phone
        .follow("Something in it is broken or missing: Bag 1")
        .await;
    phone.sees("Told as Ivo, loan 1.").await;
    phone.is_sound().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_long_loan_sheet_runs_over_several_pages() {
    let Some(stage) = Stage::set("long-sheet").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    stage.world.team("Hobnail Bridge").await;
    let kept = Some((team, Role::Keeper));
    let (id, ama) = stage.world.account("Ama", kept, false).await;
    let beacon = stage.world.beacon().await;
    let names: Vec<String> = (1..=24).map(|n| format!("Bag {n}")).collect();
    let names: Vec<&str> = names.iter().map(String::as_str).collect();
    let (kit, bags) = stage
        .world
        .kit(&beacon, id, team, "Kettlehorn", &names)
        .await;
    let mut found = Vec::new();
    for bag in bags {
        for part in ["Peg", "Post", "Lamp", "Strap"] {
            found.push((bag, stage.world.part(part).await, 3));
        }
    }
    stage.world.delivered(kit, id, &found, false).await;
    let desk = stage.window(&ama, Width::Desk).await;
    desk.open(&format!("/kits/{kit}/lend")).await;
    desk.fill("Who gets it", "Hobnail Bridge").await;
    desk.fill("Back by the end of", &in_a_week(&stage)).await;
    desk.press("It is handed out").await;
    desk.follow("Loan sheet").await;
    desk.sees("what was in it when it left").await;
    desk.is_sound().await;
    let pdf = desk.print().await;
    let kept = desk.picture("long-sheet").await.with_extension("pdf");
    std::fs::write(&kept, &pdf).expect("the PDF is kept beside the pictures");
    let pages = String::from_utf8_lossy(&pdf)
        .matches("/Type /Page\n")
        .count();
    assert!(pages >= 5, "96 lines of 9 mm do not fit {pages} pages");

    // What the style sheet asks of a printer: heads again on each page, nothing to sign cut in two.
    let asked = desk
        .run(
            r#"
            const rules = [];
            const walk = (list) => {
                for (const rule of list) {
                    if (rule instanceof CSSPageRule) rules.push(rule.cssText);
                    else if (rule.cssRules) walk(rule.cssRules);
                }
            };
            for (const sheet of document.styleSheets) walk(sheet.cssRules);
            return rules.some((text) => text.includes("counter(page)") && text.includes("counter(pages)"));
            "#,
            vec![],
        )
        .await;
    assert_eq!(asked, true, "pages are numbered");
}
