//! Somebody who has read nothing but the screen unpacks a kit on a phone; and counting at speed, with two
//! people and a line that drops.

use fieldstow::people::Role;

use crate::support::{Stage, Width, Window};

/// Post 4, peg 12 (8 in the gate, 4 in the lamp), glass 1 in a full kit.
const LIST: &str = "Assembly,Part,Number,Half,Full\n\
                    Gate,Post,G-1,2,4\n\
                    Gate,Peg,G-2,4,8\n\
                    Lamp,Peg,G-2,2,4\n\
                    Lamp,Glass,G-3,1,1\n";

#[tokio::test(flavor = "multi_thread")]
async fn a_newcomer_unpacks_a_kit_on_a_phone() {
    let Some(stage) = Stage::set("newcomer").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let phone = stage.window(&ama, Width::Phone).await;
    unpack(&phone).await;
    stage.world.verify().await;
}

#[tokio::test(flavor = "multi_thread")]
async fn a_newcomer_unpacks_a_kit_without_script() {
    let Some(stage) = Stage::set("newcomer-without-script").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let ama = stage.world.person("Ama", team, Role::Keeper).await;
    let phone = stage.window_without_script(&ama, Width::Phone).await;
    unpack(&phone).await;
    stage.world.verify().await;
}

/// From nothing to a found piece, by what the screen says.
async fn unpack(phone: &Window) {
    read_the_list_in(phone).await;
    make_the_kit(phone).await;
    count_two_bags(phone).await;
    see_what_is_short(phone).await;
    put_a_bag_into_a_crate(phone).await;
    find_a_piece(phone).await;
}

async fn read_the_list_in(phone: &Window) {
    phone.open("/").await;
    phone.follow("Add the guide").await;
    phone.fill("Name of the guide", "Pass Run").await;
    phone.fill("Revision", "A").await;
    phone.press("Add the guide").await;
    phone.follow("Read a list in").await;
    phone.fill("Or paste the table", LIST).await;
    phone.press("Read it").await;
    phone.sees("half: 9 pieces · full: 17 pieces").await;
    phone.sees("3 parts on 4 lines, in 2 assemblies").await;
    phone.press("Keep the list").await;
    phone.sees("4 of 4 lines").await;
}

async fn make_the_kit(phone: &Window) {
    phone.open("/").await;
    phone.follow("Add a kit").await;
    phone.fill("Name", "Kettlehorn").await;
    phone.fill("Supplier", "Kolm Works").await;
    phone.fill("Serial number", "KW-0042").await;
    let checked = phone
        .run(
            "return [...document.querySelectorAll('#checked option')]
                .map(option => option.text).find(text => text.endsWith('full'))",
            vec![],
        )
        .await;
    let checked = checked.as_str().expect("a list in size full is offered");
    phone.choose("Checked against", checked).await;
    phone.press("Add the kit").await;
    phone.sees("not counted yet").await;
    phone.press("Unpack and count").await;
    phone.sees("Unpack Kettlehorn").await;
    phone.press("A bag without a label").await;
    phone.sees("Bag without label 1").await;
    phone.press("A bag without a label").await;
    phone.sees("Bag without label 2").await;
    phone.is_sound().await;
}

async fn count_two_bags(phone: &Window) {
    phone.press("Start Bag without label 1").await;
    phone.follow("Post").await;
    phone.press("All 4 here").await;
    phone.sees("need 4 · counted 4 · still to come 0").await;
    phone.picture("all-here").await;
    phone.is_sound().await;
    phone.follow("Next choose a part").await;
    phone.follow("Peg").await;
    phone.press("+ 5").await;
    phone.sees("need 12 · counted 5 · still to come 7").await;
    phone.press("+ 1 Peg").await;
    phone.sees("counted 6 ·").await;
    // Without script the key also says when the tap was made.
    let undo = "return document.querySelector('[data-undo] button').textContent";
    let undo = phone.run(undo, vec![]).await;
    let undo: Vec<&str> = undo.as_str().expect("words").split_whitespace().collect();
    assert_eq!(undo[..3], ["Undo", "+", "1"]);
    phone.press(&undo.join(" ")).await;
    phone.sees("counted 5 ·").await;
    finish(phone, "Bag without label 1").await;

    phone.press("Start Bag without label 2").await;
    phone.follow("Peg").await;
    phone.sees("need 12 · counted 5 · still to come 7").await;
    phone.press("+ 5").await;
    phone.sees("counted 10 ·").await;
    phone.press("+ 1 Peg").await;
    phone.sees("need 12 · counted 11 · still to come 1").await;
    phone.follow("Next choose a part").await;
    phone.follow("Glass").await;
    phone.press("All 1 here").await;
    phone.sees("need 1 · counted 1 · still to come 0").await;
    finish(phone, "Bag without label 2").await;

    phone.follow("Close the count").await;
    phone
        .choose(
            "Has everything arrived?",
            "Everything is here. What lacks is short",
        )
        .await;
    phone.press("Close the count").await;
    phone.sees("This count is closed").await;
}

