//! One tap: whether it can be added to what stands there, and what stands there after it. Pure.

use std::collections::HashMap;

use crate::ids::TallyId;

/// The most that a line may hold, and that one tap may add.
pub const MOST: i64 = 1_000_000;

/// What stands in a line of a stint. No total: not counted, which is not the same as none.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Standing {
    pub total: Option<i64>,
    /// Some tap was made on another number than stood here.
    pub doubted: bool,
}

/// Why a tap was not recorded, in words for the person who tapped.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TallyRefused {
    #[error("there are none to take back")]
    NoneToTake,
    #[error("only {0} can be taken back")]
    BelowZero(i64),
    #[error("a line holds at most {MOST} pieces")]
    TooMany,
    #[error("{0} are counted here; take them back with − or Undo")]
    NotNone(i64),
    #[error("the tap it takes back is not here")]
    NothingToUndo,
    #[error("this tap was taken back already")]
    UndoneAlready,
    #[error("somebody of the team made this tap; they take it back")]
    NotTheirs,
    #[error("taking a tap back means the same number the other way round")]
    NotInverse,
    #[error("this number was used for another tap before; what was recorded then stands")]
    OtherTap,
    #[error("there is no such part")]
    NoSuchPart,
    #[error("this part is only looked at; say enough, low or none on the list of lines")]
    OnlyLookedAt,
    #[error("it could not be read")]
    Unreadable,
}

/// What stands there after `amount` was tapped by somebody who saw `shown`.
///
/// A tap of 0 on the number that stands there says "this number is right" and ends the doubt.
pub fn add(before: Standing, amount: i64, shown: Option<i64>) -> Result<Standing, TallyRefused> {
    if !(-MOST..=MOST).contains(&amount) {
        return Err(TallyRefused::TooMany);
    }
    let had = before.total.unwrap_or(0);
    let total = had + amount;
    if total < 0 {
        return Err(match had {
            0 => TallyRefused::NoneToTake,
            had => TallyRefused::BelowZero(had),
        });
    }
    if total > MOST {
        return Err(TallyRefused::TooMany);
    }
    let agrees = shown.unwrap_or(0) == had;
    Ok(Standing {
        total: Some(total),
        doubted: if agrees {
            before.doubted && amount != 0
        } else {
            true
        },
    })
}

/// An earlier tap that is to be taken back.
#[derive(Debug, Clone, Copy)]
pub struct Earlier {
    pub amount: i64,
    pub undone: bool,
    /// Whoever wants it back may not: they help, and somebody else made it.
    pub not_theirs: bool,
}

/// The amount that takes a tap back, which happens once.
pub fn undo(earlier: Option<Earlier>) -> Result<i64, TallyRefused> {
    let earlier = earlier.ok_or(TallyRefused::NothingToUndo)?;
    if earlier.not_theirs {
        return Err(TallyRefused::NotTheirs);
    }
    if earlier.undone {
        return Err(TallyRefused::UndoneAlready);
    }
    Ok(-earlier.amount)
}

/// Whether any tap still holds, given all taps of a line and which tap each takes back. If none does,
/// the line is not counted, as before its first tap.
pub fn any_holds(taps: &[(TallyId, Option<TallyId>)]) -> bool {
    let undone_by: HashMap<TallyId, TallyId> = taps
        .iter()
        .filter_map(|(id, undoes)| undoes.map(|undone| (undone, *id)))
        .collect();
    taps.iter()
        .filter(|(_, undoes)| undoes.is_none())
        .any(|(id, _)| {
            // A tap holds if it was undone an even number of times: not at all, or undone and done again.
            let mut holds = true;
            let mut at = *id;
            while let Some(next) = undone_by.get(&at) {
                holds = !holds;
                at = *next;
            }
            holds
        })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn standing(total: Option<i64>, doubted: bool) -> Standing {
        Standing { total, doubted }
    }

    #[test]
    fn taps_add_up_and_blank_is_not_zero() {
        let clear = |total| Ok(standing(Some(total), false));
        let doubted = |total| Ok(standing(Some(total), true));
        let cases = [
            // before, amount, shown, after
            ((None, false), 1, None, clear(1)),
            ((None, false), 0, None, clear(0)),
            ((Some(0), false), 0, Some(0), clear(0)),
            ((Some(7), false), 5, Some(7), clear(12)),
            ((Some(7), false), -7, Some(7), clear(0)),
            (
                (Some(7), false),
                -8,
                Some(7),
                Err(TallyRefused::BelowZero(7)),
            ),
            ((None, false), -1, None, Err(TallyRefused::NoneToTake)),
            ((Some(0), false), -1, Some(0), Err(TallyRefused::NoneToTake)),
            // Somebody else tapped meanwhile: recorded, but the line wants a look.
            ((Some(9), false), 1, Some(7), doubted(10)),
            ((Some(9), false), 1, None, doubted(10)),
            // It stays in doubt until somebody says that the number is right.
            ((Some(10), true), 1, Some(10), doubted(11)),
            ((Some(11), true), 0, Some(11), clear(11)),
            ((Some(11), true), 0, Some(10), doubted(11)),
            (
                (Some(MOST), false),
                1,
                Some(MOST),
                Err(TallyRefused::TooMany),
            ),
            ((None, false), MOST + 1, None, Err(TallyRefused::TooMany)),
            ((None, false), i64::MIN, None, Err(TallyRefused::TooMany)),
        ];
        for ((total, doubt), amount, shown, after) in cases {
            assert_eq!(
                add(standing(total, doubt), amount, shown),
                after,
                "{total:?} + {amount} on {shown:?}"
            );
        }
    }

    #[test]
    fn undo_is_the_inverse_and_happens_once() {
        let earlier = |amount, undone| {
            Some(Earlier {
                amount,
                undone,
                not_theirs: false,
            })
        };
        assert_eq!(undo(earlier(5, false)), Ok(-5));
        assert_eq!(undo(earlier(-1, false)), Ok(1));
        assert_eq!(undo(earlier(5, true)), Err(TallyRefused::UndoneAlready));
        assert_eq!(undo(None), Err(TallyRefused::NothingToUndo));
        let of_the_team = earlier(5, false).map(|tap| Earlier {
            not_theirs: true,
            ..tap
        });
        assert_eq!(undo(of_the_team), Err(TallyRefused::NotTheirs));
    }

    #[test]
    fn a_line_is_blank_again_when_every_tap_was_taken_back() {
        let ids: Vec<TallyId> = (0..4).map(|_| TallyId::new()).collect();
        let tap = |at: usize| (ids[at], None);
        let back = |at: usize, of: usize| (ids[at], Some(ids[of]));
        let cases = [
            (vec![], false),
            (vec![tap(0)], true),
            (vec![tap(0), back(1, 0)], false),
            (vec![tap(0), back(1, 0), back(2, 1)], true),
            (vec![tap(0), back(1, 0), back(2, 1), back(3, 2)], false),
            (vec![tap(0), tap(1), back(2, 0)], true),
        ];
        for (taps, holds) in cases {
            assert_eq!(any_holds(&taps), holds, "{} taps", taps.len());
        }
    }
}
