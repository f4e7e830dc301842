//! Parts explosions from textbooks.

use fieldstow::guides::need::{Basis, Child, Line, Need, need};

/// "50 of A, each of which holds 2 of B": letters that hold something are assemblies.
fn explode(wanted: (char, u64), holds: &[(char, &[(char, u64)])]) -> Need<char, char> {
    let child = |letter: char| {
        if holds.iter().any(|(holder, _)| *holder == letter) {
            Child::Assembly(letter)
        } else {
            Child::Part(letter)
        }
    };
    let line = |parent, (letter, quantity): (char, u64)| Line {
        parent,
        child: child(letter),
        basis: Basis::Each,
        quantity,
    };
    let mut lines = vec![line(None, wanted)];
    for (holder, contents) in holds {
        lines.extend(contents.iter().map(|content| line(Some(*holder), *content)));
    }
    need(&lines).expect("the published list has no cycle")
}

/// Heizer, Render and Munson, *Operations Management*, chapter on material requirements planning,
/// the "Awesome" speaker kit: gross requirements for 50 kits. From memory.
#[test]
fn speaker_kits() {
    let need = explode(
        ('A', 50),
        &[
            ('A', &[('B', 2), ('C', 3)]),
            ('B', &[('D', 2), ('E', 2)]),
            ('C', &[('E', 2), ('F', 2)]),
            ('F', &[('D', 2), ('G', 1)]),
        ],
    );
    assert_eq!(need.assembly('B'), 100); // 2 × 50
    assert_eq!(need.assembly('C'), 150); // 3 × 50
    assert_eq!(need.assembly('F'), 300); // 2 × 150
    assert_eq!(need.part('D'), 800); // 2 × 100 + 2 × 300, on two different levels
    assert_eq!(need.part('E'), 500); // 2 × 100 + 2 × 150
    assert_eq!(need.part('G'), 300); // 1 × 300
}

/// Stevenson, *Operations Management*, chapter on MRP, example 1: what one X needs. From memory.
#[test]
fn product_x() {
    let need = explode(
        ('X', 1),
        &[
            ('X', &[('B', 2), ('C', 1)]),
            ('B', &[('D', 3), ('E', 1)]),
            ('D', &[('E', 4)]),
            ('C', &[('E', 2), ('F', 2)]),
        ],
    );
    assert_eq!(need.assembly('B'), 2);
    assert_eq!(need.assembly('C'), 1);
    assert_eq!(need.assembly('D'), 6);
    assert_eq!(need.part('E'), 28); // 24 + 2 + 2
    assert_eq!(need.part('F'), 2);
    let ways: Vec<u64> = need.paths('E').map(|path| path.pieces).collect();
    assert_eq!(ways, [2, 24, 2]);
}
