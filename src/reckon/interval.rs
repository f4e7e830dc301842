//! Stretches of time from a moment or day until another, which itself is no longer part of them.

use std::fmt::Debug;

/// From a day (or a moment) until another: the first is part of it, the last is not. So two that touch do
/// not overlap, and the length is the difference of the two.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Interval<T> {
    from: T,
    /// None: it never ends.
    until: Option<T>,
}

/// Why there is no such interval.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the end is before the start")]
pub struct EndsBeforeStart;

impl<T: Copy + Ord> Interval<T> {
    /// From one day until another; the same day twice is that single instant. Refuses an end before the
    /// start.
    pub fn new(from: T, until: T) -> Result<Self, EndsBeforeStart> {
        if until < from {
            return Err(EndsBeforeStart);
        }
        let until = Some(until);
        Ok(Self { from, until })
    }

    /// From a day on, for ever.
    pub fn without_end(from: T) -> Self {
        Self { from, until: None }
    }

    pub fn from(self) -> T {
        self.from
    }

    /// The first day that is no longer part of it; none if it never ends.
    pub fn until(self) -> Option<T> {
        self.until
    }

    /// Whether a day is part of it. An interval without length has its one instant.
    pub fn holds(self, at: T) -> bool {
        at == self.from || (self.from <= at && self.is_still_open(at))
    }

    /// Whether two intervals have a day in common. If one ends on the day the other begins, they have
    /// none.
    ///
    /// `a.from < b.until && b.from < a.until`; an interval without length counts as its one instant, as
    /// `OVERLAPS` does in SQL.
    pub fn overlaps(self, other: Self) -> bool {
        other.holds(self.from) || self.holds(other.from)
    }

    /// Whether all of the other is part of this one.
    pub fn covers(self, other: Self) -> bool {
        let ends_first = match (self.until, other.until) {
            (None, _) => true,
            (Some(_), None) => false,
            (Some(own), Some(theirs)) => theirs <= own,
        };
        self.holds(other.from) && ends_first
    }

    fn is_still_open(self, at: T) -> bool {
        self.until.is_none_or(|until| at < until)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// `until` below zero stands for none.
    fn interval(from: i32, until: i32) -> Interval<i32> {
        if until < 0 {
            Interval::without_end(from)
        } else {
            Interval::new(from, until).expect("ends after its start")
        }
    }

    #[test]
    fn an_end_before_the_start_is_refused() {
        assert_eq!(Interval::new(2, 1), Err(EndsBeforeStart));
        assert_eq!(Interval::new(2, 2), Ok(interval(2, 2)));
    }

    #[test]
    fn overlaps_are_seen_from_both_sides() {
        for (first, second, expected) in [
            ((0, 3), (3, 5), false),
            ((0, 4), (3, 5), true),
            ((0, 9), (3, 5), true),
            ((3, 3), (3, 5), true),
            ((5, 5), (3, 5), false),
            ((4, 4), (4, 4), true),
            ((4, 4), (5, 5), false),
            ((0, -1), (900, 901), true),
            ((5, -1), (3, 5), false),
            ((5, -1), (9, -1), true),
        ] {
            let (a, b) = (interval(first.0, first.1), interval(second.0, second.1));
            assert_eq!(a.overlaps(b), expected, "{first:?} {second:?}");
            assert_eq!(b.overlaps(a), expected, "{second:?} {first:?}");
        }
    }

    #[test]
    fn only_what_ends_in_time_is_covered() {
        for (outer, inner, expected) in [
            ((0, 5), (0, 5), true),
            ((0, 5), (1, 4), true),
            ((0, 5), (1, 6), false),
            ((1, 5), (0, 3), false),
            ((0, 5), (5, 5), false),
            ((0, 5), (1, -1), false),
            ((0, -1), (1, -1), true),
            ((0, -1), (1, 100), true),
        ] {
            let covers = interval(outer.0, outer.1).covers(interval(inner.0, inner.1));
            assert_eq!(covers, expected, "{outer:?} {inner:?}");
        }
    }

    proptest! {
        #[test]
        fn intervals_overlap_if_some_day_is_in_both(
            a in (0..12, 0..12), b in (0..12, 0..12),
        ) {
            prop_assume!(a.0 <= a.1 && b.0 <= b.1);
            let (first, second) = (interval(a.0, a.1), interval(b.0, b.1));
            let shared = (0..12).any(|day| first.holds(day) && second.holds(day));
            prop_assert_eq!(first.overlaps(second), shared);
        }
    }
}
