//! Pictures as the decoder takes them: upright and opaque, or refused by their header. And changed at random,
//! sent as a person would: no panic, no answer of 500 and above, nothing but pixels kept, and memory that
//! stays bounded.
//!
//! 1,000 by default; `FIELDSTOW_PICTURES=10000 cargo test --test pictures` for more.

#[path = "web/support/mod.rs"]
mod support;

use fieldstow::people::Role;
use fieldstow::pictures::develop::develop;
use fieldstow::pictures::rules::NotTaken;
use image::{GrayImage, ImageFormat, Rgba, RgbaImage};
use support::drawn::{BLUE, GREEN, RED, YELLOW};
use support::{World, drawn};
use tokio::sync::Mutex;

/// What the program may need above what it had: for each of the uploads held and the one decoded.
const MOST_MEMORY: u64 = 300 * 1024 * 1024;

/// Memory is that of the whole process, so one test at a time.
static ALONE: Mutex<()> = Mutex::const_new(());

/// Numbers that come out the same in every run.
struct Dice(u64);

impl Dice {
    fn roll(&mut self, sides: usize) -> usize {
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        (self.0 % sides.max(1) as u64) as usize
    }
}

fn seeds() -> Vec<Vec<u8>> {
    let clear = RgbaImage::from_fn(60, 40, |x, y| Rgba([x as u8, y as u8, 90, (x * 4) as u8]));
    let wide = image::DynamicImage::from(clear.clone()).into_rgba16();
    vec![
        drawn::with_marks(&drawn::jpeg(96, 64), 6),
        drawn::jpeg(64, 48),
        drawn::encoded(clear.clone(), ImageFormat::Png),
        drawn::encoded(wide, ImageFormat::Png),
        drawn::encoded(clear, ImageFormat::WebP),
        drawn::encoded(GrayImage::new(50, 50), ImageFormat::Jpeg),
        drawn::png_that_declares(60_000, 60_000),
    ]
}

/// One seed, changed: bytes, pieces, length, or the front of one with the end of another.
fn changed(seeds: &[Vec<u8>], dice: &mut Dice) -> Vec<u8> {
    let mut bytes = seeds[dice.roll(seeds.len())].clone();
    for _ in 0..=dice.roll(3) {
        let at = dice.roll(bytes.len());
        match dice.roll(6) {
            0 => bytes.truncate(at.max(16)),
            1 => bytes[at] ^= 1 << dice.roll(8),
            2 => {
                for _ in 0..=dice.roll(20) {
                    let at = dice.roll(bytes.len());
                    bytes[at] = dice.roll(256) as u8;
                }
            }
            3 => {
                let end = (at + dice.roll(200)).min(bytes.len());
                let piece = bytes[at..end].to_vec();
                bytes.splice(at..at, piece);
            }
            4 => {
                let other = &seeds[dice.roll(seeds.len())];
                bytes.truncate(at.max(16));
                bytes.extend(&other[dice.roll(other.len())..]);
            }
            // The header, where sizes and kinds stand: a frame becomes progressive, a side 65,535.
            _ => {
                let at = dice.roll(bytes.len().min(700));
                bytes[at] = [0, 1, 0x7f, 0x80, 0xc2, 0xff][dice.roll(6)];
            }
        }
        if bytes.is_empty() {
            bytes.push(0);
        }
    }
    bytes
}

#[tokio::test]
async fn changed_pictures_are_taken_or_refused_on_every_page_that_takes_one() {
    let _alone = ALONE.lock().await;
    let count: usize = std::env::var("FIELDSTOW_PICTURES")
        .map(|text| text.parse().expect("FIELDSTOW_PICTURES is a number"))
        .unwrap_or(1000);
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let (id, ama) = world
        .account("Ama", Some((team, Role::Keeper)), false)
        .await;
    let beacon = world.beacon().await;
    let (_, bags) = world.kit(&beacon, id, team, "Kettlehorn", &["Bag 1"]).await;
    let nobody = world.browser();
    let code = world.code(bags[0].0).await;
    let of_a_part = format!("/parts/{}/pictures/new", world.part("Lamp").await);
    let of_a_crate = format!("/c/{code}/tell");
    let seeds = seeds();
    let mut dice = Dice(0x5eed_0007);
    let (mut taken, mut refused, mut reports) = (0, 0, 0);
    let before = peak_from_now();
    for nth in 0..count {
        let bytes = changed(&seeds, &mut dice);
        // In turn: of a part, of what broke, and from somebody without an account.
        let (who, page, button) = match nth % 3 {
            0 => (&ama, of_a_part.as_str(), "Add the picture"),
            1 => (&ama, "/broken", "Record it"),
            _ => (&nobody, of_a_crate.as_str(), "Tell them"),
        };
        let form = who.open(page).await;
        let files = [("take", "photo.jpg", bytes.as_slice())];
        let (action, body) = who.filled_upload(&form, button, &files, &[]);
        let seen = who.post_upload(&action, body).await;
        match seen.status.as_u16() {
            303 if nth % 3 == 0 => taken += 1,
            // The report is kept whatever becomes of its picture.
            303 => reports += 1,
            422 if nth % 3 == 0 => refused += 1,
            other => panic!("picture {nth} answered {other}: {}", seen.words()),
        }
        // A team may add only so many in a day, and strangers only so many in an hour.
        if nth % 30 == 29 {
            world.clock.advance_minutes(24 * 60 + 1);
            let (_, again) = world
                .account("Ama", Some((team, Role::Keeper)), false)
                .await;
            ama.set_cookie("sid", &again.cookie("sid").unwrap());
        }
    }
    let shown = kept_with_reports(&world).await;
    assert!(
        taken > count / 300 && refused > count / 12,
        "{taken} taken, {refused} refused"
    );
    assert_eq!(taken + refused + reports, count);
    assert!(
        shown > count / 150 && shown < reports,
        "{shown} pictures with {reports} reports"
    );
    assert_bounded(before);

    let mut db = world.app.db.read().await.unwrap();
    let kept: Vec<Vec<u8>> = sqlx::query_scalar("select bytes from file_chunk")
        .fetch_all(&mut *db)
        .await
        .unwrap();
    assert!(!kept.is_empty());
    for bytes in kept {
        drawn::assert_only_pixels(&bytes);
    }
}