/// Ends a bag from the page of one of its lines, and comes back to the list of bags.
async fn finish(phone: &Window, bag: &str) {
    phone.follow("Next choose a part").await;
    phone.follow("This bag is finished").await;
    phone.press(&format!("Finish {bag}")).await;
    phone.sees("Unpack Kettlehorn").await;
}

async fn see_what_is_short(phone: &Window) {
    phone.open("/").await;
    phone.sees("Kettlehorn: 1 short").await;
    phone.follow("See what is short").await;
    phone.sees("Look here first").await;
    phone.picture("short").await;
    phone.open("/kits").await;
    phone.follow("Kettlehorn").await;
    phone.follow("Report to the supplier").await;
    phone.sees("KW-0042").await;
    phone.sees("G-2").await;
    phone.is_sound().await;
    let pdf = phone.print().await;
    assert!(pdf.starts_with(b"%PDF"), "a PDF");
    let text = String::from_utf8_lossy(&pdf);
    assert_eq!(
        text.matches("/Type /Page\n").count(),
        1,
        "the report is one page"
    );
}

async fn put_a_bag_into_a_crate(phone: &Window) {
    phone.open("/").await;
    phone.follow("Crates").await;
    phone.follow("Make a crate").await;
    phone.fill("Name", "Grey crate").await;
    phone.press("Make it").await;
    phone.sees("Grey crate").await;
    phone.open("/kits").await;
    phone.follow("Kettlehorn").await;
    phone.follow("Bags").await;
    phone.follow("Bag without label 2").await;
    phone.follow("Carry it elsewhere").await;
    let crate_option = phone
        .run(
            "return [...document.querySelectorAll('#to option')]
                .map(option => option.text).find(text => text.includes('Grey crate'))",
            vec![],
        )
        .await;
    let crate_option = crate_option.as_str().expect("the crate is offered");
    phone.choose("Where it goes", crate_option).await;
    phone.press("It is there").await;
    phone.sees("Grey crate").await;
}

async fn find_a_piece(phone: &Window) {
    phone.open("/").await;
    phone.fill("Where is it?", "glass").await;
    phone.press("Find").await;
    phone.sees("1 in Bag without label 2").await;
    phone.sees("in Grey crate").await;
    phone.sees("kit Kettlehorn; last counted").await;
    phone.picture("found").await;
}

#[tokio::test(flavor = "multi_thread")]
async fn forty_taps_are_forty_though_the_line_drops_while_another_counts() {
    let Some(stage) = Stage::set("forty-taps").await else {
        return;
    };
    let team = stage.world.team("Nine Larches").await;
    let (person, ama) = stage
        .world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let ben = stage.world.person("Ben", team, Role::Crew).await;
    let beacon = stage.world.beacon().await;
    let bags = ["Bag 1", "Bag 2"];
    stage
        .world
        .kit(&beacon, person, team, "Kettlehorn", &bags)
        .await;

    let phone = stage.window(&ama, Width::Phone).await;
    phone.open("/").await;
    phone.press("Unpack and count Kettlehorn").await;
    phone.sees("Bags and boxes").await;
    let count = phone.path().await;
    phone.press("Start Bag 1").await;
    phone.follow("Peg").await;
    for tap in 0..40 {
        // The line drops in the middle and stays away until the last tap.
        if tap == 20 {
            stage.line.cut().await;
        }
        phone.tap("+ 1 Peg, black").await;
    }
    phone.sees("waiting to send").await;
    phone.picture("waiting").await;

    // Meanwhile somebody else counts the other bag over a line of their own.
    let list = ben.open(&count).await;
    let stint = ben.press(&list, "Start Bag 2", &[]).await;
    let line = format!("{}?part={}", stint.path, stage.world.part("Peg").await);
    let tally = ben.open(&line).await;
    ben.press(&tally, "+ 5", &[]).await.expect(200, "5");

    // Coming back to the page sends what waits.
    stage.line.mend().await;
    phone.reload().await;
    phone.sees("Saved").await;
    phone.sees_no_more("waiting to send").await;
    phone.reload().await;
    phone.sees("counted 45").await;
    let after = ben.open(&line).await;
    after.expect(200, "counted 45");
}
