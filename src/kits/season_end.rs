//! Season's end: where the pieces of a kit go when the next season's parts list is known.
//!
//! Pure. What the season cost and what a kit is worth is in `cost`.

/// The pieces of one part that a team holds at the season's end, by state, and what comes next.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Held {
    pub good: u64,
    /// Reported, still in use.
    pub doubtful: u64,
    /// Mended or worn, not for official play.
    pub practice_only: u64,
    pub broken: u64,
    /// How many the next season's parts list needs; 0 where it does not name the part.
    pub next_need: u64,
}

/// Where they go. Every piece is in exactly one of these, `to_get` aside, which are not here yet.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub struct Goes {
    /// Good pieces into the next season's kit.
    pub carried: u64,
    /// Doubtful pieces the next kit would need: look at each before it goes in.
    pub to_look_at: u64,
    /// Good and doubtful pieces of a part on the next list, beyond what it needs: into the spares box.
    pub spares: u64,
    /// Good and doubtful pieces of a part the next list does not name: keep for another use, or give away.
    pub not_on_next_list: u64,
    /// Practice only pieces of a part on the next list: for practice, never for official play.
    pub for_practice: u64,
    /// Broken pieces, and practice only ones that no list needs any more: to be written off.
    pub worn_out: u64,
    /// What the next kit lacks if every doubtful piece turns out good.
    pub to_get: u64,
    /// What it lacks if none does.
    pub to_get_at_worst: u64,
}

/// Counts do not fit: pieces of one part beyond what can be counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("there are more pieces of this part than can be counted; check the numbers")]
pub struct TooMany;

impl Held {
    /// All pieces held, whatever their state.
    pub fn pieces(&self) -> Result<u64, TooMany> {
        [self.doubtful, self.practice_only, self.broken]
            .into_iter()
            .try_fold(self.good, u64::checked_add)
            .ok_or(TooMany)
    }

    /// Sorts the pieces of one part for the next season.
    ///
    /// Good pieces go into the next kit first; if they do not suffice, doubtful ones are set aside to be
    /// looked at. What is beyond the next list's need becomes spares. Pieces mended or worn stay for
    /// practice while the part is still played, and broken ones are written off. Nothing vanishes: the
    /// heaps add up to what was there.
    ///
    /// All in pieces. Refuses numbers whose sum cannot be counted. The rule is this program's own.
    pub fn sort(&self) -> Result<Goes, TooMany> {
        self.pieces()?;
        let playable = self.good + self.doubtful;
        let mut goes = Goes {
            worn_out: self.broken,
            ..Goes::default()
        };
        if self.next_need == 0 {
            goes.not_on_next_list = playable;
            goes.worn_out += self.practice_only;
            return Ok(goes);
        }
        goes.carried = self.good.min(self.next_need);
        goes.to_get_at_worst = self.next_need - goes.carried;
        goes.to_look_at = self.doubtful.min(goes.to_get_at_worst);
        goes.to_get = goes.to_get_at_worst - goes.to_look_at;
        goes.spares = playable - goes.carried - goes.to_look_at;
        goes.for_practice = self.practice_only;
        Ok(goes)
    }
}