/// Pictures that were kept with reports.
async fn kept_with_reports(world: &World) -> usize {
    let mut db = world.app.db.read().await.unwrap();
    let count: i64 = sqlx::query_scalar("select count(*) from damage_picture")
        .fetch_one(&mut *db)
        .await
        .unwrap();
    count.try_into().unwrap()
}

/// Forty-nine million pixels of four bytes: nearly the most that is decoded at all.
#[test]
fn the_largest_picture_stays_within_memory() {
    let _alone = ALONE.blocking_lock();
    let bytes = drawn::encoded(RgbaImage::new(7000, 7000), ImageFormat::Png);
    let before = peak_from_now();
    let developed = develop(&bytes).unwrap();
    assert_eq!(
        (developed.large.width, developed.large.height),
        (1600, 1600)
    );
    assert_bounded(before);
}

/// The memory in use now; the peak is measured from here on.
fn peak_from_now() -> Option<u64> {
    std::fs::write("/proc/self/clear_refs", "5").ok()?;
    status("VmRSS")
}

fn assert_bounded(before: Option<u64>) {
    let Some((before, peak)) = before.zip(status("VmHWM")) else {
        eprintln!("Memory was NOT measured: this machine has no /proc/self/status.");
        return;
    };
    let grown = peak.saturating_sub(before);
    assert!(grown <= MOST_MEMORY, "{} MiB more", grown / 1024 / 1024);
}

/// A figure of this process in bytes.
fn status(name: &str) -> Option<u64> {
    let text = std::fs::read_to_string("/proc/self/status").ok()?;
    let line = text.lines().find(|line| line.starts_with(name))?;
    let kib: u64 = line.split_whitespace().nth(1)?.parse().ok()?;
    Some(kib * 1024)
}

/// Compared with the definition in the standard, not with the decoder's own idea of it.
#[test]
fn whichever_way_the_camera_was_held_the_picture_is_upright() {
    let _alone = ALONE.blocking_lock();
    let upright = drawn::quarters(96, 64);
    for orientation in 1..=8 {
        let stored = drawn::encoded(drawn::held(&upright, orientation), ImageFormat::Jpeg);
        let developed = develop(&drawn::with_marks(&stored, orientation)).unwrap();
        for jpeg in [&developed.large, &developed.thumb] {
            assert_eq!((jpeg.width, jpeg.height), (96, 64), "held {orientation}");
            let picture = image::load_from_memory(&jpeg.bytes).unwrap().into_rgb8();
            for (x, y, colour) in [
                (24, 16, RED),
                (72, 16, GREEN),
                (24, 48, BLUE),
                (72, 48, YELLOW),
            ] {
                let found = picture.get_pixel(x, y).0;
                let near = found.iter().zip(colour).all(|(a, b)| a.abs_diff(b) < 12);
                assert!(near, "held {orientation}: {found:?} for {colour:?}");
            }
        }
    }
}

#[test]
fn png_and_webp_are_taken_and_what_was_clear_is_white() {
    let _alone = ALONE.blocking_lock();
    let mut clear = RgbaImage::from_pixel(40, 20, Rgba([10, 20, 30, 0]));
    clear.put_pixel(0, 0, Rgba([0, 0, 0, 255]));
    for format in [ImageFormat::Png, ImageFormat::WebP] {
        let developed = develop(&drawn::encoded(clear.clone(), format)).unwrap();
        let picture = image::load_from_memory(&developed.large.bytes)
            .unwrap()
            .into_rgb8();
        let corner = picture.get_pixel(39, 19).0;
        assert!(corner.iter().all(|colour| *colour > 245), "{corner:?}");
        drawn::assert_only_pixels(&developed.large.bytes);
    }
}

#[test]
fn a_header_that_declares_too_much_is_refused_before_decoding() {
    let _alone = ALONE.blocking_lock();
    let bytes = drawn::png_that_declares(60_000, 60_000);
    assert_eq!(bytes.len(), 1024);
    let (width, height) = (60_000, 60_000);
    assert_eq!(
        develop(&bytes),
        Err(NotTaken::TooManyPixels { width, height })
    );
    // The same with a size that fits gets as far as its pixels, which are none.
    assert_eq!(
        develop(&drawn::png_that_declares(60, 60)),
        Err(NotTaken::Damaged)
    );
}
