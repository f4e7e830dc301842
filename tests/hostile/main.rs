//! Hostile spreadsheet files, sent through the real router: each is read or refused in a sentence.
//!
//! 1,000 files by default; `FIELDSTOW_HOSTILE=10000 cargo test --test hostile` for more. A file that broke
//! something is made again from its number alone.

mod files;
mod makers;
mod packed;
#[path = "../web/support/mod.rs"]
mod support;

use std::time::Duration;

use fieldstow::guides::import::workbook;
use fieldstow::people::Role;
use support::World;

/// The most memory the process may come to need beyond what it needed for an honest file.
const MOST_MEMORY: u64 = 300 * 1024 * 1024;
/// The longest the processor may work on one file, in a build that is not optimised. What the machine does
/// meanwhile does not count.
const LONGEST: Duration = Duration::from_secs(20);

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_hostile_file_is_read_or_refused_in_a_sentence() {
    let count: u64 = std::env::var("FIELDSTOW_HOSTILE")
        .map(|text| text.parse().expect("FIELDSTOW_HOSTILE is a number"))
        .unwrap_or(1_000);
    let world = World::empty().await;
    let team = world.team("Nine Larches").await;
    let keeper = world.person("Ama", team, Role::Keeper).await;
    let form = keeper.open("/guides/new").await;
    let guide = [
        ("name", "Pass Run"),
        ("label", "A"),
        ("issued_on", "2027-01-09"),
    ];
    let list = keeper.press(&form, "Add the guide", &guide).await;
    let form = keeper.click(&list, "Read a list in").await;
    let honest = files::honest();
    keeper
        .upload(&form, "Read it", Some(("honest.xlsx", &honest)), &[])
        .await
        .expect(200, "2 lines read from honest.xlsx");

    let before = most_memory();
    let makers = files::Makers::new();
    let (mut read, mut refused, mut most_unpacked) = (0, 0, 0);
    let mut longest = (Duration::ZERO, "");
    let mut sentences = std::collections::BTreeMap::<String, u32>::new();
    for number in 0..count {
        let file = makers.make(number);
        most_unpacked = most_unpacked.max(workbook::unpacked(&file.bytes).unwrap_or(0));
        let started = worked();
        let form = keeper.open(&format!("{}/import", list.path)).await;
        let seen = keeper
            .upload(&form, "Read it", Some((&file.name, &file.bytes)), &[])
            .await;
        let what = format!("file {number}, {}", file.what);
        let took = worked().saturating_sub(started);
        if took > longest.0 {
            longest = (took, file.what);
        }
        assert!(took < LONGEST, "{what} took {took:?}");
        match seen.status.as_u16() {
            200 => {
                assert!(seen.has("Look through before it is kept"), "{what}");
                read += 1;
            }
            422 => {
                let sentence = seen.text_of("#file-wrong");
                assert!(
                    sentence.starts_with("Error: ") && sentence.ends_with('.'),
                    "{what}: {sentence:?}"
                );
                *sentences.entry(sentence).or_default() += 1;
                refused += 1;
            }
            other => panic!("{what} was answered with {other}:\n{}", seen.words()),
        }
        assert!(
            !file.must_be_refused || seen.status == 422,
            "{what} was read"
        );
    }
    assert_eq!(read + refused, count);
    assert!(most_unpacked <= workbook::MOST_UNPACKED);
    let more = most_memory().saturating_sub(before);
    println!(
        "{read} read, {refused} refused, {} MiB more memory, at most {:?} for one ({})",
        more >> 20,
        longest.0,
        longest.1
    );
    for (sentence, times) in &sentences {
        println!("{times:6} {sentence}");
    }
    assert!(more <= MOST_MEMORY, "{} MiB more memory", more >> 20);
    if count >= 500 {
        assert!(read >= count / 50, "hardly anything was read");
        assert!(sentences.len() >= 20, "the files are too much alike");
    }
    // The server is as well as before.
    let form = keeper.open(&format!("{}/import", list.path)).await;
    keeper
        .upload(&form, "Read it", Some(("honest.xlsx", &honest)), &[])
        .await
        .expect(200, "2 lines read from honest.xlsx");
}

/// The most memory this process has had, in bytes; nothing where the system does not say.
fn most_memory() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap_or_default();
    let line = status.lines().find(|line| line.starts_with("VmHWM:"));
    let kibibytes = line.and_then(|line| line.split_whitespace().nth(1));
    kibibytes.map_or(0, |number| number.parse::<u64>().expect("a number") * 1024)
}

/// How long the processor has worked for this process; nothing where the system does not say.
fn worked() -> Duration {
    /// In hundredths of a second on Linux, whatever the machine (man 5 proc, `USER_HZ`).
    const TICK: Duration = Duration::from_millis(10);
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap_or_default();
    let after_name = stat.rsplit(')').next().unwrap_or_default();
    // User and system time are the 14th and 15th field; the name is the second.
    let times = after_name.split_whitespace().skip(11).take(2);
    TICK * times
        .map(|time| time.parse::<u32>().expect("a number"))
        .sum()
}
