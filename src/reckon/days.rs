//! Business days, and the two ways ISO 8601 writes a date besides year, month and day.

use std::collections::BTreeSet;

use jiff::Span;
use jiff::civil::{Date, Weekday};

use crate::clock::Day;

/// The days of a week on which work is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Week {
    /// From Monday.
    open: [bool; 7],
}

/// The days on which work is done: those of the week, without the holidays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BusinessDays {
    week: Week,
    /// As positions from the first day there is, sorted, each once, and only those that would be worked on.
    holidays: Vec<i64>,
}

/// Where to begin if the day one begins from is not a business day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Roll {
    /// On the next one.
    Forward,
    /// On the one before.
    Backward,
}

/// Why days could not be reckoned with.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum DaysRefused {
    #[error("choose at least one day of the week on which work is done")]
    NoWorkingDay,
    #[error("that leads to a day before the year -9999 or after the year 9999")]
    OutOfCalendar,
}

impl Week {
    pub const MONDAY_TO_FRIDAY: Week = Week {
        open: [true, true, true, true, true, false, false],
    };

    /// The week with these working days. Refuses none: no count of business days would ever end.
    pub fn of(days: &[Weekday]) -> Result<Self, DaysRefused> {
        let mut week = Self { open: [false; 7] };
        for day in days {
            week.open[position_in_week(*day)] = true;
        }
        if days.is_empty() {
            Err(DaysRefused::NoWorkingDay)
        } else {
            Ok(week)
        }
    }

    fn has(self, day: Weekday) -> bool {
        self.open[position_in_week(day)]
    }

    /// How many working days lie among the first `days` days there are.
    fn among_the_first(self, days: i64) -> i64 {
        let first = position_in_week(Date::MIN.weekday());
        let each_week = (0..7).filter(|at| self.open[*at]).count();
        let rest = (0..7)
            .take(usize::try_from(days.rem_euclid(7)).unwrap_or_default())
            .filter(|at| self.open[(first + at) % 7])
            .count();
        days.div_euclid(7) * signed(each_week) + signed(rest)
    }
}

impl BusinessDays {
    /// The working days of a week, except these holidays. A holiday on a day off changes nothing, and one
    /// named twice counts once.
    pub fn new(week: Week, holidays: impl IntoIterator<Item = Day>) -> Self {
        let holidays: BTreeSet<i64> = holidays
            .into_iter()
            .filter(|day| week.has(day.0.weekday()))
            .map(position)
            .collect();
        Self {
            week,
            holidays: holidays.into_iter().collect(),
        }
    }

    /// Whether work is done on this day: it is a working day of the week and not a holiday.
    pub fn is_one(&self, day: Day) -> bool {
        self.week.has(day.0.weekday()) && self.holidays.binary_search(&position(day)).is_err()
    }

    /// How many business days there are from one day until another. The first day counts if it is one,
    /// the last does not: from Monday until Friday there are four. Backwards the same number, below zero.
    ///
    /// In days, half-open: the business days `d` with `from <= d < until`. Nothing is refused. For
    /// `from <= until` this is what `numpy.busday_count` answers; for `from > until` it is
    /// `-count(until, from)`.
    pub fn count(&self, from: Day, until: Day) -> i64 {
        self.among_the_first(position(until)) - self.among_the_first(position(from))
    }

    /// So many business days after a day, or before it if the number is below zero. If one begins on a
    /// day off, one first goes on to the next business day (or back to the one before); then the counting
    /// begins. Three business days after a Friday are a Wednesday.
    ///
    /// In business days. With 0 it answers the day itself, or where it rolls to. Refuses what leads out
    /// of the calendar (years -9999 to 9999). What `numpy.busday_offset` answers with `roll='forward'`
    /// and `'backward'`.
    pub fn offset(&self, day: Day, days: i64, roll: Roll) -> Result<Day, DaysRefused> {
        // Business days are numbered from 0. The number of the one that is begun from is how many there
        // are before it; going backward from a day off, it is the last of those.
        let before = self.among_the_first(position(day));
        let start = match roll {
            Roll::Backward if !self.is_one(day) => before - 1,
            Roll::Backward | Roll::Forward => before,
        };
        let wanted = start
            .checked_add(days)
            .filter(|number| *number >= 0)
            .ok_or(DaysRefused::OutOfCalendar)?;
        self.numbered(wanted).ok_or(DaysRefused::OutOfCalendar)
    }

    /// The business day before which there are so many: found by halving, as the number never falls from
    /// one day to the next.
    fn numbered(&self, number: i64) -> Option<Day> {
        let (mut low, mut high) = (0, position(Day(Date::MAX)) + 1);
        if self.among_the_first(high) <= number {
            return None;
        }
        // Among the first `low` days there are at most `number`, among the first `high` more.
        while high - low > 1 {
            let middle = low + (high - low) / 2;
            if self.among_the_first(middle) <= number {
                low = middle;
            } else {
                high = middle;
            }
        }
        moved(Day(Date::MIN), low)
    }

    fn among_the_first(&self, days: i64) -> i64 {
        let holidays = self.holidays.partition_point(|holiday| *holiday < days);
        self.week.among_the_first(days) - signed(holidays)
    }
}

/// A day by year, week and day of the week: "2026-W53-5". Weeks begin on Monday, and week 1 is the one
/// with the year's first Thursday. So the first days of January can belong to the last week of the year
/// before, and the year written here is the week's.
///
/// ISO 8601; reckoned by the date library.
pub fn week_date(day: Day) -> String {
    day.0.iso_week_date().to_string()
}

