//! Made-up fields, kits and tables, the same from the same seed.

use std::fmt::Write;

use fieldstow::clock::Day;
use fieldstow::guides::need::{Basis, Child, Line, need};
use fieldstow::kits::build::{Asked, Pieces, Purpose, StandIn, Wanted};
use fieldstow::kits::pooling::PooledKit;
use fieldstow::ledger::State;

/// Numbers that look drawn (SplitMix64).
struct Draw(u64);

impl Draw {
    fn below(&mut self, most: u64) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut drawn = self.0;
        drawn = (drawn ^ (drawn >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        drawn = (drawn ^ (drawn >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        (drawn ^ (drawn >> 31)) % most
    }

    /// So many different numbers below `most`.
    fn some_of(&mut self, most: u64, how_many: usize) -> Vec<u64> {
        let mut drawn = Vec::new();
        while drawn.len() < how_many {
            let next = self.below(most);
            if !drawn.contains(&next) {
                drawn.push(next);
            }
        }
        drawn
    }
}

/// 10,000 lines in 400 assemblies, five levels deep.
pub fn lines() -> Vec<Line<u32, u32>> {
    let mut lines = Vec::with_capacity(10_000);
    for assembly in 0..400_u32 {
        lines.push(Line {
            parent: (assembly >= 4).then_some(assembly / 4),
            child: Child::Assembly(assembly),
            basis: Basis::Each,
            quantity: 1 + u64::from(assembly % 2),
        });
    }
    for line in 400..10_000_u32 {
        lines.push(Line {
            parent: Some(line % 400),
            child: Child::Part(line % 1_700),
            basis: if line % 11 == 0 {
                Basis::All
            } else {
                Basis::Each
            },
            quantity: 1 + u64::from(line % 9),
        });
    }
    lines
}

/// How many of 120 parts are short, and what share of their need is there, from and to, in percent.
#[derive(Debug, Clone, Copy)]
pub struct Scarcity {
    parts: usize,
    from: u64,
    to: u64,
}

pub const SCARCITIES: [(&str, Scarcity); 3] = [
    (
        "5 parts short",
        Scarcity {
            parts: 5,
            from: 50,
            to: 95,
        },
    ),
    (
        "25 parts short",
        Scarcity {
            parts: 25,
            from: 70,
            to: 95,
        },
    ),
    (
        "60 parts short",
        Scarcity {
            parts: 60,
            from: 80,
            to: 97,
        },
    ),
];

/// A field of 60 assemblies and the pieces for it.
pub struct MadeUp {
    lines: Vec<Line<u32, u32>>,
    walk: Vec<Wanted<u32>>,
    pieces: Vec<Pieces<u32, u32>>,
    stand_ins: Vec<StandIn<u32>>,
}

/// Every assembly takes 1 to 6 pieces of each of 8 parts; every sixth holds the one before it; four must stand;
/// ten parts stand in for others.
pub fn field(seed: u64, scarcity: Scarcity) -> MadeUp {
    let mut draw = Draw(seed);
    let mut lines = Vec::new();
    for assembly in 0..60_u32 {
        lines.push(Line {
            parent: (assembly % 6 == 4).then_some(assembly + 1),
            child: Child::Assembly(assembly),
            basis: Basis::Each,
            quantity: 1,
        });
        for part in draw.some_of(120, 8) {
            lines.push(Line {
                parent: Some(assembly),
                child: Child::Part(part as u32),
                basis: Basis::Each,
                quantity: 1 + draw.below(6),
            });
        }
    }
    let short = draw.some_of(120, scarcity.parts);
    let totals = need(&lines).expect("this list adds up");
    let pieces = totals.parts().map(|(part, total)| {
        let percent = if short.contains(&u64::from(part)) {
            scarcity.from + draw.below(scarcity.to - scarcity.from)
        } else {
            100
        };
        Pieces {
            part,
            kit: part % 3,
            state: State::Good,
            pieces: total * percent / 100,
        }
    });
    let pieces = pieces.collect();
    let walk = (0..60).map(|assembly| Wanted {
        assembly,
        must_stand: u64::from(assembly % 15 == 7),
    });
    let stand_ins = draw.some_of(120, 20);
    let stand_ins = stand_ins.chunks(2).map(|two| StandIn {
        part: two[0] as u32,
        stands_in_for: two[1] as u32,
        officially: true,
    });
    MadeUp {
        walk: walk.collect(),
        stand_ins: stand_ins.collect(),
        lines,
        pieces,
    }
}

impl MadeUp {
    pub fn asked(&self) -> Asked<'_, u32, u32, u32, u32> {
        Asked {
            lines: &self.lines,
            walk: &self.walk,
            pieces: &self.pieces,
            stand_ins: &self.stand_ins,
            on_hand: &[],
            purpose: Purpose::Official,
            sources: &[],
            day: Day(jiff::civil::Date::constant(2027, 3, 10)),
        }
    }
}

/// How many of 300 parts are short or over somewhere, and in how many of a hundred kits each is short and over.
#[derive(Debug, Clone, Copy)]
pub struct Shortage {
    parts: usize,
    short: u64,
    over: u64,
}

pub const SHORTAGES: [(&str, Shortage); 3] = [
    (
        "6 uneven",
        Shortage {
            parts: 6,
            short: 6,
            over: 3,
        },
    ),
    (
        "12 uneven",
        Shortage {
            parts: 12,
            short: 3,
            over: 2,
        },
    ),
    (
        "30 uneven",
        Shortage {
            parts: 30,
            short: 1,
            over: 1,
        },
    ),
];

/// Part and pieces of a complete kit.
type Needs = Vec<(u32, u64)>;

/// The need of a complete kit, and 500 kits.
pub fn kits(seed: u64, shortage: Shortage) -> (Needs, Vec<PooledKit<u32, u32>>) {
    let mut draw = Draw(seed);
    let needs: Needs = (0..300).map(|part| (part, 1 + draw.below(12))).collect();
    let uneven = draw.some_of(300, shortage.parts);
    let mut kits = Vec::new();
    for kit in 0..500 {
        let pieces = needs.iter().map(|(part, need)| {
            let mut pieces = *need;
            if uneven.contains(&u64::from(*part)) {
                let drawn = draw.below(100);
                if drawn < shortage.short {
                    pieces -= 1 + draw.below(pieces.min(3));
                } else if drawn < shortage.short + shortage.over {
                    pieces += 1 + draw.below(3);
                }
            }
            (*part, pieces)
        });
        kits.push(PooledKit {
            kit,
            pieces: pieces.collect(),
        });
    }
    (needs, kits)
}

/// A table of 5,000 rows, as people have them.
pub fn table(seed: u64) -> String {
    const COLOURS: [&str; 5] = ["red", "blue", "grey", "black", ""];
    let mut draw = Draw(seed);
    let mut text = "Assembly,Part number,Name,Colour,Half,Full\n".to_owned();
    for row in 0..5_000 {
        let colour = COLOURS[draw.below(5) as usize];
        let half = draw.below(9);
        let full = half + draw.below(9);
        let (assembly, part) = (row / 25, row);
        writeln!(
            text,
            "Tower {assembly},T-{part},Beam {part},{colour},{half},{full}"
        )
        .expect("a string takes all that is written");
    }
    text
}
