//! What is kept of a picture: its pixels, once, in every backup, until it is erased.

use fieldstow::db::Db;
use image::ImageFormat;
use sha2::{Digest, Sha256};

use super::{first_picture, scene};
use crate::support::{World, drawn};

#[tokio::test]
async fn nothing_of_what_the_camera_wrote_is_anywhere_in_the_database() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let photo = drawn::with_marks(&drawn::jpeg(640, 480), 1);
    scene.add(&scene.part_page(), &photo, &[]).await;
    let kept = scene.kept().await;
    assert_eq!(kept.len(), 2, "large and small");
    for bytes in &kept {
        drawn::assert_only_pixels(bytes);
    }
    let folder = tempfile::tempdir().unwrap();
    let copy = folder.path().join("copy.db");
    world.app.db.copy_to(&copy).await.unwrap();
    let bytes = std::fs::read(copy).unwrap();
    assert!(bytes.len() > 10_000 && !drawn::holds(&bytes, drawn::MARKER));
}

#[tokio::test]
async fn a_form_sent_twice_is_one_picture_and_equal_bytes_are_kept_once() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let form = scene
        .ama
        .open(&format!("{}/pictures/new", scene.part_page()))
        .await;
    let photo = drawn::jpeg(640, 480);
    let files = [("choose", "photo.jpg", photo.as_slice())];
    let (action, body) = scene
        .ama
        .filled_upload(&form, "Add the picture", &files, &[]);
    for _ in 0..3 {
        let seen = scene.ama.post_upload(&action, body.clone()).await;
        assert_eq!(seen.status, 303);
    }
    let page = scene.ama.open(&scene.part_page()).await;
    assert_eq!(page.texts_of(".pictures li").len(), 1);
    page.expect(200, "Already recorded at");

    scene.add(&scene.part_page(), &photo, &[]).await;
    let page = scene.ama.open(&scene.part_page()).await;
    assert_eq!(page.texts_of(".pictures li").len(), 2);
    assert_eq!(scene.kept().await.len(), 2, "one large, one small");

    let (action, other) =
        scene
            .ama
            .filled_upload(&form, "Add the picture", &files, &[("words", "Other")]);
    let seen = scene.ama.post_upload(&action, other).await;
    assert_eq!(seen.status, 409, "the same form with other words");
}

#[tokio::test]
async fn the_bytes_of_a_removed_picture_are_erased_for_good() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    let part = scene.part_page();
    let seen = scene.add(&part, &drawn::jpeg(640, 480), &[]).await;
    let picture = first_picture(&seen);
    let large = scene.ama.open(&format!("{picture}/large.jpg")).await.bytes;
    let page = scene.ama.open(&picture).await;
    assert!(!page.has("Erase it for good"), "only what was removed");
    let form_id = fieldstow::ids::FormId::new().to_string();
    scene
        .ama
        .post(&format!("{picture}/erase"), &[("form_id", &form_id)])
        .await
        .expect(422, "remove it first");

    let removed = scene.ama.press(&page, "Remove it", &[]).await;
    let erased = scene.ama.press(&removed, "Erase it for good", &[]).await;
    erased.expect(200, "erased by Ama");
    for small in ["large.jpg", "thumb.jpg"] {
        let gone = scene.ama.open(&format!("{picture}/{small}")).await;
        assert_eq!(gone.status, 410);
    }
    scene.ama.open(&part).await.expect(200, "None yet.");
    assert!(scene.kept().await.is_empty());
    // Not in the database's free pages either: a piece from the middle is nowhere in the file.
    let piece = large[large.len() / 2..][..64].to_vec();
    // Another process reads it: nobody but SQLite opens the file in ours.
    let output = std::process::Command::new("cat")
        .args([
            world.app.db.file().to_path_buf(),
            world.app.db.file().with_extension("db-wal"),
        ])
        .output()
        .unwrap();
    assert!(output.status.success() && output.stdout.len() > 100_000);
    assert!(!drawn::holds(&output.stdout, &piece));
}

#[tokio::test]
async fn a_backup_holds_every_picture_whole() {
    let world = World::empty().await;
    let scene = scene(&world).await;
    // Noise does not shrink, so the large one takes several pieces.
    let mut state = 7u32;
    let noise = image::RgbImage::from_fn(1500, 1100, |_, _| {
        image::Rgb([0; 3].map(|_: u8| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as u8
        }))
    });
    let photo = drawn::encoded(noise, ImageFormat::Jpeg);
    scene.add(&scene.part_page(), &photo, &[]).await;

    let folder = tempfile::tempdir().unwrap();
    let target = folder.path().join("fieldstow.db");
    world.app.db.copy_to(&target).await.unwrap();
    let copy = Db::open_existing(folder.path()).await.unwrap();
    let mut db = copy.read().await.unwrap();
    let files: Vec<(Vec<u8>, Vec<u8>, i64)> =
        sqlx::query_as("select id, sha256, size from file order by size")
            .fetch_all(&mut *db)
            .await
            .unwrap();
    assert_eq!(files.len(), 2);
    assert!(files[1].2 > 2 * 256 * 1024, "{} bytes", files[1].2);
    for (id, sha256, size) in files {
        let pieces: Vec<Vec<u8>> =
            sqlx::query_scalar("select bytes from file_chunk where file_id = $1 order by n")
                .bind(id)
                .fetch_all(&mut *db)
                .await
                .unwrap();
        let whole = pieces.concat();
        assert_eq!(whole.len() as i64, size);
        assert_eq!(Sha256::digest(&whole).to_vec(), sha256);
    }
}
