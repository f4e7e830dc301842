//! Who had which crates of a loan from when to when, and in whose time something came to lack. Pure.

use crate::clock::Instant;
use crate::ids::PlaceId;

/// A crate of a loan: when it left, and when it came back.
#[derive(Debug, Clone)]
pub struct Went {
    pub place: PlaceId,
    pub name: String,
    pub back_at: Option<Instant>,
}

/// Crates that were handed on.
#[derive(Debug, Clone)]
pub struct Handed {
    pub n: i64,
    pub to: String,
    pub at: Instant,
    pub places: Vec<PlaceId>,
    /// "counted as it was handed on", "not counted: in a hurry".
    pub count: String,
}

/// Who had which crates from when to when.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stretch {
    /// 0 is the borrower's own, others are the number of what was handed on.
    pub n: i64,
    pub who: String,
    pub crates: Vec<String>,
    /// The same crates.
    pub places: Vec<PlaceId>,
    pub from: Instant,
    /// `None` while they have them.
    pub until: Option<Instant>,
    /// The count it began with.
    pub count: String,
}

/// The stretches of a loan, in the order in which they began; crates that left a hand together stay together.
pub fn stretches(
    (borrower, out_at, count): (&str, Instant, &str),
    went: &[Went],
    handed: &[Handed],
) -> Vec<Stretch> {
    let first = Handed {
        n: 0,
        to: borrower.to_owned(),
        at: out_at,
        places: went.iter().map(|one| one.place).collect(),
        count: count.to_owned(),
    };
    let mut all: Vec<Stretch> = Vec::new();
    let hands: Vec<&Handed> = std::iter::once(&first).chain(handed).collect();
    for (at, hand) in hands.iter().enumerate() {
        let begins = all.len();
        for one in went.iter().filter(|one| hand.places.contains(&one.place)) {
            let next = hands[at + 1..]
                .iter()
                .find(|later| later.places.contains(&one.place));
            let until = next.map(|later| later.at).or(one.back_at);
            let known = all[begins..].iter_mut().find(|known| known.until == until);
            match known {
                Some(known) => {
                    known.crates.push(one.name.clone());
                    known.places.push(one.place);
                }
                None => all.push(Stretch {
                    n: hand.n,
                    who: hand.to.clone(),
                    crates: vec![one.name.clone()],
                    places: vec![one.place],
                    from: hand.at,
                    until,
                    count: hand.count.clone(),
                }),
            }
        }
    }
    all
}

/// How many pieces of a kind a crate held when somebody got it; `None` where nobody counted then.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Began {
    pub n: i64,
    pub held: Option<i64>,
}

/// In whose time pieces came to lack, where the counts tell it: all of what lacks was lost between two counts
/// with one hand between them.
pub fn told_by_counts(began: &[Began], back: i64) -> Option<i64> {
    let mut drops: Vec<Option<i64>> = Vec::new();
    let mut since: Option<(i64, Vec<i64>)> = None;
    let end = Began {
        n: -1,
        held: Some(back),
    };
    for one in began.iter().chain([&end]) {
        match (one.held, &mut since) {
            (Some(held), known) => {
                if let Some((before, hands)) = known.take()
                    && held < before
                {
                    drops.push(match hands.as_slice() {
                        [one] => Some(*one),
                        _ => None,
                    });
                }
                *known = Some((held, vec![one.n]));
            }
            (None, Some((_, hands))) => hands.push(one.n),
            (None, None) => return None,
        }
    }
    match drops.as_slice() {
        [only] => *only,
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_had_what_from_when_to_when() {
        let (ridge, moss) = (PlaceId::new(), PlaceId::new());
        let went = [
            Went {
                place: ridge,
                name: "Ridge".into(),
                back_at: Some(Instant(50)),
            },
            Went {
                place: moss,
                name: "Moss".into(),
                back_at: None,
            },
        ];
        let handed = |n, at, places: &[PlaceId]| Handed {
            n,
            to: format!("hand {n}"),
            at: Instant(at),
            places: places.to_vec(),
            count: "counted".into(),
        };
        let tell = |handed: &[Handed]| -> Vec<String> {
            stretches(("Quern", Instant(10), "sealed"), &went, handed)
                .iter()
                .map(|one| {
                    let until = one.until.map_or("now".into(), |at| at.0.to_string());
                    let crates = one.crates.join("+");
                    format!("{} {} {crates} {}-{until}", one.n, one.who, one.from.0)
                })
                .collect()
        };
        assert_eq!(tell(&[]), ["0 Quern Ridge 10-50", "0 Quern Moss 10-now"]);
        assert_eq!(
            tell(&[handed(1, 20, &[ridge, moss]), handed(3, 30, &[moss])]),
            [
                "0 Quern Ridge+Moss 10-20",
                "1 hand 1 Ridge 20-50",
                "1 hand 1 Moss 20-30",
                "3 hand 3 Moss 30-now",
            ]
        );
        assert_eq!(
            tell(&[handed(1, 20, &[moss])]),
            [
                "0 Quern Ridge 10-50",
                "0 Quern Moss 10-20",
                "1 hand 1 Moss 20-now",
            ]
        );
    }

    #[test]
    fn counts_tell_in_whose_time_something_came_to_lack() {
        // What it held when each got it, what came back, and whose time it was.
        for (held, back, expected) in [
            (&[Some(8)][..], 6, Some(0)),
            (&[Some(8), Some(8)], 6, Some(1)),
            (&[Some(8), Some(6)], 6, Some(0)),
            // Both lost some: nobody is told by the counts alone.
            (&[Some(8), Some(7)], 6, None),
            // Nobody counted between them.
            (&[Some(8), None], 6, None),
            (&[Some(8), None, Some(8)], 6, Some(2)),
            (&[Some(8), None, Some(6)], 6, None),
            // One counted too few, the next found them again.
            (&[Some(8), Some(5), Some(8)], 6, None),
            (&[None, Some(8)], 6, None),
            (&[Some(8), Some(8)], 8, None),
        ] {
            let began: Vec<Began> = held
                .iter()
                .enumerate()
                .map(|(n, held)| Began {
                    n: n as i64,
                    held: *held,
                })
                .collect();
            assert_eq!(told_by_counts(&began, back), expected, "{held:?} {back}");
        }
    }
}
