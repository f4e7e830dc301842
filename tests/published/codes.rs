//! Check characters and QR symbols.

use fieldstow::code::check;
use fieldstow::reckon::qr_size::{NotPrintable, Recovery, printed};

/// `0-9 A-Z *` as the values 0 to 36, the alphabet of ISO/IEC 7064 MOD 37-2; `X` is 10 in MOD 11-2.
fn value(character: char, modulus: u32) -> u32 {
    match character {
        '*' => 36,
        'X' if modulus == 11 => 10,
        _ => character.to_digit(36).expect("a digit or a letter"),
    }
}

#[track_caller]
fn check_character(modulus: u32, body: &str, expected: char) {
    let values: Vec<u32> = body.chars().map(|c| value(c, modulus)).collect();
    assert_eq!(
        check(&values, modulus, 2),
        value(expected, modulus),
        "MOD {modulus}-2 of {body}"
    );
}

#[test]
fn pure_systems_of_iso_7064() {
    // Doctest of the python-stdnum library, module iso7064.mod_37_2.
    check_character(37, "G123489654321", 'Y');
    // An example of the standard, as the python-stdnum library quotes it in iso7064.mod_11_2.
    check_character(11, "0794", '0');
    check_character(11, "079", 'X');
    // ORCID identifiers 0000-0002-1825-0097 and 0000-0002-1694-233X. From memory.
    check_character(11, "000000021825009", '7');
    check_character(11, "000000021694233", 'X');
    // Computed independently with a few lines of Python, not published.
    for (body, expected) in [
        ("KIT2026CRATE01", 'S'),
        ("CRATE0001", '9'),
        ("P0007", '1'),
        ("000", '1'),
        ("ZZZZ", 'O'),
    ] {
        check_character(37, body, expected);
    }
}

/// ISO/IEC 18004, capacities of versions 1 to 10, 20, 26, 27 and 40: characters in numeric, alphanumeric
/// and byte mode for the levels L, M, Q and H. Computed independently from the table of code words in the
/// Python package segno. Versions 9, 10, 26 and 27 stand on either side of a change in the length of the
/// character count.
const CAPACITIES: [(usize, [[usize; 3]; 4]); 14] = [
    (1, [[41, 25, 17], [34, 20, 14], [27, 16, 11], [17, 10, 7]]),
    (2, [[77, 47, 32], [63, 38, 26], [48, 29, 20], [34, 20, 14]]),
    (
        3,
        [[127, 77, 53], [101, 61, 42], [77, 47, 32], [58, 35, 24]],
    ),
    (
        4,
        [[187, 114, 78], [149, 90, 62], [111, 67, 46], [82, 50, 34]],
    ),
    (
        5,
        [
            [255, 154, 106],
            [202, 122, 84],
            [144, 87, 60],
            [106, 64, 44],
        ],
    ),
    (
        6,
        [
            [322, 195, 134],
            [255, 154, 106],
            [178, 108, 74],
            [139, 84, 58],
        ],
    ),
    (
        7,
        [
            [370, 224, 154],
            [293, 178, 122],
            [207, 125, 86],
            [154, 93, 64],
        ],
    ),
    (
        8,
        [
            [461, 279, 192],
            [365, 221, 152],
            [259, 157, 108],
            [202, 122, 84],
        ],
    ),
    (
        9,
        [
            [552, 335, 230],
            [432, 262, 180],
            [312, 189, 130],
            [235, 143, 98],
        ],
    ),
    (
        10,
        [
            [652, 395, 271],
            [513, 311, 213],
            [364, 221, 151],
            [288, 174, 119],
        ],
    ),
    (
        20,
        [
            [2061, 1249, 858],
            [1600, 970, 666],
            [1159, 702, 482],
            [919, 557, 382],
        ],
    ),
    (
        26,
        [
            [3283, 1990, 1367],
            [2544, 1542, 1059],
            [1804, 1094, 751],
            [1425, 864, 593],
        ],
    ),
    (
        27,
        [
            [3517, 2132, 1465],
            [2701, 1637, 1125],
            [1933, 1172, 805],
            [1501, 910, 625],
        ],
    ),
    (
        40,
        [
            [7089, 4296, 2953],
            [5596, 3391, 2331],
            [3993, 2420, 1663],
            [3057, 1852, 1273],
        ],
    ),
];

#[test]
fn every_symbol_holds_what_the_standard_says_and_not_one_more() {
    let levels = [
        Recovery::Low,
        Recovery::Medium,
        Recovery::Quartile,
        Recovery::High,
    ];
    for (version, capacities) in CAPACITIES {
        for (level, capacities) in levels.into_iter().zip(capacities) {
            for (character, capacity) in ["7", "K", "k"].into_iter().zip(capacities) {
                let version_of = |length: usize| {
                    printed(&character.repeat(length), level, 0.5).map(|it| it.version)
                };
                assert_eq!(
                    version_of(capacity),
                    Ok(version),
                    "{capacity} times {character}, {level:?}"
                );
                let next = if version == 40 {
                    Err(NotPrintable::TooLong)
                } else {
                    Ok(version + 1)
                };
                assert_eq!(
                    version_of(capacity + 1),
                    next,
                    "{capacity} and one times {character}, {level:?}"
                );
            }
        }
    }
}

/// Computed independently: an address in capitals fits version 2 at levels M and Q, which is 33 modules
/// with the quiet zone; a longer one in small letters needs version 3 at M and 4 at Q.
#[test]
fn capitals_make_a_smaller_label() {
    let of = |text: &str, level| {
        let it = printed(text, level, 0.5).expect("it fits");
        (it.version, it.side_mm)
    };
    let capitals = "HTTPS://K.EXAMPLE/C/CRATE-07";
    assert_eq!(capitals.len(), 28);
    assert_eq!(of(capitals, Recovery::Medium), (2, 16.5));
    assert_eq!(of(capitals, Recovery::Quartile), (2, 16.5));
    let small = "https://fieldstow.example/crate-07";
    assert_eq!(small.len(), 34);
    assert_eq!(of(small, Recovery::Medium).0, 3);
    assert_eq!(of(small, Recovery::Quartile).0, 4);
}