/// A day by its year and its number in it: "2027-001" is the first of January.
///
/// ISO 8601; reckoned by the date library.
pub fn ordinal_date(day: Day) -> String {
    day.0.strftime("%Y-%j").to_string()
}

/// The day so many days later, or earlier if the number is below zero. None where the calendar has none.
pub fn moved(day: Day, days: i64) -> Option<Day> {
    let span = Span::new().try_days(days).ok()?;
    day.0.checked_add(span).ok().map(Day)
}

/// How many days there are before this one.
fn position(day: Day) -> i64 {
    Day(Date::MIN).days_until(day)
}

fn position_in_week(day: Weekday) -> usize {
    usize::try_from(day.to_monday_zero_offset()).unwrap_or_default()
}

fn signed(count: usize) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn day(text: &str) -> Day {
        text.parse().expect("a date")
    }

    fn weekdays() -> BusinessDays {
        BusinessDays::new(Week::MONDAY_TO_FRIDAY, [])
    }

    #[test]
    fn a_week_without_working_days_is_refused() {
        assert_eq!(Week::of(&[]), Err(DaysRefused::NoWorkingDay));
        let both = [Weekday::Saturday, Weekday::Sunday, Weekday::Sunday];
        let weekend = BusinessDays::new(Week::of(&both).expect("two days"), []);
        assert_eq!(weekend.count(day("2026-11-23"), day("2026-11-30")), 2);
    }

    #[test]
    fn holidays_count_once_and_only_where_work_would_be_done() {
        // 2026-12-25 is a Friday, 2026-12-26 a Saturday.
        let holidays = ["2026-12-25", "2026-12-25", "2026-12-26"].map(day);
        let days = BusinessDays::new(Week::MONDAY_TO_FRIDAY, holidays);
        assert_eq!(days.count(day("2026-12-21"), day("2026-12-28")), 4);
        assert_eq!(days.count(day("2026-12-28"), day("2026-12-21")), -4);
        assert_eq!(days.count(day("2026-12-28"), day("2026-12-28")), 0);
        let after = days.offset(day("2026-12-24"), 1, Roll::Forward);
        assert_eq!(after, Ok(day("2026-12-28")));
        let before = days.offset(day("2026-12-28"), -1, Roll::Forward);
        assert_eq!(before, Ok(day("2026-12-24")));
        let rolled = days.offset(day("2026-12-26"), 0, Roll::Backward);
        assert_eq!(rolled, Ok(day("2026-12-24")));
    }

    #[test]
    fn the_calendar_ends() {
        let days = weekdays();
        let last = Day(Date::MAX);
        assert_eq!(last.to_string(), "9999-12-31");
        assert!(days.is_one(last), "a Friday");
        assert_eq!(days.offset(last, 0, Roll::Forward), Ok(last));
        for (from, by) in [
            (last, 1),
            (last, i64::MAX),
            (last, i64::MIN),
            (Day(Date::MIN), i64::MIN),
            (Day(Date::MIN), -1),
        ] {
            assert_eq!(
                days.offset(from, by, Roll::Forward),
                Err(DaysRefused::OutOfCalendar)
            );
        }
        let no_friday = Week::of(&[Weekday::Monday]).expect("one day");
        let mondays = BusinessDays::new(no_friday, []);
        assert_eq!(
            mondays.offset(last, 0, Roll::Forward),
            Err(DaysRefused::OutOfCalendar)
        );
        assert!(mondays.offset(last, 0, Roll::Backward).is_ok());
        let first = Day(Date::MIN);
        let sundays = Week::of(&[first.0.weekday().next()]).expect("one day");
        assert_eq!(
            BusinessDays::new(sundays, []).offset(first, 0, Roll::Backward),
            Err(DaysRefused::OutOfCalendar)
        );
    }

    /// One day after the other.
    fn walked(days: &BusinessDays, from: Day, by: i64, roll: Roll) -> Day {
        let step = |day: Day, by: i64| day.plus_days(by.signum());
        let mut here = from;
        while !days.is_one(here) {
            here = step(here, if roll == Roll::Forward { 1 } else { -1 });
        }
        for _ in 0..by.abs() {
            here = step(here, by);
            while !days.is_one(here) {
                here = step(here, by);
            }
        }
        here
    }

    proptest! {
        #[test]
        fn counting_and_going_are_the_same_as_walking(
            open in prop::array::uniform7(any::<bool>()),
            holidays in prop::collection::vec(-60_i64..60, 0..20),
            from in -50_i64..50,
            by in -30_i64..30,
            until in -50_i64..50,
            forward: bool,
        ) {
            prop_assume!(open.contains(&true));
            let new_year = day("2027-01-01");
            let days = BusinessDays::new(
                Week { open },
                holidays.into_iter().map(|at| new_year.plus_days(at)),
            );
            let roll = if forward { Roll::Forward } else { Roll::Backward };
            let start = new_year.plus_days(from);
            prop_assert_eq!(days.offset(start, by, roll), Ok(walked(&days, start, by, roll)));

            let walked = (from.min(until)..from.max(until))
                .filter(|at| days.is_one(new_year.plus_days(*at)))
                .count();
            let count = days.count(start, new_year.plus_days(until));
            prop_assert_eq!(count, signed(walked) * (until - from).signum());
        }
    }
}
