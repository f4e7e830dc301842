//! The guide's PDF of a revision.

use fieldstow::people::Role;
use sha2::{Digest, Sha256};

use crate::support::{Browser, Seen, World};

/// Begins like a PDF; the rest is for the publisher's reader.
fn pdf(bytes: usize, seed: u8) -> Vec<u8> {
    let mut pdf = b"%PDF-1.7\n".to_vec();
    let mut state = u32::from(seed);
    while pdf.len() < bytes {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        pdf.push((state >> 24) as u8);
    }
    pdf
}

async fn send(browser: &Browser<'_>, seen: &Seen, name: &str, bytes: &[u8]) -> Seen {
    let file = (!name.is_empty()).then_some((name, bytes));
    browser.upload(seen, "Keep the guide", file, &[]).await
}

async fn pieces(world: &World) -> (i64, i64) {
    let mut db = world.app.db.read().await.unwrap();
    sqlx::query_as("select count(*), coalesce(max(length(bytes)), 0) from file_chunk")
        .fetch_one(&mut *db)
        .await
        .unwrap()
}

#[tokio::test]
async fn a_guide_is_kept_in_pieces_downloaded_replaced_and_brought_back() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let ama = world.person("Ama", team, Role::Keeper).await;
    let crew = world.person("Bo", team, Role::Crew).await;
    let beacon = world.beacon().await;
    let revision = format!("/revisions/{}", beacon.revision);
    let page = ama
        .click(&ama.open(&revision).await, "Keep the guide’s PDF")
        .await;

    let first = pdf(3 * 1024 * 1024 + 17, 1);
    let kept = send(&ama, &page, "Ridge „Beacon“.pdf", &first).await;
    kept.expect(200, "Ridge „Beacon“.pdf, 3.0 MiB, added by Ama");
    assert_eq!(pieces(&world).await, (13, 256 * 1024));

    let download = crew.open(&format!("{revision}/guide.pdf")).await;
    assert_eq!(download.status, 200);
    assert!(download.bytes == first, "every byte comes back");
    let mark: String = Sha256::digest(&first)
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    for (name, value) in [
        ("content-type", "application/pdf"),
        (
            "content-disposition",
            "attachment; filename=\"Ridge _Beacon_.pdf\"; \
             filename*=UTF-8''Ridge%20%E2%80%9EBeacon%E2%80%9C.pdf",
        ),
        ("content-security-policy", "sandbox; default-src 'none'"),
        ("etag", &format!("\"{mark}\"")),
    ] {
        assert_eq!(download.header(name), Some(value));
    }

    // The same bytes once more take no room; another one takes its place.
    send(&ama, &kept, "again.pdf", &first)
        .await
        .expect(422, "shown already");
    assert_eq!(pieces(&world).await.0, 13);
    let second = pdf(1000, 2);
    let replaced = send(&ama, &kept, "second.pdf", &second).await;
    replaced
        .expect(200, "second.pdf, 1 KiB, added by Ama")
        .expect(200, "taken away by Ama");
    let download = crew.open(&format!("{revision}/guide.pdf")).await;
    assert!(download.bytes == second);

    let label = replaced
        .attribute("main li button", "aria-label")
        .expect("a way back");
    ama.press(&replaced, &label, &[])
        .await
        .expect(200, "Brought back.");
    let download = crew.open(&format!("{revision}/guide.pdf")).await;
    assert!(download.bytes == first);
    let page = ama.open(&format!("{revision}/pdf")).await;
    ama.press(&page, "Take it away", &[])
        .await
        .expect(200, "No PDF is kept");
    let gone = crew.open(&format!("{revision}/guide.pdf")).await;
    assert_eq!(gone.status, 404);
    let page = crew.open(&revision).await;
    assert_eq!(page.link("Keep the guide’s PDF"), None);
}

#[tokio::test]
async fn what_is_no_pdf_or_too_large_is_refused_and_leaves_nothing() {
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let ama = world.person("Ama", team, Role::Keeper).await;
    let beacon = world.beacon().await;
    let page = ama
        .open(&format!("/revisions/{}/pdf", beacon.revision))
        .await;
    for (name, bytes, sentence) in [
        ("", Vec::new(), "choose the PDF"),
        ("page.pdf", b"<html>%PDF-1.7".to_vec(), "this is no PDF"),
        ("x.pdf", b"%P".to_vec(), "this is no PDF"),
        ("huge.pdf", pdf(40 * 1024 * 1024 + 1, 3), "more than 40 MiB"),
    ] {
        send(&ama, &page, name, &bytes).await.expect(422, sentence);
        assert_eq!(pieces(&world).await.0, 0, "{sentence}");
    }
    // A line that breaks in the middle of the file.
    let file = pdf(600_000, 4);
    let files = [("file", "guide.pdf", file.as_slice())];
    let (action, body) = ama.filled_upload(&page, "Keep the guide", &files, &[]);
    let cut = body[..400_000].to_vec();
    ama.post_upload(&action, cut)
        .await
        .expect(400, "did not arrive whole");
    assert_eq!(pieces(&world).await.0, 0);
    let mut db = world.app.db.read().await.unwrap();
    let files: i64 = sqlx::query_scalar("select count(*) from file")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    assert_eq!(files, 0);
}

/// What a stopped server left behind goes when the next one arrives a day later.
#[tokio::test]
async fn what_never_became_whole_is_swept_up() {
    let world = World::empty().await;
    let mut left = fieldstow::pictures::files::Arriving::begin(&world.app)
        .await
        .unwrap();
    left.take(&world.app, &pdf(600_000, 5)).await.unwrap();
    drop(left);
    assert_eq!(pieces(&world).await.0, 2);
    world.clock.advance_minutes(24 * 60 + 1);
    let next = fieldstow::pictures::files::Arriving::begin(&world.app)
        .await
        .unwrap();
    assert_eq!(pieces(&world).await.0, 0);
    next.give_up(&world.app).await.unwrap();
}
