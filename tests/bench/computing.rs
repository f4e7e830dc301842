//! How long the computations take that a person waits for, against the bars set for them.
//!
//! Each is run on made-up cases from several seeds: a case is run three times and its fastest run counts, since
//! the others tell of the machine; of all cases the slowest is printed, with its bar and the ratio of the two (at
//! most 1 is within the bar). Where a search may stop without a proof, the number of such cases is printed too.
//!
//! `cargo bench --bench computing` prints them; with `-- import` (or `roll-up`, `build`, `pooling`) only those.

#[path = "computing/made_up.rs"]
mod made_up;

use std::hint::black_box;
use std::time::Instant;

use fieldstow::guides::import::{columns, preview, table};
use fieldstow::guides::need::need;
use fieldstow::kits::{build, pooling};

const SEEDS: u64 = 10;

fn main() {
    println!(
        "computation                                    | worst ms | bar ms | ratio | not proven"
    );
    let all: [(&str, fn()); 4] = [
        ("roll-up", roll_up),
        ("build", build_checks),
        ("pooling", poolings),
        ("import", import),
    ];
    let asked: Vec<String> = std::env::args()
        .skip(1)
        .filter(|word| !word.starts_with('-'))
        .collect();
    for (name, run) in all {
        if asked.is_empty() || asked.iter().any(|word| word == name) {
            run();
        }
    }
}

fn roll_up() {
    let lines = made_up::lines();
    let mut worst = Worst::default();
    for _ in 0..SEEDS {
        worst.time(|| {
            let total = need(&lines).map(|need| need.total());
            assert!(total.is_ok_and(|total| total > 10_000));
            true
        });
    }
    worst.print("roll-up of 10,000 lines", 20.0);
}

fn build_checks() {
    for (name, scarcity) in made_up::SCARCITIES {
        let mut worst = Worst::default();
        for seed in 0..SEEDS {
            let field = made_up::field(seed, scarcity);
            worst.time(|| {
                let answer =
                    build::check(&field.asked(), build::STEPS).expect("this can be checked");
                assert!(!answer.whole);
                answer.proof == build::Proof::Proven
            });
        }
        worst.print(&format!("build check of 60 assemblies, {name}"), 50.0);
    }
}

fn poolings() {
    for (name, shortage) in made_up::SHORTAGES {
        let mut worst = Worst::default();
        for seed in 0..SEEDS {
            let (needs, kits) = made_up::kits(seed, shortage);
            worst.time(|| {
                let pooled =
                    pooling::pool(&needs, &kits, pooling::STEPS).expect("these can be pooled");
                assert!(!pooled.moves.is_empty());
                pooled.proof == pooling::Proof::Proven
            });
        }
        worst.print(&format!("pooling of 500 kits x 300 parts, {name}"), 100.0);
    }
}

fn import() {
    let mut worst = Worst::default();
    for seed in 0..SEEDS {
        let text = made_up::table(seed);
        worst.time(|| {
            let table = table::read(&text).expect("this is a table");
            let known = preview::Known::default();
            let preview = preview::preview(&table, &columns::guess(&table), &known);
            assert!(preview.is_ok_and(|preview| preview.list.lines.len() >= 5_000));
            true
        });
    }
    worst.print("import preview of 5,000 rows", 1000.0);
}

/// The slowest case so far, and how many had no proof.
#[derive(Default)]
struct Worst {
    milliseconds: f64,
    not_proven: usize,
}

impl Worst {
    fn time(&mut self, run: impl Fn() -> bool) {
        let mut fastest = f64::INFINITY;
        let mut proven = true;
        for _ in 0..3 {
            let start = Instant::now();
            proven = black_box(run());
            fastest = fastest.min(start.elapsed().as_secs_f64() * 1000.0);
        }
        self.milliseconds = self.milliseconds.max(fastest);
        self.not_proven += usize::from(!proven);
    }

    fn print(&self, name: &str, bar: f64) {
        println!(
            "{name:46} | {:8.2} | {bar:6.0} | {:5.2} | {} of {SEEDS}",
            self.milliseconds,
            self.milliseconds / bar,
            self.not_proven
        );
    }
}
