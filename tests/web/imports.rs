//! Reading parts lists in.

use fieldstow::people::Role;

use crate::packed::{Book, rows};
use crate::support::{Browser, Seen, World};

const TOUR: &[u8] = include_bytes!("../examples/tour-parts-list.csv");
const MESSY: &[u8] = include_bytes!("../examples/messy-parts-list.csv");

async fn empty_list(keeper: &Browser<'_>) -> Seen {
    let form = keeper.open("/guides/new").await;
    keeper
        .press(
            &form,
            "Add the guide",
            &[
                ("name", "Pass Run"),
                ("label", "A"),
                ("issued_on", "2027-01-09"),
            ],
        )
        .await
}

#[tokio::test]
async fn a_file_is_looked_through_and_kept_and_comes_out_the_same() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;

    let list = empty_list(&keeper).await;
    let form = keeper.click(&list, "Read a list in").await;
    let reading = keeper
        .upload(&form, "Read it", Some(("tour.csv", TOUR)), &[])
        .await;
    reading
        .expect(200, "14 lines read from tour.csv")
        .expect(200, "half: 58 pieces · full: 116 pieces");
    let again = keeper.open(&reading.path).await;
    again.expect(200, "full: 116 pieces");
    let nothing_yet = keeper.open(&list.path).await;
    nothing_yet.expect(200, "The list is empty");

    let kept = keeper.press(&reading, "Keep the list", &[]).await;
    kept.expect(200, "half: 58 pieces. full: 116 pieces.")
        .expect(200, "14 of 14 lines");
    let file = keeper.open(&format!("{}/parts-list.csv", kept.path)).await;
    assert_eq!(file.header("content-type"), Some("text/csv; charset=utf-8"));

    // Read in again, the file gives the same list.
    let form = keeper.open(&format!("{}/import", kept.path)).await;
    let reading = keeper
        .upload(&form, "Read it", Some(("again.csv", &file.bytes)), &[])
        .await;
    reading.expect(200, "half: 58 pieces · full: 116 pieces");
    let kept = keeper.press(&reading, "Keep the list", &[]).await;
    kept.expect(200, "14 of 14 lines");
    let second = keeper.open(&format!("{}/parts-list.csv", kept.path)).await;
    assert_eq!(second.html(), file.html());
}

#[tokio::test]
async fn doubtful_lines_are_named_and_kept_only_after_a_decision() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let list = empty_list(&keeper).await;
    let form = keeper.click(&list, "Read a list in").await;

    let reading = keeper
        .upload(&form, "Read it", Some(("messy.csv", MESSY)), &[])
        .await;
    reading.expect(200, "need a decision");
    let (_, body) = keeper.filled(&reading, "Read it this way", &[]);
    assert!(body.contains("role-0="), "the columns go along: {body}");
    let stopped: Vec<String> = reading
        .texts_of(".doubts li:not(.note) label")
        .iter()
        .filter_map(|text| text.split(' ').nth(2).map(str::to_owned))
        .collect();
    assert!(!stopped.is_empty());
    // Leaving every stopped line out makes the list one that can be kept.
    let (action, mut body) = keeper.filled(&reading, "Read it this way", &[]);
    for line in &stopped {
        body.push_str(&format!("&leave-out={line}"));
    }
    let answer = keeper.post_body(&action, body).await;
    let mended = keeper.open(answer.header("location").unwrap()).await;
    mended.expect(200, "Left out");
    assert!(
        mended.texts_of(".doubts li:not(.note)").is_empty(),
        "{}",
        mended.words()
    );
    let kept = keeper.press(&mended, "Keep the list", &[]).await;
    kept.expect(200, "Parts list, revision A");

    // A draft that was taken over is not taken over twice.
    let draft = keeper.open(&reading.path).await;
    draft.expect(200, "taken over already");
}

