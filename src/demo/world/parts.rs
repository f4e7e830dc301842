//! What the lists do not say about the invented parts: how they are counted, which look alike,
//! where care is needed, and what somebody learned while building.

/// Parts that come in full trays, cards or bundles, with how many make one.
pub const GROUPS: &[(&str, u32)] = &[
    ("K-601", 12),
    ("K-602", 12),
    ("K-603", 12),
    ("K-604", 12),
    ("K-606", 12),
    ("J-350", 12),
    ("C-170", 12),
    ("L-370", 12),
];

/// Parts nobody counts: enough, low or none.
pub const BY_LOOK: &[&str] = &["C-180"];

/// Parts whose colour is under film, in pairs that differ in nothing else.
pub const FILM_PAIRS: &[(&str, &str)] =
    &[("L-330", "L-331"), ("L-340", "L-341"), ("N-501", "N-502")];

/// Other parts that are easily taken for each other.
pub const LOOK_ALIKES: &[(&str, &str)] = &[
    ("C-140", "C-145"),
    ("S-312", "S-316"),
    ("S-420", "S-425"),
    ("S-505", "S-506"),
    ("S-515", "S-516"),
    ("B-210", "B-240"),
    ("C-162", "C-163"),
    ("L-320", "L-321"),
    ("L-351", "L-352"),
    ("L-360", "L-361"),
    ("W-140", "W-141"),
    ("D-710", "D-711"),
];

/// The usual caution on parts that can hurt somebody. Pages add that the maker's guide comes first.
pub const CAUTIONS: &[(&str, &str)] = &[
    ("E-101", "A bundle is heavy: two adults lift it."),
    ("W-110", "Broken strands cut: wear gloves."),
    ("W-111", "Broken strands cut: wear gloves."),
    ("L-360", "The gate pinches at its hinge: keep fingers away."),
    ("L-361", "The gate pinches at its hinge: keep fingers away."),
    ("H-403", "The spring jumps out: wear eye protection."),
    ("W-130", "A tight cable can whip back: slacken it first."),
];

/// Tricks, each about one assembly.
pub const HINTS: &[(&str, &str)] = &[
    (
        "Pulley head",
        "Build both pulley heads on the table, before the pylons stand.",
    ),
    (
        "Avalanche gate",
        "Fit the left leaf first; the latch then shows where the right one goes.",
    ),
    (
        "Rope bridge",
        "Lay all 24 planks out with the holes up before threading the first rope.",
    ),
    (
        "Home hut shelf",
        "Peel one corner of each shelf plate and sort by colour before building.",
    ),
];