impl Goes {
    /// As a sentence for the keeper: "12 go on, 2 to look at first, 3 are short."
    pub fn in_words(&self) -> String {
        let is = |count: u64| if count == 1 { "is" } else { "are" };
        let mut words = Vec::new();
        let mut say = |count: u64, what: String| {
            if count > 0 {
                words.push(what);
            }
        };
        let go = if self.carried == 1 { "goes" } else { "go" };
        say(self.carried, format!("{} {go} on", self.carried));
        say(
            self.to_look_at,
            format!("{} to look at first", self.to_look_at),
        );
        say(
            self.spares,
            format!("{} {} spare", self.spares, is(self.spares)),
        );
        say(
            self.not_on_next_list,
            format!(
                "{} {} not on the next list",
                self.not_on_next_list,
                is(self.not_on_next_list)
            ),
        );
        say(
            self.for_practice,
            format!("{} for practice only", self.for_practice),
        );
        say(self.worn_out, format!("{} to write off", self.worn_out));
        if self.to_get_at_worst > self.to_get {
            words.push(format!(
                "{} to {} to get",
                self.to_get, self.to_get_at_worst
            ));
        } else {
            say(self.to_get, format!("{} to get", self.to_get));
        }
        if words.is_empty() {
            return "Nothing is held and nothing is needed.".to_owned();
        }
        format!("{}.", words.join(", "))
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    #[track_caller]
    fn check(held: [u64; 5], expected: [u64; 8], words: &str) {
        let [good, doubtful, practice_only, broken, next_need] = held;
        let goes = Held {
            good,
            doubtful,
            practice_only,
            broken,
            next_need,
        }
        .sort()
        .expect("these can be counted");
        let found = [
            goes.carried,
            goes.to_look_at,
            goes.spares,
            goes.not_on_next_list,
            goes.for_practice,
            goes.worn_out,
            goes.to_get,
            goes.to_get_at_worst,
        ];
        assert_eq!(found, expected);
        assert_eq!(goes.in_words(), words);
    }

    #[test]
    fn good_ones_go_on_and_the_rest_is_spare() {
        check(
            [12, 0, 0, 0, 8],
            [8, 0, 4, 0, 0, 0, 0, 0],
            "8 go on, 4 are spare.",
        );
        check([1, 0, 0, 0, 1], [1, 0, 0, 0, 0, 0, 0, 0], "1 goes on.");
    }

    #[test]
    fn doubtful_ones_are_looked_at_only_where_they_are_needed() {
        check(
            [6, 4, 0, 0, 8],
            [6, 2, 2, 0, 0, 0, 0, 2],
            "6 go on, 2 to look at first, 2 are spare, 0 to 2 to get.",
        );
        check(
            [6, 1, 0, 0, 8],
            [6, 1, 0, 0, 0, 0, 1, 2],
            "6 go on, 1 to look at first, 1 to 2 to get.",
        );
    }

    #[test]
    fn worn_and_broken_ones_never_go_on() {
        check(
            [0, 0, 3, 2, 4],
            [0, 0, 0, 0, 3, 2, 4, 4],
            "3 for practice only, 2 to write off, 4 to get.",
        );
    }

    #[test]
    fn a_part_nobody_plays_any_more_is_kept_or_written_off() {
        check(
            [3, 1, 2, 1, 0],
            [0, 0, 0, 4, 0, 3, 0, 0],
            "4 are not on the next list, 3 to write off.",
        );
        check(
            [0, 0, 0, 0, 0],
            [0; 8],
            "Nothing is held and nothing is needed.",
        );
    }

    #[test]
    fn what_cannot_be_counted_is_refused() {
        let held = Held {
            good: u64::MAX,
            broken: 1,
            ..Held::default()
        };
        assert_eq!(held.sort(), Err(TooMany));
    }

    proptest! {
        #[test]
        fn no_piece_is_lost_or_doubled(
            good in 0..50_u64, doubtful in 0..50_u64, practice_only in 0..50_u64,
            broken in 0..50_u64, next_need in 0..80_u64,
        ) {
            let held = Held { good, doubtful, practice_only, broken, next_need };
            let goes = held.sort().expect("these can be counted");
            let heaps = goes.carried + goes.to_look_at + goes.spares + goes.not_on_next_list
                + goes.for_practice + goes.worn_out;
            prop_assert_eq!(heaps, held.pieces().expect("these can be counted"));
            prop_assert_eq!(goes.carried + goes.to_look_at + goes.to_get, next_need);
            prop_assert!(goes.carried <= good && goes.to_look_at <= doubtful);
            prop_assert!(goes.spares == 0 || goes.to_get == 0, "short while spares lie beside");
        }
    }
}