#[tokio::test]
async fn what_is_no_list_is_refused_in_a_sentence_and_pasted_text_stays() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let list = empty_list(&keeper).await;
    let form = keeper.click(&list, "Read a list in").await;

    let nothing = keeper
        .upload(&form, "Read it", None, &[("pasted", "  ")])
        .await;
    nothing.expect(422, "choose a file, or paste a table");
    let spreadsheet = keeper
        .upload(
            &form,
            "Read it",
            Some(("list.xlsx", b"PK\x03\x04\x14\x00\x00\x00")),
            &[],
        )
        .await;
    spreadsheet.expect(422, "This spreadsheet file is damaged");
    let prose = keeper
        .upload(
            &form,
            "Read it",
            None,
            &[("pasted", "only one column\nof words")],
        )
        .await;
    prose.expect(422, "Only one column was found");
    assert!(prose.text_of("#pasted").contains("of words"));
    let large = vec![b'a'; 7 * 1024 * 1024];
    let large = keeper
        .upload(&form, "Read it", Some(("large.csv", &large)), &[])
        .await;
    large.expect(400, "larger than 5 MiB");

    let table = "Part\tAssembly\tQty\nPeg\tGate\t4\nPost\tGate\t2\n";
    let pasted = keeper
        .upload(&form, "Read it", None, &[("pasted", table)])
        .await;
    pasted.expect(200, "2 lines read from pasted table");
    // The guide has two sizes and the table one nameless quantity: which is it?
    let which = keeper.press(&pasted, "Keep the list", &[]).await;
    which.expect(422, "say which size of kit the quantities are for");
    let said = keeper
        .press(&which, "Read it with these columns", &[("size-2", "full")])
        .await;
    keeper
        .press(&said, "Keep the list", &[])
        .await
        .expect(200, "full: 6 pieces");
}

#[tokio::test]
async fn drafts_are_their_makers_and_sealed_lists_stay() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (ama_id, ama) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let bo = world.person("Bo", team, Role::Keeper).await;
    let list = empty_list(&ama).await;
    let form = ama.click(&list, "Read a list in").await;
    let reading = ama
        .upload(&form, "Read it", Some(("tour.csv", TOUR)), &[])
        .await;
    bo.open(&reading.path).await.expect(404, "no such draft");

    let beacon = world.beacon().await;
    world.kit(&beacon, ama_id, team, "Kettlehorn", &[]).await;
    let form = ama
        .open(&format!("/revisions/{}/import", beacon.revision))
        .await;
    let sealed = ama
        .upload(&form, "Read it", Some(("tour.csv", TOUR)), &[])
        .await;
    sealed.expect(422, "a kit was checked against this revision");
}

#[tokio::test]
async fn a_spreadsheet_comes_out_and_goes_in_again_as_the_same_list() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let list = empty_list(&keeper).await;
    let form = keeper.click(&list, "Read a list in").await;
    let reading = keeper
        .upload(&form, "Read it", Some(("tour.csv", TOUR)), &[])
        .await;
    let kept = keeper.press(&reading, "Keep the list", &[]).await;
    let text = keeper.click(&kept, "Download as CSV").await;
    let sheet = keeper.click(&kept, "Download as spreadsheet").await;
    assert_eq!(
        sheet.header("content-type"),
        Some("application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
    );
    assert!(sheet.bytes.starts_with(b"PK"));

    // Its name does not say what it is; its content does.
    let form = keeper.open(&format!("{}/import", kept.path)).await;
    let reading = keeper
        .upload(&form, "Read it", Some(("again.csv", &sheet.bytes)), &[])
        .await;
    reading.expect(200, "half: 58 pieces · full: 116 pieces");
    let kept = keeper.press(&reading, "Keep the list", &[]).await;
    kept.expect(200, "14 of 14 lines");
    let again = keeper.click(&kept, "Download as CSV").await;
    assert_eq!(again.html(), text.html());
    let again = keeper.click(&kept, "Download as spreadsheet").await;
    assert_eq!(again.bytes, sheet.bytes);
}

