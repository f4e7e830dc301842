//! Counting by group: full trays and the last one.

/// Why the trays cannot be added up, in words for the person who counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum GroupsRefused {
    #[error("a tray has at least one cell")]
    NoCells,
    #[error("the last tray holds {last}, but a tray has only {cells} cells")]
    TooFull { last: u64, cells: u64 },
    #[error("the last tray is full: count it among the full ones")]
    Full,
    #[error("these are more pieces than can be counted")]
    TooMany,
}

/// The pieces in so many full trays and a last one.
///
/// Count the full trays, then the pieces in the one that is not full: 4 full trays of 12 and 5 more are 53.
///
/// Pieces; `last` from 0 to `cells − 1`. `full × cells + last`. Refuses a tray without cells, a last tray
/// as full as the others (it may have been counted twice) or fuller. Arithmetic, no source needed.
pub fn pieces(full: u64, cells: u64, last: u64) -> Result<u64, GroupsRefused> {
    if cells == 0 {
        return Err(GroupsRefused::NoCells);
    }
    if last > cells {
        return Err(GroupsRefused::TooFull { last, cells });
    }
    if last == cells {
        return Err(GroupsRefused::Full);
    }
    full.checked_mul(cells)
        .and_then(|sum| sum.checked_add(last))
        .filter(|&sum| i64::try_from(sum).is_ok())
        .ok_or(GroupsRefused::TooMany)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn trays_add_up_or_are_refused() {
        for (full, cells, last, answer) in [
            (4, 12, 5, Ok(53)),
            (0, 12, 0, Ok(0)),
            (3, 1, 0, Ok(3)),
            (1, 0, 0, Err(GroupsRefused::NoCells)),
            (1, 12, 12, Err(GroupsRefused::Full)),
            (
                1,
                12,
                13,
                Err(GroupsRefused::TooFull {
                    last: 13,
                    cells: 12,
                }),
            ),
            (u64::MAX, 2, 0, Err(GroupsRefused::TooMany)),
            (i64::MAX as u64, 2, 1, Err(GroupsRefused::TooMany)),
        ] {
            assert_eq!(pieces(full, cells, last), answer, "{full} {cells} {last}");
        }
    }

    proptest::proptest! {
        #[test]
        fn dividing_gives_back_what_was_counted(full in 0_u64..1_000_000, cells in 1_u64..1000, part in 0.0_f64..1.0) {
            let last = (part * cells as f64) as u64;
            let sum = pieces(full, cells, last).unwrap();
            proptest::prop_assert_eq!((sum / cells, sum % cells), (full, last));
        }
    }
}