#[tokio::test]
async fn the_likeliest_sheet_stands_first_and_another_can_be_chosen() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let list = empty_list(&keeper).await;
    let form = keeper.click(&list, "Read a list in").await;
    let head: &[&str] = &["Part number", "Part", "Assembly", "Qty (full)"];
    let book = Book::of(&[
        ("Cover", &rows(&[&["Pass Run"]])),
        ("Spares", &rows(&[head, &["00123", "Peg", "Gate", "9"]])),
        (
            "Full kit",
            &rows(&[
                head,
                &["00123x", "Peg", "Gate", "4"],
                &["B2", "Post", "Gate", "2"],
            ]),
        ),
    ]);
    let reading = keeper
        .upload(&form, "Read it", Some(("kit.xlsx", &book.bytes())), &[])
        .await;
    reading
        .expect(200, "2 lines read from kit.xlsx")
        .expect(200, "full: 6 pieces")
        .expect(200, "Cover: No row with column names was found.");
    assert_eq!(
        reading.texts_of("label[for^=sheet-]"),
        ["Full kit (2 lines)", "Spares (1 line)"]
    );

    // A page that shows another sheet does not speak for the one chosen meanwhile.
    let before = keeper.filled(&reading, "Read it with these columns", &[]);
    let other = keeper
        .press(&reading, "Read this sheet", &[("sheet", "1")])
        .await;
    other
        .expect(200, "1 lines read from kit.xlsx")
        .expect(200, "full: 9 pieces");
    keeper
        .post_body(&before.0, before.1)
        .await
        .expect(422, "another sheet was chosen meanwhile");
    // The choice survives a reload, and so does what the columns mean.
    let said = [("role-0", "ignored")];
    let said = keeper
        .press(&other, "Read it with these columns", &said)
        .await;
    said.expect(200, "full: 9 pieces");
    let reloaded = keeper.open(&reading.path).await;
    reloaded.expect(200, "full: 9 pieces");
    assert_eq!(
        reloaded.attribute("#role-0 option[selected]", "value"),
        Some("ignored".into())
    );
    let nowhere = keeper
        .press(&reloaded, "Read this sheet", &[("sheet", "0")])
        .await;
    nowhere.expect(422, "choose one of the sheets that can be read");

    let kept = keeper.press(&reloaded, "Keep the list", &[]).await;
    kept.expect(200, "full: 9 pieces");
}

#[tokio::test]
async fn what_a_spreadsheet_hides_or_works_out_is_said() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let list = empty_list(&keeper).await;
    let form = keeper.click(&list, "Read a list in").await;
    let inside = rows(&[
        &["Part", "Number", "Qty (full)"],
        &["Peg", "00123x", "4"],
        &["Post", "B2", "2"],
        &["Rail", "B3", "1"],
    ])
    .replace("<c r=\"C2\">", "<c r=\"C2\"><f>2*2</f>")
    .replace("<c r=\"C3\"><v>2</v>", "<c r=\"C3\"><f>1+1</f>")
    .replace("<row r=\"4\">", "<row r=\"4\" hidden=\"1\">");
    let book = Book::of(&[("Parts", &inside)]);
    let reading = keeper
        .upload(&form, "Read it", Some(("kit.xlsx", &book.bytes())), &[])
        .await;
    reading
        .expect(200, "1 need a decision")
        .expect(200, "Line 3: 'Qty (full)' is a formula, and the file does not say what it comes to.")
        .expect(200, "Line 2: 'Qty (full)' is worked out by a formula. What it came to when the file was saved is read: 4.")
        .expect(200, "Line 4: This row is hidden in the spreadsheet.");
    assert!(!reading.has("Which sheet"), "there is only one");
    let (action, mut body) = keeper.filled(&reading, "Read it this way", &[]);
    body.push_str("&leave-out=3");
    let answer = keeper.post_body(&action, body).await;
    let mended = keeper.open(answer.header("location").unwrap()).await;
    let kept = keeper.press(&mended, "Keep the list", &[]).await;
    kept.expect(200, "full: 5 pieces");
}
